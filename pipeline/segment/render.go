package segment

import (
	"math"
	"sort"

	"offtype/measure/geom"
)

// FillSpans calls f for each run of pixels x0 ≤ x < x1 of row y whose centres lie inside the
// closed outline (even-odd rule), clipped to width × height.
func FillSpans(outline []geom.Px, width, height int, f func(y, x0, x1 int)) {
	if len(outline) < 3 {
		return
	}
	lo, hi := geom.Bounds(outline)
	y0, y1 := max(0, int(math.Ceil(lo.Y))), min(height-1, int(math.Floor(hi.Y)))
	if y1 < y0 {
		return
	}
	cross := make([][]float64, y1-y0+1)
	for i, a := range outline {
		b := outline[(i+1)%len(outline)]
		if a.Y > b.Y {
			a, b = b, a
		}
		// rows with a.Y ≤ y < b.Y
		for y := max(y0, int(math.Ceil(a.Y))); y <= y1 && float64(y) < b.Y; y++ {
			cross[y-y0] = append(cross[y-y0], a.X+(b.X-a.X)*(float64(y)-a.Y)/(b.Y-a.Y))
		}
	}
	for k, xs := range cross {
		sort.Float64s(xs)
		for j := 0; j+1 < len(xs); j += 2 {
			x0, x1 := max(0, int(math.Ceil(xs[j]))), min(width, int(math.Ceil(xs[j+1])))
			if x0 < x1 {
				f(y0+k, x0, x1)
			}
		}
	}
}
