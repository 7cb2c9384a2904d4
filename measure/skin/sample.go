package skin

import (
	"math"
	"slices"

	"offtype/measure/colour"
	"offtype/measure/geom"
)

// pixel is one sampled place of the skin.
type pixel struct {
	gx, gy   int // place in the sampling grid
	p        geom.Px
	s, theta float64
	n, at    geom.Vec3
	place    geom.Vec3 // at, or the card's where no body was fitted: where the lamps' light is asked for
	facing   float64   // cosine between normal and view
	weight   float64   // in the colour of its part: samples that face up weigh most, since there the card's light is known best
	refl     geom.Vec3
	c        colour.RGB // as calibrated: reflectance × light + shine
	cut      bool       // a channel is clipped

	own  colour.RGB // reflectance of the skin, light and shine taken out
	lab  colour.Lab // the same
	part int        // cluster, −1 none
}

// patchwork is the sampled skin of one fruit.
type patchwork struct {
	px     []pixel
	step   float64 // grid, px
	nx, ny int
	grid   []int32 // index into px, −1 outside
	fruit  *Fruit
	radius float64    // greatest distance from the axis seen, mm
	mmStep float64    // grid step on the fruit, mm
	parts  int        // number of parts
	beside colour.RGB // what lies around the fruit, as calibrated: it throws coloured light on its sides
	lists  []members  // of each part; nil: the parts have changed since
}

// Samples nearer to the outline than this share of the outline's size, or seen more obliquely than minFacing,
// are not used: edges are sharpened by the camera, and shine grows there.
const (
	edgePx    = 2.0
	minFacing = 0.12
	litFacing = 0.3 // for the light and the colours
)

// sample reads about max places of fruit f.
func sample(ph *Photo, f *Fruit, max int) *patchwork {
	lo, hi := geom.Bounds(f.Outline)
	w := &patchwork{fruit: f}
	area := geom.Area(f.Outline)
	if len(f.Outline) < 3 || area < 100 {
		return w
	}
	surf := f.Surface
	if surf == nil {
		surf = dome(f.Outline)
	}
	w.step = math.Max(1, math.Ceil(math.Sqrt(area/float64(max))))
	w.nx, w.ny = int((hi.X-lo.X)/w.step)+1, int((hi.Y-lo.Y)/w.step)+1
	w.grid = make([]int32, w.nx*w.ny)
	w.px = make([]pixel, 0, int(area/(w.step*w.step))+w.nx+w.ny)
	reach := int(w.step / 3) // one pixel, 3 × 3 from a step of 3: small marks must not be smeared
	edge := edgePx + 0.005*math.Sqrt(area)
	var spans []float64
	for j := 0; j < w.ny; j++ {
		y := math.Round(lo.Y + w.step*(float64(j)+0.5))
		spans = geom.Crossings(spans[:0], f.Outline, y)
		for i := 0; i < w.nx; i++ {
			w.grid[j*w.nx+i] = -1
			p := geom.Px{X: math.Round(lo.X + w.step*(float64(i)+0.5)), Y: y}
			if !inside(spans, p.X, edge) {
				continue
			}
			n := len(w.px)
			w.px = append(w.px, pixel{})
			q := &w.px[n]
			if !q.look(ph, surf, p, reach) {
				w.px = w.px[:n]
				continue
			}
			q.gx, q.gy = i, j
			if f.Surface != nil {
				q.place = q.at
			}
			w.grid[j*w.nx+i] = int32(n)
		}
	}
	w.erodeColumns(edge)
	w.beside = besideOf(ph, f)
	return w
}

// enoughForLight is the number of samples from which on every second of every second row tells the light as well.
const enoughForLight = 1200

// thinAll returns copies of the patchworks with fewer samples, for the fit of the light.
func thinAll(skins []*patchwork) []*patchwork {
	out := make([]*patchwork, len(skins))
	for i, s := range skins {
		out[i] = s.thin()
	}
	return out
}

// thin returns a copy of every second sample of every second row; of all when they are few.
func (w *patchwork) thin() *patchwork {
	if len(w.px) < enoughForLight {
		t := *w
		t.px, t.lists = slices.Clone(w.px), nil
		return &t
	}
	t := &patchwork{step: 2 * w.step, nx: (w.nx + 1) / 2, ny: (w.ny + 1) / 2, fruit: w.fruit, beside: w.beside}
	t.grid = make([]int32, t.nx*t.ny)
	t.px = make([]pixel, 0, len(w.px)/4+t.nx)
	for y := range t.ny {
		for x := range t.nx {
			t.grid[y*t.nx+x] = -1
			if i := w.grid[2*y*w.nx+2*x]; i >= 0 {
				t.grid[y*t.nx+x] = int32(len(t.px))
				q := w.px[i]
				q.gx, q.gy = x, y
				t.px = append(t.px, q)
			}
		}
	}
	return t
}

