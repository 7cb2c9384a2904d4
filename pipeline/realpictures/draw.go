package main

import (
	"image"
	"math"

	"offtype/measure/colour"
)

// layer is a picture with premultiplied 8-bit-scaled values (0–255) and an alpha of 0–1.
type layer struct {
	w, h int
	c    [][3]float32
	a    []float32
}

func newLayer(w, h int) *layer {
	return &layer{w, h, make([][3]float32, w*h), make([]float32, w*h)}
}

func fromImage(im image.Image) *layer {
	b := im.Bounds()
	l := newLayer(b.Dx(), b.Dy())
	for i := range l.a {
		r, g, bl, a := im.At(b.Min.X+i%l.w, b.Min.Y+i/l.w).RGBA()
		l.c[i] = [3]float32{float32(r) / 257, float32(g) / 257, float32(bl) / 257}
		l.a[i] = float32(a) / 65535
	}
	return l
}

// lanczos is the windowed sinc of three lobes.
func lanczos(x float64) float64 {
	x = math.Abs(x)
	switch {
	case x < 1e-9:
		return 1
	case x >= 3:
		return 0
	}
	p := math.Pi * x
	return 3 * math.Sin(p) * math.Sin(p/3) / (p * p)
}

// at samples l at (x, y) with a Lanczos kernel wide enough for a scale of zoom (output px per input
// px). Outside is transparent.
func (l *layer) at(x, y, zoom float64) (c [3]float32, a float32) {
	s := max(1, 1/zoom)
	x0, x1 := int(math.Ceil(x-3*s)), int(math.Floor(x+3*s))
	y0, y1 := int(math.Ceil(y-3*s)), int(math.Floor(y+3*s))
	sum := 0.0
	var acc [4]float64
	for j := y0; j <= y1; j++ {
		wy := lanczos((float64(j) - y) / s)
		for i := x0; i <= x1; i++ {
			w := wy * lanczos((float64(i)-x)/s)
			sum += w
			if i < 0 || j < 0 || i >= l.w || j >= l.h {
				continue
			}
			k := j*l.w + i
			for n := range 3 {
				acc[n] += w * float64(l.c[k][n])
			}
			acc[3] += w * float64(l.a[k])
		}
	}
	a = float32(min(1, max(0, acc[3]/sum)))
	for n := range 3 {
		c[n] = float32(min(float64(255*a), max(0, acc[n]/sum)))
	}
	return c, a
}

// turned returns l scaled by zoom and turned by angle (rad).
func (l *layer) turned(zoom, angle float64) *layer {
	sin, cos := math.Sincos(angle)
	w, h := float64(l.w)*zoom, float64(l.h)*zoom
	o := newLayer(int(math.Abs(w*cos)+math.Abs(h*sin))+3, int(math.Abs(w*sin)+math.Abs(h*cos))+3)
	for i := range o.a {
		x, y := float64(i%o.w)-float64(o.w-1)/2, float64(i/o.w)-float64(o.h-1)/2
		o.c[i], o.a[i] = l.at((cos*x+sin*y)/zoom+float64(l.w-1)/2, (cos*y-sin*x)/zoom+float64(l.h-1)/2, zoom)
	}
	return o
}

// tiled returns a w × h picture of l enlarged by zoom and mirrored at its borders.
func (l *layer) tiled(w, h int, zoom float64) *layer {
	big := newLayer(int(float64(l.w)*zoom), int(float64(l.h)*zoom))
	for i := range big.a {
		x := min(float64(l.w)-4, max(3, (float64(i%big.w)+.5)/zoom-.5))
		y := min(float64(l.h)-4, max(3, (float64(i/big.w)+.5)/zoom-.5))
		big.c[i], big.a[i] = l.at(x, y, zoom)
	}
	mirror := func(i, n int) int {
		i %= 2 * n
		return min(i, 2*n-1-i)
	}
	o := newLayer(w, h)
	for i := range o.a {
		o.c[i], o.a[i] = big.c[mirror(i/w, big.h)*big.w+mirror(i%w, big.w)], 1
	}
	return o
}

// blurred is a blur by three running means of radius r, close to a Gaussian.
func blurred(v []float32, w, h, r int) []float32 {
	pass := func(src []float32, n, lines, step, jump int) []float32 {
		dst := make([]float32, len(src))
		for q := range lines {
			sum := float32(0)
			for i := -r; i < n+r; i++ {
				if i+r < n {
					sum += src[q*jump+(i+r)*step]
				}
				if i-r-1 >= 0 {
					sum -= src[q*jump+(i-r-1)*step]
				}
				if i >= 0 && i < n {
					dst[q*jump+i*step] = sum / float32(2*r+1)
				}
			}
		}
		return dst
	}
	for range 3 {
		v = pass(v, w, h, 1, w)
		v = pass(v, h, w, w, 1)
	}
	return v
}

// dim multiplies an 8-bit sRGB value by k in linear light.
func dim(v float32, k float64) float32 {
	return float32(255 * colour.Encode(k*colour.Linear(float64(v)/255)))
}
