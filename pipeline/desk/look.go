package desk

import (
	"math"

	"offtype/measure/geom"
	"offtype/pipeline"
	"offtype/pipeline/record"
)

func (h *harvest) previewFile(key string) string { return pipeline.PreviewFile(h.resultDir(), key) }

// thin leaves out points of a line that lie within tol px of what is left (Ramer 1972, Douglas and Peucker 1973):
// fewer points are drawn faster, and no one sees the difference.
func thin(o []geom.Px, tol float64) []geom.Px {
	if len(o) < 4 {
		return o
	}
	keep := make([]bool, len(o))
	keep[0], keep[len(o)-1] = true, true
	spans := [][2]int{{0, len(o) - 1}}
	for len(spans) > 0 {
		a, b := spans[len(spans)-1][0], spans[len(spans)-1][1]
		spans = spans[:len(spans)-1]
		far, at := tol, -1
		for i := a + 1; i < b; i++ {
			if d := fromSegment(o[i], o[a], o[b]); d > far {
				far, at = d, i
			}
		}
		if at >= 0 {
			keep[at] = true
			spans = append(spans, [2]int{a, at}, [2]int{at, b})
		}
	}
	var out []geom.Px
	for i, k := range keep {
		if k {
			out = append(out, o[i])
		}
	}
	return out
}

// fromSegment is the distance of p from the segment a–b, px.
func fromSegment(p, a, b geom.Px) float64 {
	d := b.Sub(a)
	t := 0.0
	if n := d.X*d.X + d.Y*d.Y; n > 0 {
		t = math.Min(1, math.Max(0, ((p.X-a.X)*d.X+(p.Y-a.Y)*d.Y)/n))
	}
	return math.Hypot(p.X-a.X-t*d.X, p.Y-a.Y-t*d.Y)
}

// inside returns a point of the fruit that lies well inside its outline: the centroid, or for a
// bent fruit the middle of the widest chord through its rows.
func inside(f *record.Fruit) geom.Px {
	c := geom.Px{X: f.X, Y: f.Y}
	if geom.Contains(f.Outline, c) || len(f.Outline) < 3 {
		return c
	}
	lo, hi := geom.Bounds(f.Outline)
	best := 0.0
	for k := 1; k < 24; k++ {
		y := lo.Y + (hi.Y-lo.Y)*float64(k)/24
		var from float64
		in := false
		for x := lo.X; x <= hi.X+1; x++ {
			now := geom.Contains(f.Outline, geom.Px{X: x, Y: y})
			if now && !in {
				from = x
			}
			if !now && in && x-from > best {
				best, c = x-from, geom.Px{X: (from + x) / 2, Y: y}
			}
			in = now
		}
	}
	return c
}

// plusMinus is a value with its uncertainty.
func plusMinus(v record.Value, decimals int, unit string) string {
	if !v.Ok() {
		return ""
	}
	s := record.Fixed(v.V, decimals)
	if !math.IsNaN(v.U) && v.U > 0 {
		s += " ± " + record.Fixed(v.U, decimals)
	}
	if unit != "" {
		s += " " + unit
	}
	return s
}
