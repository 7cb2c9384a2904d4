package card

import (
	"math"
	"sort"

	"offtype/measure/camera"
	"offtype/measure/geom"
)

// seen is an edge piece located in the photo.
type seen struct {
	x, y     float64 // layout mm, middle of the piece
	px       geom.Px // where the edge was seen
	normal   geom.Px // towards the dark side
	contrast float64 // light minus dark, linear, 0–1
	misfit   float64 // root mean square of the profile about its model / contrast
	group    int
	edge     int     // index
	half     float64 // half width of the profile, px
}

// pieceMM is the length of edge that makes one observation.
const pieceMM = 7

// locate finds the edges of a sheet near where camera c expects them. blur is the standard
// deviation of the picture's blur, px; reach is how far from the expected place an edge may lie, px.
func (im *Picture) locate(c *camera.Camera, pose camera.SheetPose, scale float64, es []edge, blur, reach float64) []seen {
	var out []seen
	for i := range es {
		e := &es[i]
		l := math.Hypot(e.x1-e.x0, e.y1-e.y0)
		n := max(1, int(l/pieceMM))
		for k := 0; k < n; k++ {
			if s, ok := im.locatePiece(c, pose, scale, e, float64(k)/float64(n), float64(k+1)/float64(n), blur, reach); ok {
				s.edge = i
				out = append(out, s)
			}
		}
	}
	return out
}

// locatePiece finds the part of e between the shares u0 and u1 of its length: the mean profile
// across the edge, in linear light, is fitted with a blurred step.
func (im *Picture) locatePiece(c *camera.Camera, pose camera.SheetPose, scale float64, e *edge, u0, u1, blur, reach float64) (s seen, ok bool) {
	at := func(u, d float64) geom.Px {
		x, y := e.x0+u*(e.x1-e.x0)+d*e.nx, e.y0+u*(e.y1-e.y0)+d*e.ny
		return c.Project(pose.ToTable(x*scale, -y*scale))
	}
	um := (u0 + u1) / 2
	mid, a, b := at(um, 0), at(u0, 0), at(u1, 0)
	along := b.Sub(a)
	length := along.Norm()
	across := at(um, 0.5).Sub(at(um, -0.5)) // px for 1 mm towards the dark side
	if math.IsNaN(length+across.Norm()) || length < 2 {
		return s, false
	}
	t := along.Scale(1 / length)
	n := geom.Px{X: -t.Y, Y: t.X}
	if n.Dot(across) < 0 {
		n = n.Scale(-1)
	}
	pxPerMM := math.Abs(n.Dot(across))
	// the window stays clear of the next edges
	half := math.Min(1+2.5*blur, 0.62*pxPerMM*math.Min(e.inside, e.around))
	if half < math.Max(1.2, 1.1*blur) { // neighbours would pull at the edge
		return s, false
	}
	reach = math.Min(reach, 0.5*pxPerMM*math.Min(e.inside, e.around))
	trim := 0.0
	if u0 == 0 || u1 == 1 {
		trim = math.Min(1+1.5*blur, 0.3*length)
	}
	pos := 0.0
	var f stepFit
	for try := 0; try < 5; try++ {
		prof, span, good := im.profile(mid, t, n, length/2-trim, pos, half)
		if !good {
			return s, false
		}
		f = fitStep(prof, span, blur)
		if !f.ok {
			return s, false
		}
		pos += f.pos
		if math.Abs(pos) > reach {
			return s, false
		}
		if math.Abs(f.pos) < 0.02 {
			break
		}
	}
	if f.light-f.dark < 0.03 || f.misfit > 0.12 {
		return s, false
	}
	return seen{x: e.x0 + um*(e.x1-e.x0), y: e.y0 + um*(e.y1-e.y0), px: mid.Add(n.Scale(pos)), normal: n,
		contrast: f.light - f.dark, misfit: f.misfit, half: half, group: e.group}, true
}

