package segment

import (
	"math"

	"offtype/measure/geom"
)

// bandStep is the sampling distance across the outline, px.
const bandStep = 0.5

// band is the photo unrolled along a closed line: n columns along it, 2·half+1 samples across,
// from inside (index 0) to outside. px holds linear light, code the 8-bit sRGB values, both RGB.
type band struct {
	n, half int
	lin     []float32 // [(i·rows + r)·3 + c], 0–1
	code    []float32 // the same in code values 0–255
}

func (b *band) rows() int { return 2*b.half + 1 }

// offset returns the distance of row r from the line, px, positive outwards.
func (b *band) offset(r int) float64 { return float64(r-b.half) * bandStep }

// lut holds the decoding of 8-bit sRGB to linear light (IEC 61966-2-1).
type lut [256]float32

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

// unroll samples the photo along the normals of line, reach px to both sides, bilinear in linear
// light (a blend of code values would shift edges towards the dark side).
func unroll(im Image, l *lut, line, nor []geom.Px, reach float64) *band {
	b := &band{n: len(line), half: int(math.Ceil(reach / bandStep))}
	rows := b.rows()
	b.lin = make([]float32, 3*rows*b.n)
	b.code = make([]float32, 3*rows*b.n)
	maxX, maxY := float64(im.Width-1), float64(im.Height-1)
	for i, p := range line {
		for r := range rows {
			d := b.offset(r)
			x, y := clamp(p.X+d*nor[i].X, 0, maxX), clamp(p.Y+d*nor[i].Y, 0, maxY)
			x0, y0 := int(x), int(y)
			dx, dy := 3, 3*im.Width
			if x0+1 >= im.Width {
				dx = 0
			}
			if y0+1 >= im.Height {
				dy = 0
			}
			fx, fy := float32(x-float64(x0)), float32(y-float64(y0))
			w00, w10, w01, w11 := (1-fx)*(1-fy), fx*(1-fy), (1-fx)*fy, fx*fy
			o := 3 * (y0*im.Width + x0)
			q := 3 * (i*rows + r)
			for c := range 3 {
				p0, p1, p2, p3 := im.Pix[o+c], im.Pix[o+dx+c], im.Pix[o+dy+c], im.Pix[o+dx+dy+c]
				b.lin[q+c] = w00*l[p0] + w10*l[p1] + w01*l[p2] + w11*l[p3]
				b.code[q+c] = w00*float32(p0) + w10*float32(p1) + w01*float32(p2) + w11*float32(p3)
			}
		}
	}
	return b
}
