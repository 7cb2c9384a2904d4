package segment

import (
	"math"
	"sync"

	"offtype/measure/geom"
)

// bandStep is the sampling distance across the outline where the edge is fitted, px.
const bandStep = 0.5

// band is the photo unrolled along a closed line: n columns along it, 2·half+1 samples across,
// from inside (index 0) to outside, step px apart.
type band struct {
	n, half int
	step    float64
	v       []float32 // RGB, linear light 0–1 or code values 0–255: [(i·rows + r)·3 + c]
}

func (b *band) rows() int { return 2*b.half + 1 }

// offset returns the distance of row r from the line, px, positive outwards.
func (b *band) offset(r int) float64 { return float64(r-b.half) * b.step }

// lut turns the photo's 8-bit values into the band's.
type lut [256]float32

// newLUT returns the decoding of sRGB to linear light (IEC 61966-2-1).
func newLUT() *lut {
	var l lut
	for i := range l {
		v := float64(i) / 255
		if v <= 0.04045 {
			l[i] = float32(v / 12.92)
		} else {
			l[i] = float32(math.Pow((v+0.055)/1.055, 2.4))
		}
	}
	return &l
}

// codeLUT leaves the values as they are.
func codeLUT() *lut {
	var l lut
	for i := range l {
		l[i] = float32(i)
	}
	return &l
}

// bands and inputs keep arrays that are done with.
var bands, inputs sync.Pool

// release lets the band's array be used again.
func (b *band) release() {
	v := b.v
	b.v = nil
	bands.Put(&v)
}

// takeArray returns an array of n numbers with any content.
func takeArray(from *sync.Pool, n int) []float32 {
	if p, ok := from.Get().(*[]float32); ok && cap(*p) >= n {
		return (*p)[:n]
	}
	return make([]float32, n)
}

// unroll samples the photo along the normals of line, reach px to both sides, bilinear in the
// values of l: in linear light where edges are placed (a blend of code values would shift them
// towards the dark side). Release the band after use.
func unroll(im Image, l *lut, line, nor []geom.Px, reach, step float64) *band {
	b := &band{n: len(line), half: int(math.Ceil(reach / step)), step: step}
	rows := b.rows()
	b.v = takeArray(&bands, 3*rows*b.n)
	maxX, maxY := float64(im.Width-1), float64(im.Height-1)
	stride := 3 * im.Width
	for i, p := range line {
		d := nor[i].Scale(step)
		x, y := p.X-float64(b.half)*d.X, p.Y-float64(b.half)*d.Y
		out := b.v[3*rows*i:][:3*rows]
		ex, ey := x+float64(2*b.half)*d.X, y+float64(2*b.half)*d.Y
		inside := min(x, ex) >= 0 && min(y, ey) >= 0 && max(x, ex) < maxX && max(y, ey) < maxY
		for r := 0; r < len(out); r += 3 {
			right, down := 3, stride
			px, py := x, y
			if !inside {
				px, py = clamp(x, 0, maxX), clamp(y, 0, maxY)
				if px >= maxX {
					right = 0
				}
				if py >= maxY {
					down = 0
				}
			}
			x, y = x+d.X, y+d.Y
			x0, y0 := int(px), int(py)
			fx, fy := float32(px-float64(x0)), float32(py-float64(y0))
			o := stride*y0 + 3*x0
			top, low := im.Pix[o:][:right+3], im.Pix[o+down:][:right+3]
			for c := range 3 {
				a := l[top[c]] + fx*(l[top[right+c]]-l[top[c]])
				e := l[low[c]] + fx*(l[low[right+c]]-l[low[c]])
				out[r+c] = a + fy*(e-a)
			}
		}
	}
	return b
}
