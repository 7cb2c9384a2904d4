package picture

import (
	"image"
	"math"
	"slices"

	"offtype/measure/geom"
	"offtype/pipeline/record"
)

// Mask draws the label picture of a photo (w × h px): 0 table, otherwise the fruit's number; a
// pixel belongs to a fruit when its centre lies inside the outline. 8 bit up to fruit 255, else 16.
func Mask(w, h int, fs []record.Fruit) image.Image {
	most := 0
	for i := range fs {
		most = max(most, fs[i].Number)
	}
	if most > 255 {
		m := image.NewGray16(image.Rect(0, 0, w, h))
		scan(w, h, fs, func(x, y, n int) {
			m.Pix[y*m.Stride+2*x], m.Pix[y*m.Stride+2*x+1] = uint8(n>>8), uint8(n)
		})
		return m
	}
	m := image.NewGray(image.Rect(0, 0, w, h))
	scan(w, h, fs, func(x, y, n int) { m.Pix[y*m.Stride+x] = uint8(n) })
	return m
}

// scan calls set for every pixel of every fruit, and then with number 0 for those of the stalks: a
// stalk that stands before its fruit hides that part of it.
func scan(w, h int, fs []record.Fruit, set func(x, y, n int)) {
	for i := range fs {
		inside(w, h, fs[i].Outline, func(x, y int) { set(x, y, fs[i].Number) })
	}
	for i := range fs {
		inside(w, h, fs[i].StalkPx, func(x, y int) { set(x, y, 0) })
	}
}

// inside calls f for the pixels whose centres lie in the closed outline (even-odd rule).
func inside(w, h int, o []geom.Px, f func(x, y int)) {
	if len(o) < 3 {
		return
	}
	var xs []float64
	lo, hi := o[0].Y, o[0].Y
	for _, p := range o {
		lo, hi = math.Min(lo, p.Y), math.Max(hi, p.Y)
	}
	for y := max(0, int(math.Ceil(lo))); y <= min(h-1, int(math.Floor(hi))); y++ {
		xs = xs[:0]
		for k, a := range o {
			b := o[(k+1)%len(o)]
			if (a.Y > float64(y)) != (b.Y > float64(y)) {
				xs = append(xs, a.X+(b.X-a.X)*(float64(y)-a.Y)/(b.Y-a.Y))
			}
		}
		slices.Sort(xs)
		for k := 0; k+1 < len(xs); k += 2 {
			for x := max(0, int(math.Ceil(xs[k]))); x <= min(w-1, int(math.Floor(xs[k+1]))); x++ {
				f(x, y)
			}
		}
	}
}
