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

// colourSum is the sum and the sums of products of colours.
type colourSum struct {
	n float64
	s [3]float64
	p [6]float64 // rr rg rb gg gb bb
}

func (a *colourSum) add(c []float32) {
	r, g, b := float64(c[0]), float64(c[1]), float64(c[2])
	a.n++
	a.s[0] += r
	a.s[1] += g
	a.s[2] += b
	a.p[0] += r * r
	a.p[1] += r * g
	a.p[2] += r * b
	a.p[3] += g * g
	a.p[4] += g * b
	a.p[5] += b * b
}

func (a *colourSum) plus(b *colourSum, k float64) {
	a.n += k * b.n
	for i := range a.s {
		a.s[i] += k * b.s[i]
	}
	for i := range a.p {
		a.p[i] += k * b.p[i]
	}
}

// mean and covariance (rr rg rb gg gb bb) of what was added.
func (a *colourSum) mean() (m [3]float64, cov [6]float64) {
	if a.n <= 0 {
		return
	}
	for i := range m {
		m[i] = a.s[i] / a.n
	}
	k := 0
	for i := range 3 {
		for j := i; j < 3; j++ {
			cov[k] = a.p[k]/a.n - m[i]*m[j]
			k++
		}
	}
	return
}

// solve3 solves the symmetric system (rr rg rb gg gb bb)·x = v; a singular one gives 0.
func solve3(a [6]float64, v [3]float64) [3]float64 {
	c00 := a[3]*a[5] - a[4]*a[4]
	c01 := a[2]*a[4] - a[1]*a[5]
	c02 := a[1]*a[4] - a[2]*a[3]
	det := a[0]*c00 + a[1]*c01 + a[2]*c02
	if math.Abs(det) < 1e-12 {
		return [3]float64{}
	}
	c11 := a[0]*a[5] - a[2]*a[2]
	c12 := a[1]*a[2] - a[0]*a[4]
	c22 := a[0]*a[3] - a[1]*a[1]
	return [3]float64{
		(c00*v[0] + c01*v[1] + c02*v[2]) / det,
		(c01*v[0] + c11*v[1] + c12*v[2]) / det,
		(c02*v[0] + c12*v[1] + c22*v[2]) / det,
	}
}

// windowSums returns for each column the sums over the columns within ±win of it (around the
// closed line) and the rows from r0 to r1, skipping columns that skip names.
func (b *band) windowSums(win, r0, r1 int, skip []bool) []colourSum {
	rows := b.rows()
	col := make([]colourSum, b.n)
	for i := range col {
		if skip != nil && skip[i] {
			continue
		}
		for r := max(0, r0); r <= min(rows-1, r1); r++ {
			col[i].add(b.code[3*(i*rows+r):])
		}
	}
	out := make([]colourSum, b.n)
	win = min(win, (b.n-1)/2)
	var run colourSum
	for k := -win; k <= win; k++ {
		run.plus(&col[(k+b.n)%b.n], 1)
	}
	for i := range out {
		out[i] = run
		run.plus(&col[(i-win+b.n)%b.n], -1)
		run.plus(&col[(i+win+1)%b.n], 1)
	}
	return out
}
