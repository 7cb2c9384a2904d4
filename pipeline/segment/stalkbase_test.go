package segment

import (
	"math"
	"testing"

	"offtype/measure/geom"
)

// stalked is a round green fruit of 60 px at (120, 130) on grey, with a stalk of the given colour up from its top, and the
// outline that takes 5 px of the stalk along.
func stalked(stalk [3]uint8) (im Image, c *candidate) {
	const w, h, r = 240, 240, 60.0
	im = Image{Pix: make([]uint8, 3*w*h), Width: w, Height: h}
	mid := geom.Px{X: 120, Y: 130}
	for y := range h {
		for x := range w {
			col := [3]uint8{150, 148, 143}
			switch {
			case math.Hypot(float64(x)-mid.X, float64(y)-mid.Y) <= r:
				col = [3]uint8{70, 120, 60}
			case math.Abs(float64(x)-mid.X) <= 9 && y < 130 && y > 30:
				col = stalk
			}
			shade := uint8((x*7 + y*13) % 5) // noise enough for palettes
			for k := range 3 {
				im.Pix[3*(y*w+x)+k] = col[k] + shade
			}
		}
	}
	line := circleLine(mid.X, mid.Y, r, 300)
	n := len(line)
	c = &candidate{reg: &region{id: 1, cells: 700}, line: line, edge: make([]geom.Edge, n), other: make([]int32, n), sigma: make([]float64, n)}
	for i, p := range line {
		if p.Y < mid.Y && math.Abs(p.X-mid.X) <= 9 {
			c.edge[i] = geom.EdgeStalk
			line[i] = mid.Add(p.Sub(mid).Scale((r + 5) / r))
		}
	}
	c.coarse = line
	c.stalk = []geom.Px{{X: 111, Y: 32}, {X: 115, Y: 32}, {X: 120, Y: 32}, {X: 125, Y: 32}, {X: 129, Y: 32}, {X: 129, Y: 66}, {X: 125, Y: 66}, {X: 120, Y: 66}, {X: 115, Y: 66}, {X: 111, Y: 66}}
	return im, c
}

// baseError is the mean distance of the outline along the stalk's base from the fruit's true edge, px, positive outwards.
func baseError(c *candidate) float64 {
	sum, n := 0.0, 0.0
	for i, p := range c.line {
		if c.edge[i] == geom.EdgeStalk {
			sum += math.Hypot(p.X-120, p.Y-130) - 60
			n++
		}
	}
	return sum / n
}

// A brown stalk on a green fruit: the colours draw the outline back from the stalk. One of the fruit's own colour tells
// nothing, and the outline stays tied to what the network said.
func TestStalkBase(t *testing.T) {
	m := &Maps{W: 60, H: 60, Cell: 4}
	im, c := stalked([3]uint8{140, 100, 60})
	before := baseError(c)
	c.refine(im, m, newTools(), DefaultOptions())
	if e := baseError(c); before < 4 || math.Abs(e) > 1.5 {
		t.Errorf("the outline lies %.1f px out on the stalk, was %.1f", e, before)
	}
	if p, tie := c.stalkColours(im); p == nil || tie != baseLoose {
		t.Error("a brown stalk has no colours of its own")
	}
	im, c = stalked([3]uint8{70, 120, 60})
	c.refine(im, m, newTools(), DefaultOptions())
	if p, tie := c.stalkColours(im); p != nil || tie != baseTied {
		t.Error("a stalk of the fruit's colour has colours of its own")
	}
}
