package body

import (
	"math"

	"offtype/measure/geom"
)

// graze returns the distance along the ray from o along unit d where G is least, the second derivative of
// G along the ray there, and the spot. For a ray that just touches the body that is the touching point and
// G = 0. near is a distance to start from, NaN searches the whole body; bow is the second derivative if
// known, or 0.
func (m *model) graze(o, d geom.Vec3, near, bow float64) (float64, float64, spot) {
	if m.bent() {
		l, curve, hint := m.grazeBent(o, d, near, bow)
		s := m.look(o.Add(d.Scale(l)), hint)
		s.settle(s.grad.Dot(d), curve)
		return l, curve, s
	}
	r := m.line(o, d)
	var s spot
	var f fall
	l, curve := m.grazeStraight(&r, near, bow, &s, &f)
	s.grad = m.gradient(&f)
	s.settle(f.along, curve)
	return l, curve, s
}

// settle takes off G what is left of the way to its least along the ray: slope and second derivative of G there.
func (s *spot) settle(slope, curve float64) {
	if curve > 0.05 {
		s.g -= slope * slope / (2 * curve)
	}
}

// line is a ray in the frame of a straight body: along the axis from the middle, across it, and up.
type line struct{ x, y, z, dx, dy, dz float64 }

func (m *model) line(o, d geom.Vec3) line {
	w := o.Sub(m.fr.o)
	return line{w.Dot(m.fr.a), w.Dot(m.fr.n), w.Dot(m.fr.b), d.Dot(m.fr.a), d.Dot(m.fr.n), d.Dot(m.fr.b)}
}

// fall is how G changes at a spot of a straight body: by the offsets across its axis, minus that along it, and along a ray.
type fall struct{ over, high, tilt, along float64 }

// along fills the spot at distance l along a ray of a straight body, without its gradient, and how G changes there.
func (m *model) along(r *line, l float64, s *spot, f *fall) {
	s.t, s.eta, s.up, s.den = 0.5+(r.x+l*r.dx)/m.mid.L, r.y+l*r.dy, r.z+l*r.dz, m.mid.L
	f.over, f.high, f.tilt = m.fillSpot(s)
	f.along = f.over*r.dy + f.high*r.dz - f.tilt*r.dx
}

// gradient returns that of G, straight body.
func (m *model) gradient(f *fall) geom.Vec3 {
	return m.fr.a.Scale(-f.tilt).Add(m.fr.n.Scale(f.over)).Add(m.fr.b.Scale(f.high))
}

// grazeStraight is graze for a straight body; it leaves the spot without its gradient, and how G changes there.
func (m *model) grazeStraight(r *line, near, bow float64, s *spot, f *fall) (l, curve float64) {
	enough := nearEnough
	if m.ribs > 0 {
		enough = nearRib
	}
	return m.grazeWithin(enough, r, near, bow, s, f)
}

// grazeWithin is grazeStraight that comes as near as enough, mm, to the least G.
func (m *model) grazeWithin(enough float64, r *line, near, bow float64, s *spot, f *fall) (l, curve float64) {
	reach := max(0.62*m.mid.L, 1.6*m.prof.rho0)
	l = near
	step := reach / 8
	if math.IsNaN(near) {
		l, step = m.beside(r), reach
		if m.ribs > 0 { // the ray may touch any of a few ridges: look at each
			at := m.ridge(r, l)
			l, bow, step = at.near, at.bow, m.ribStep()
		}
	} else if m.ribs > 0 {
		step = m.ribStep()
	}
	v := valley{lo: l - step, hi: l + step, curve: 2}
	if bow > 0 {
		v.curve = bow
	}
	m.along(r, l, s, f)
	for i := 0; i < 12; i++ {
		nl := v.next(l, f.along)
		if math.Abs(nl-l) < enough && (i > 0 || bow > 0) {
			break
		}
		was := f.along
		m.along(r, nl, s, f)
		v.learn(f.along-was, nl-l)
		l = nl
	}
	return l, v.curve
}

// ribStep is how far apart rays are looked at for ridges, mm: less than a quarter of a rib's width.
func (m *model) ribStep() float64 { return 1.4 * m.prof.rho0 / float64(m.ribs) }

// ridge returns about where along the ray it comes closest to a ridge, among near and four steps to both sides.
func (m *model) ridge(r *line, near float64) grazing {
	const side = 4
	var g [2*side + 1]float64
	step := m.ribStep()
	for i := range g {
		l := near + step*float64(i-side)
		eta, up := r.y+l*r.dy, r.z+l*r.dz
		r2, _ := m.prof.r2(0.5 + (r.x+l*r.dx)/m.mid.L)
		rib, _, _ := m.rib(eta, up)
		g[i] = eta*eta + up*up - r2*rib*rib
	}
	return lowestOf(g[:], near-side*step, step)
}

// grazeBent is graze for a bent body; it returns the station too.
func (m *model) grazeBent(o, d geom.Vec3, near, bow float64) (l, curve, t float64) {
	reach := max(0.62*m.mid.L, 1.6*m.prof.rho0)
	l, t = near, math.NaN()
	step := reach / 8
	if math.IsNaN(near) { // a coarse walk finds the basin
		step = reach / 4
		mid := m.fr.o.Sub(o).Dot(d)
		best := math.Inf(1)
		for i := -4; i <= 4; i++ {
			x := mid + step*float64(i)
			s := m.look(o.Add(d.Scale(x)), t)
			t = s.t
			if s.g < best {
				best, l = s.g, x
			}
		}
		t = math.NaN()
	}
	v := valley{lo: l - step, hi: l + step, curve: 2}
	if bow > 0 {
		v.curve = bow
	}
	slope := func(l float64) float64 {
		s := m.look(o.Add(d.Scale(l)), t)
		t = s.t
		return s.grad.Dot(d)
	}
	s := slope(l)
	for i := 0; i < 12; i++ {
		nl := v.next(l, s)
		if math.Abs(nl-l) < nearEnough && (i > 0 || bow > 0) {
			break
		}
		ns := slope(nl)
		v.learn(ns-s, nl-l)
		l, s = nl, ns
	}
	return l, v.curve, t
}

// valley is where a slope's zero is sought by Newton's method with a difference quotient: bounds and the present
// second derivative.
type valley struct{ lo, hi, curve float64 }

// next returns the next place to look at from l, where the slope is s.
func (v *valley) next(l, s float64) float64 {
	if s > 0 {
		v.hi = l
	} else {
		v.lo = l
	}
	nl := l - s/v.curve
	if nl <= v.lo || nl >= v.hi {
		nl = (v.lo + v.hi) / 2
	}
	return nl
}

// learn takes the slope's change over a step.
func (v *valley) learn(change, step float64) {
	if c := change / step; c > 0.05 && c < 1e4 {
		v.curve = c
	}
}

// beside returns the distance along the ray to the point beside the place where it passes the axis of a
// straight body most closely, mm.
func (m *model) beside(r *line) float64 {
	along := r.x*r.dx + r.y*r.dy + r.z*r.dz // to the foot of the body's middle, negative
	// foot on the axis of the shortest way between both lines, kept between the ends
	x := 0.0
	if s := 1 - r.dx*r.dx; s > 1e-6 {
		x = (r.x - along*r.dx) / s
	}
	x = math.Min(math.Max(x, -0.45*m.mid.L), 0.45*m.mid.L)
	return x*r.dx - along
}

// nearEnough is how near graze comes to the least G, mm; settle takes the rest off to second order. The ridges of
// a ribbed body are sharper.
const (
	nearEnough = 0.15
	nearRib    = 0.03
)
