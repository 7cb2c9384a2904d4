// Package grain finds which way lines run in the skin of a fruit: furrows, the flanks of ribs, stripes, streaks.
//
// It gets the pixels inside an outline and returns short straight strokes, each with the standard deviation of its
// direction. What the lines are, and whether they run from end to end, it does not know.
package grain

import (
	"math"

	"offtype/measure/geom"
)

const (
	parts     = 100 // samples across a fruit, √area: ribs and stripes are ten and more samples wide
	highPass  = 9   // half width of the mean that is taken off twice, samples: broader shading goes
	rimLeft   = 4   // samples along the outline and the stalk that are left out
	cell      = 7   // samples along a side of a cell that gives one stroke
	leastFull = 0.6 // share of a cell that must be skin
	smallest  = 40  // √area of a fruit that is looked at, px
	darkFloor = 16  // added to a value before its logarithm, of 255: there noise takes over

	// A cell is marked when its slopes' root mean square is leastContrast (logarithm a sample) and one direction prevails by
	// leastSame (0 none, 1 a straight line), clear from clearContrast and clearSame. Lines are believed when fewest cells are
	// clear and leastShare of the marked ones: plain skin, highlights, wrinkles and the shade of a rim gave 0.02 to 0.42 (75
	// rendered fruit), ribs and stripes 0.44 to 1 (55 of 56).
	leastContrast = 0.004
	leastSame     = 0.35
	clearContrast = 0.012
	clearSame     = 0.6
	fewest        = 25
	leastShare    = 0.4
	most          = 48 // returned, evenly taken

	// The standard deviation of a direction is straight and spread·√(1−s²)/s together, s the sameness: found on 1900 cells
	// of 13 ribbed fruit whose bodies were right to 1.2 %.
	straight = 2.5 * math.Pi / 180
	spread   = 9.0 * math.Pi / 180
)

// Photo is the picture: RGB, row by row, 3 bytes a pixel, sRGB.
type Photo struct {
	Pix           []uint8
	Width, Height int
}

// patch is a fruit's skin in samples of step × step pixels.
type patch struct {
	x0, y0, step int
	w, h         int
	ok           []bool
	v            [3][]float32
}

// Strokes returns the lines inside an outline, px, without those on the stalk (may be nil), in reading order: at most 48 of
// them, nil where the skin is plain, the outline has fewer than 3 points or the fruit is smaller than 40 px.
func Strokes(ph *Photo, outline, stalk []geom.Px) []geom.Stroke {
	if len(outline) < 3 || len(ph.Pix) < 3*ph.Width*ph.Height {
		return nil
	}
	side := math.Sqrt(geom.Area(outline))
	if !(side >= smallest) {
		return nil
	}
	p := newPatch(ph, outline, stalk, max(1, int(math.Round(side/parts))))
	if p == nil {
		return nil
	}
	wide, near := p.count(highPass), p.count(1)
	for _, v := range p.v {
		p.flatten(v, wide, near)
	}
	return p.strokes()
}

// newPatch averages the pixels of the outline's samples.
func newPatch(ph *Photo, outline, stalk []geom.Px, step int) *patch {
	lo, hi := geom.Bounds(outline)
	p := &patch{x0: max(0, int(lo.X)), y0: max(0, int(lo.Y)), step: step}
	p.w = (min(ph.Width-1, int(hi.X)) - p.x0) / step
	p.h = (min(ph.Height-1, int(hi.Y)) - p.y0) / step
	if p.w < cell || p.h < cell {
		return nil
	}
	p.ok = make([]bool, p.w*p.h)
	p.fill(outline, true)
	p.fill(stalk, false)
	p.ok = p.eroded(1) // no sample half off the skin
	for c := range p.v {
		p.v[c] = make([]float32, p.w*p.h)
	}
	for i, ok := range p.ok {
		if !ok {
			continue
		}
		var sum [3]int
		for y := range step {
			at := 3 * ((p.y0+i/p.w*step+y)*ph.Width + p.x0 + i%p.w*step)
			for x := 0; x < 3*step; x += 3 {
				q := ph.Pix[at+x : at+x+3]
				sum[0] += int(q[0])
				sum[1] += int(q[1])
				sum[2] += int(q[2])
			}
		}
		for c := range p.v {
			p.v[c][i] = float32(math.Log(float64(sum[c])/float64(step*step) + darkFloor))
		}
	}
	return p
}

// fill marks the samples whose middle lies inside the polygon.
func (p *patch) fill(poly []geom.Px, skin bool) {
	var cuts []float64
	place := func(x float64) float64 { return (x+0.5-float64(p.x0))/float64(p.step) - 0.5 }
	for j := range p.h {
		cuts = geom.Crossings(cuts[:0], poly, float64(p.y0)+(float64(j)+0.5)*float64(p.step)-0.5)
		for k := 0; k+1 < len(cuts); k += 2 {
			to := place(cuts[k+1])
			for i := max(0, int(math.Ceil(place(cuts[k])))); i < p.w && float64(i) <= to; i++ {
				p.ok[j*p.w+i] = skin
			}
		}
	}
}

