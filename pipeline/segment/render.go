package segment

import (
	"image"
	"image/color"
	"math"
	"sort"

	"offtype/measure/geom"
)

// LabelMask draws outlines filled with their numbers into a mask of the photo's size: 8-bit grey
// up to number 255, else 16-bit. A pixel belongs to an outline when its centre lies inside; where
// two overlap, the later one wins. outlines and numbers go together; 0 is table.
func LabelMask(width, height int, outlines [][]geom.Px, numbers []int) image.Image {
	top := 0
	for _, n := range numbers {
		top = max(top, n)
	}
	r := image.Rect(0, 0, width, height)
	if top > math.MaxUint8 {
		m := image.NewGray16(r)
		for i, o := range outlines {
			FillSpans(o, width, height, func(y, x0, x1 int) {
				for x := x0; x < x1; x++ {
					m.SetGray16(x, y, color.Gray16{Y: uint16(numbers[i])})
				}
			})
		}
		return m
	}
	m := image.NewGray(r)
	for i, o := range outlines {
		FillSpans(o, width, height, func(y, x0, x1 int) {
			row := m.Pix[y*m.Stride:]
			for x := x0; x < x1; x++ {
				row[x] = uint8(numbers[i])
			}
		})
	}
	return m
}

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