// besideOf returns the median colour of what lies 6 to 20 px outside the outline.
func besideOf(ph *Photo, f *Fruit) colour.RGB {
	c := geom.Centroid(f.Outline)
	var v [3][]float64
	for i := 0; i < len(f.Outline); i += 1 + len(f.Outline)/120 {
		d := f.Outline[i].Sub(c)
		if d.Norm() < 1 {
			continue
		}
		for _, out := range [...]float64{6, 13, 20} {
			p := f.Outline[i].Add(d.Scale(out / d.Norm()))
			x, y := int(p.X), int(p.Y)
			if x < 0 || y < 0 || x >= ph.Width || y >= ph.Height {
				continue
			}
			j := 3 * (y*ph.Width + x)
			rgb := ph.Colour.RGB([3]float64{float64(ph.Pix[j]), float64(ph.Pix[j+1]), float64(ph.Pix[j+2])}, p)
			for k := range v {
				v[k] = append(v[k], rgb[k])
			}
		}
	}
	var o colour.RGB
	for k := range o {
		o[k] = median(v[k])
	}
	return o
}

// look fills an empty sample with the mean of the pixels within reach of p and the surface there.
func (q *pixel) look(ph *Photo, surf Surface, p geom.Px, reach int) (ok bool) {
	x, y := int(p.X), int(p.Y)
	if x < reach || y < reach || x >= ph.Width-reach || y >= ph.Height-reach {
		return false
	}
	s, th, pt, n, ok := surf(p)
	if !ok {
		return false
	}
	v := ph.Camera.Sub(pt).Unit()
	cos := v.Dot(n)
	if !(cos >= minFacing) {
		return false
	}
	var sum [3]int
	n1 := 2*reach + 1
	for dy := -reach; dy <= reach; dy++ {
		row := ph.Pix[3*((y+dy)*ph.Width+x-reach):][:3*n1]
		for i := 0; i+2 < len(row); i += 3 {
			r, g, b := row[i], row[i+1], row[i+2]
			sum[0], sum[1], sum[2] = sum[0]+int(r), sum[1]+int(g), sum[2]+int(b)
			q.cut = q.cut || max(r, g, b) >= 254
		}
	}
	m := 1 / float64(n1*n1)
	e := [3]float64{float64(sum[0]) * m, float64(sum[1]) * m, float64(sum[2]) * m}
	q.p = p
	q.s, q.theta, q.n, q.at, q.facing = s, th, n, pt, cos
	q.weight = math.Exp(-(1-n.Z)/0.2) * cos
	q.refl = n.Scale(2 * cos).Sub(v)
	q.c = ph.Colour.RGB(e, p)
	q.part = -1
	return true
}

func inside(spans []float64, x, edge float64) bool {
	for i := 0; i+1 < len(spans); i += 2 {
		if x >= spans[i]+edge && x <= spans[i+1]-edge {
			return true
		}
	}
	return false
}

// erodeColumns drops samples nearer than edge px to the outline above or below.
func (w *patchwork) erodeColumns(edge float64) {
	k := int(math.Ceil(edge / w.step))
	keep := make([]bool, len(w.px))
	for i := range w.px {
		q := &w.px[i]
		keep[i] = w.at(q.gx, q.gy-k) >= 0 && w.at(q.gx, q.gy+k) >= 0
	}
	n := 0
	for i := range w.px {
		q := &w.px[i]
		if !keep[i] {
			w.grid[q.gy*w.nx+q.gx] = -1
			continue
		}
		w.grid[q.gy*w.nx+q.gx] = int32(n)
		if n < i {
			w.px[n] = *q
		}
		n++
	}
	w.px = w.px[:n]
}

// at returns the index of the sample at grid place (x, y), −1 when there is none.
func (w *patchwork) at(x, y int) int {
	if x < 0 || y < 0 || x >= w.nx || y >= w.ny {
		return -1
	}
	return int(w.grid[y*w.nx+x])
}

// dome is the surface assumed without a fitted body: a half ellipsoid over the outline's box, seen from above,
// in px instead of mm.
func dome(o []geom.Px) Surface {
	lo, hi := geom.Bounds(o)
	c := lo.Add(hi).Scale(0.5)
	a, b := (hi.X-lo.X)/2, (hi.Y-lo.Y)/2
	h := math.Min(a, b)
	return func(p geom.Px) (s, theta float64, point, normal geom.Vec3, ok bool) {
		u, v := (p.X-c.X)/a, (p.Y-c.Y)/b
		q := 1 - u*u - v*v
		if q <= 0.02 {
			return
		}
		n := geom.Vec3{X: u / a, Y: -v / b, Z: math.Sqrt(q) / h}.Unit()
		return 0.5, 0, geom.Vec3{X: p.X, Y: -p.Y}, n, true
	}
}