// eroded returns the samples that lie r and more inside those that count.
func (p *patch) eroded(r int) []bool {
	one := p.count(r)
	out := make([]bool, len(p.ok))
	full := float32((2*r+1)*(2*r+1)) - 0.5
	for i := range out {
		x, y := i%p.w, i/p.w
		out[i] = one[i] > full && x >= r && y >= r && x+r < p.w && y+r < p.h
	}
	return out
}

// count returns how many samples of skin lie in the square of half width r about each sample.
func (p *patch) count(r int) []float32 {
	n := make([]float32, len(p.ok))
	for i, ok := range p.ok {
		if ok {
			n[i] = 1
		}
	}
	p.box(n, r)
	return n
}

// box replaces each sample by the sum over the square of half width r about it; beyond the patch lies 0.
func (p *patch) box(v []float32, r int) {
	line := make([]float32, max(p.w, p.h))
	run := func(at, stride, n int) {
		var sum float32
		for i := 0; i < min(r, n); i++ {
			sum += v[at+i*stride]
		}
		for i := range n {
			if i+r < n {
				sum += v[at+(i+r)*stride]
			}
			line[i] = sum
			if i >= r {
				sum -= v[at+(i-r)*stride]
			}
		}
		for i := range n {
			v[at+i*stride] = line[i]
		}
	}
	for y := range p.h {
		run(y*p.w, 1, p.w)
	}
	for x := range p.w {
		run(x, p.w, p.h)
	}
}

// flatten takes the mean over the skin about each sample off it, twice, and smooths what is left a little; wide and near
// are the counts for both.
func (p *patch) flatten(v, wide, near []float32) {
	mean := make([]float32, len(v))
	for range 2 {
		copy(mean, v)
		p.box(mean, highPass)
		for i, ok := range p.ok {
			if ok {
				v[i] -= mean[i] / wide[i]
			}
		}
	}
	p.box(v, 1)
	for i, ok := range p.ok {
		if ok {
			v[i] /= near[i]
		} else {
			v[i] = 0
		}
	}
}

// strokes gives one stroke for each clear cell, if they are enough.
func (p *patch) strokes() []geom.Stroke {
	use := p.eroded(rimLeft)
	var clear []geom.Stroke
	marked := 0
	for y := 0; y+cell <= p.h; y += cell {
		for x := 0; x+cell <= p.w; x += cell {
			s, contrast, same := p.cell(use, x, y)
			if contrast < leastContrast || same < leastSame {
				continue
			}
			marked++
			if contrast >= clearContrast && same >= clearSame {
				clear = append(clear, s)
			}
		}
	}
	n := len(clear)
	if n < fewest || float64(n) < leastShare*float64(marked) {
		return nil
	}
	out := make([]geom.Stroke, min(n, most))
	for i := range out {
		out[i] = clear[i*n/len(out)]
	}
	return out
}

// cell sums the products of the slopes of all three channels (Di Zenzo's tensor): the line runs where they are least.
// contrast is 0 where too little of the cell is skin.
func (p *patch) cell(use []bool, x0, y0 int) (s geom.Stroke, contrast, same float64) {
	var xx, xy, yy, mx, my float64
	n := 0
	for y := y0; y < y0+cell; y++ {
		for x := x0; x < x0+cell; x++ {
			i := y*p.w + x
			if !use[i] {
				continue
			}
			n++
			e := 0.0
			for c := range p.v {
				v := p.v[c]
				a, b, d := v[i-p.w-1:i-p.w+2], v[i-1:i+2], v[i+p.w-1:i+p.w+2]
				gx := float64(3*(a[2]-a[0]+d[2]-d[0])+10*(b[2]-b[0])) / 32 // Scharr's
				gy := float64(3*(d[0]-a[0]+d[2]-a[2])+10*(d[1]-a[1])) / 32
				xx, xy, yy = xx+gx*gx, xy+gx*gy, yy+gy*gy
				e += gx*gx + gy*gy
			}
			mx, my = mx+e*float64(x), my+e*float64(y)
		}
	}
	all := xx + yy
	if float64(n) < leastFull*cell*cell || all == 0 {
		return s, 0, 0
	}
	same = math.Hypot(xx-yy, 2*xy) / all
	step := float64(p.step)
	place := func(o int, m float64) float64 { return float64(o) + (m/all+0.5)*step - 0.5 }
	s = geom.Stroke{
		At:    geom.Px{X: place(p.x0, mx), Y: place(p.y0, my)},
		Dir:   math.Atan2(2*xy, xx-yy)/2 + math.Pi/2,
		Sigma: math.Hypot(straight, spread*math.Sqrt(math.Max(0, 1-same*same))/same),
	}
	return s, math.Sqrt(all / float64(n)), same
}
