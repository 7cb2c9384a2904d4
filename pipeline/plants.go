package pipeline

import (
	"math"

	"offtype/measure/body"
	"offtype/pipeline/card"
	"offtype/pipeline/segment"
)

// alongWeight is how little a mm along a row counts against a mm across it when the nearest tag
// is looked for: a tag at the end of a fruit's own row comes before one of another row.
const alongWeight = 0.35

// assignPlants gives each fruit the plant number of its tag, 0 when the photo shows none.
//
// The nearest tag on the table counts. Rows run the way the tags are read; when the tags of a
// photo do not agree on a direction (more than 30° apart), plain distance decides.
func assignPlants(found *card.Found, fs []segment.Fruit, bodies []*body.Body) []int {
	out := make([]int, len(fs))
	if len(found.Tags) == 0 {
		return out
	}
	turn, agree := rowDirection(found.Tags)
	along, across := alongWeight, 1.0
	if !agree {
		along = 1
	}
	c, n := math.Cos(turn), math.Sin(turn)
	for i := range fs {
		at := middle(&found.Camera, fs[i].Outline, bodies[i])
		best := math.Inf(1)
		for _, t := range found.Tags {
			d := at.Sub(t.At)
			u, v := along*(c*d.X+n*d.Y), across*(-n*d.X+c*d.Y)
			if r := math.Hypot(u, v); r < best {
				best, out[i] = r, t.Plant
			}
		}
	}
	return out
}

// rowDirection returns the mean reading direction of the tags as an axis (180° alike), radians.
func rowDirection(tags []card.Tag) (turn float64, agree bool) {
	var s, c float64
	for _, t := range tags {
		s += math.Sin(2 * t.Pose.Turn)
		c += math.Cos(2 * t.Pose.Turn)
	}
	turn = math.Atan2(s, c) / 2
	for _, t := range tags {
		d := math.Mod(t.Pose.Turn-turn+10*math.Pi, math.Pi)
		if math.Min(d, math.Pi-d) > math.Pi/6 {
			return turn, false
		}
	}
	return turn, true
}