// profile returns the mean luminance along direction n around mid + pos·n at steps of half a px up
// to ±half, averaged over ±side px along t; span holds the places relative to the middle.
func (im *Picture) profile(mid, t, n geom.Px, side, pos, half float64) (v, span []float64, ok bool) {
	k := max(1, int(math.Round(2*side/0.9)))
	m := int(half / 0.5)
	first := side * (1/float64(k) - 1) // of the places along t
	for _, d := range [2]float64{-0.5 * float64(m), 0.5 * float64(m)} {
		for _, a := range [2]float64{first, -first} { // the corners of what is read
			if _, in := im.luminance(mid.Add(n.Scale(pos + d)).Add(t.Scale(a))); !in {
				return nil, nil, false
			}
		}
	}
	v, span = make([]float64, 2*m+1), make([]float64, 2*m+1)
	step := t.Scale(2 * side / float64(k))
	for i := range v {
		span[i] = 0.5 * float64(i-m)
		p := mid.Add(n.Scale(pos + span[i])).Add(t.Scale(first))
		for range k {
			x, y := min(max(int(p.X), 0), im.W-2), min(max(int(p.Y), 0), im.H-2)
			v[i] += im.lum(x, y, p.X-float64(x), p.Y-float64(y)) / float64(k)
			p = p.Add(step)
		}
	}
	return v, span, true
}

type stepFit struct {
	pos, light, dark, misfit float64
	ok                       bool
}

// curve is a function tabulated from −6 to 6 in 4096 steps, constant beyond; by straight lines to 5e-7.
type curve [4098]float64

func tabulate(f func(z float64) float64) *curve {
	var c curve
	for i := range c {
		c[i] = f(float64(i)*12/4096 - 6)
	}
	return &c
}

func (c *curve) at(z float64) float64 {
	u := (z + 6) * (4096.0 / 12)
	if !(u > 0) {
		return c[0]
	}
	if u >= 4096 {
		return c[4096]
	}
	i := int(u)
	return c[i] + (u-float64(i))*(c[i+1]-c[i])
}

// step is the normal distribution function and bell its derivative.
var (
	step = tabulate(func(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) })
	bell = tabulate(func(z float64) float64 { return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) })
)

// fitStep fits light + (dark − light)·Φ((x − pos)/blur) to the profile by Gauss–Newton; the dark
// side is at positive x.
func fitStep(v, x []float64, blur float64) (f stepFit) {
	n := len(v)
	if n < 5 {
		return f
	}
	for it := 0; it < 8; it++ {
		// light and dark are linear: solve them for this position
		var s11, s12, s22, b1, b2 float64
		for i := range v {
			p := step.at((x[i] - f.pos) / blur)
			q := 1 - p
			s11 += q * q
			s12 += q * p
			s22 += p * p
			b1 += q * v[i]
			b2 += p * v[i]
		}
		det := s11*s22 - s12*s12
		if det < 1e-9 {
			return f
		}
		f.light = (b1*s22 - b2*s12) / det
		f.dark = (b2*s11 - b1*s12) / det
		h := f.light - f.dark
		if h <= 0 {
			return f
		}
		var num, den, ss float64
		for i := range v {
			z := (x[i] - f.pos) / blur
			p := step.at(z)
			r := v[i] - (f.light*(1-p) + f.dark*p)
			g := h * bell.at(z) / blur // d model / d pos
			num += r * g
			den += g * g
			ss += r * r
		}
		f.misfit = math.Sqrt(ss/float64(n)) / h
		if den == 0 {
			return f
		}
		d := math.Max(-1, math.Min(1, num/den))
		f.pos += d
		if math.Abs(f.pos) > x[n-1] {
			return f
		}
		if math.Abs(d) < 1e-3 {
			f.ok = true
			return f
		}
	}
	f.ok = true
	return f
}

// estimateBlur returns the blur (standard deviation, px) that fits the outer edges of the markers best.
func (im *Picture) estimateBlur(c *camera.Camera, pose camera.SheetPose, scale float64, es []edge) float64 {
	best, bestMisfit := 0.9, math.Inf(1)
	for _, b := range []float64{0.5, 0.65, 0.8, 1, 1.25, 1.6, 2, 2.6, 3.4} {
		var m []float64
		for _, s := range im.locate(c, pose, scale, es, b, 6) {
			m = append(m, s.misfit)
		}
		if len(m) < 8 {
			continue
		}
		sort.Float64s(m)
		if q := m[len(m)/2]; q < bestMisfit {
			best, bestMisfit = b, q
		}
	}
	return best
}
