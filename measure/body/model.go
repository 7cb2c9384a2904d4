package body

import (
	"math"

	"offtype/measure/geom"
)

// Order of the parameters: place of the middle of the middle line (mm), yaw, rise of the blossom
// end, roll of the middle line's plane (rad), length along the middle line (mm), then the profile's
// coefficients, then the bends.
const (
	pX = iota
	pY
	pZ
	pYaw
	pRise
	pRoll
	pLen
	pCap0 // logarithms of the rounded shares
	pCap1
	pProfile
)

// model is one body with its derived tables.
type model struct {
	p    []float64
	nq   int
	prof profile
	mid  midline
	fr   frame
	ribs int // ribs around; above 0 the last two parameters are their depth and phase
}

func newModel(p []float64, nq int, rho0 float64, ribs int) *model {
	m := &model{p: append([]float64(nil), p...), nq: nq, ribs: ribs}
	m.prof.rho0 = rho0
	m.update()
	return m
}

// update rebuilds the tables from m.p.
func (m *model) update() {
	p := m.p
	m.fr = newFrame(geom.Vec3{X: p[pX], Y: p[pY], Z: p[pZ]}, p[pYaw], p[pRise], p[pRoll])
	m.prof.c = p[pProfile : pProfile+m.nq]
	m.prof.c0, m.prof.c1 = share(p[pCap0]), share(p[pCap1])
	m.prof.build()
	m.mid.L = p[pLen]
	m.mid.b = p[pProfile+m.nq : m.pRib()]
	m.mid.build()
}

// pRib returns the place of the ribs' depth among the parameters; their phase follows.
func (m *model) pRib() int {
	if m.ribs > 0 {
		return len(m.p) - 2
	}
	return len(m.p)
}

// rib returns the relative radius at angle theta of a ribbed body, 1 on the ridges and 1 − depth in
// the furrows, with its derivatives by theta and by depth: rounded ribs and narrower furrows.
func (m *model) rib(theta float64) (g, dTheta, dDepth float64) {
	i := m.pRib()
	n := float64(m.ribs)
	s, c := math.Sincos(n*theta - m.p[i+1])
	h := 0.5 - 0.5*c
	return 1 - m.p[i]*h*h, -m.p[i] * h * n * s, -h * h
}

// refresh rebuilds what parameter i moves.
func (m *model) refresh(i int) {
	switch {
	case i <= pRoll:
		p := m.p
		m.fr = newFrame(geom.Vec3{X: p[pX], Y: p[pY], Z: p[pZ]}, p[pYaw], p[pRise], p[pRoll])
	case i == pCap0 || i == pCap1:
		m.prof.c0, m.prof.c1 = share(m.p[pCap0]), share(m.p[pCap1])
	case i >= m.pRib():
	case i == pLen || i >= pProfile+m.nq:
		m.mid.L = m.p[pLen]
		m.mid.build()
	default:
		m.prof.build()
	}
}

// share is the rounded share of the length from its logarithm, at most ½.
func share(l float64) float64 { return math.Min(0.5, math.Exp(l)) }

// set takes new parameters.
func (m *model) set(p []float64) {
	copy(m.p, p)
	m.update()
}

func (m *model) clone() *model { return newModel(m.p, m.nq, m.prof.rho0, m.ribs) }

// bent reports whether the middle line may bend.
func (m *model) bent() bool { return len(m.mid.b) > 0 }

// centre returns the point of the middle line at t and its unit tangent, table frame.
func (m *model) centre(t float64) (c, tan geom.Vec3) {
	x, y, h, _ := m.mid.at(t)
	s, co := math.Sincos(h)
	c = m.fr.o.Add(m.fr.a.Scale(x)).Add(m.fr.n.Scale(y))
	return c, m.fr.a.Scale(co).Add(m.fr.n.Scale(s))
}

// across returns the unit vector across the middle line within its plane.
func (m *model) across(t float64) geom.Vec3 {
	_, _, h, _ := m.mid.at(t)
	s, c := math.Sincos(h)
	return m.fr.n.Scale(c).Sub(m.fr.a.Scale(s))
}

// spot is a point seen from the body: where it lies and the value and gradient of
//
//	G(P) = |P − c(t)|² − ρ²(t),  (P − c(t))·c'(t) = 0
//
// which is negative inside the body, mm².
type spot struct {
	t, eta, up float64 // station, offset in the plane and across it, mm
	h, dh      float64
	den        float64 // L − h'·eta
	r2, rib    float64 // ρ² with ribs, mm²; relative radius
	dPhase     float64 // ∂G/∂phase, mm²
	dDepth     float64 // ∂G/∂depth, mm²
	g, dr2     float64
	grad       geom.Vec3
}

// look evaluates the spot of point p; hint as in locate.
func (m *model) look(p geom.Vec3, hint float64) spot {
	w := p.Sub(m.fr.o)
	px, py, up := w.Dot(m.fr.a), w.Dot(m.fr.n), w.Dot(m.fr.b)
	var s spot
	s.t, s.eta, s.h, s.dh = m.mid.locate(px, py, hint)
	s.up = up
	s.den = m.mid.L - s.dh*s.eta
	if s.den < 0.3*m.mid.L {
		s.den = 0.3 * m.mid.L
	}
	r2, d := m.prof.r2(s.t)
	turn := 0.0 // ∂G/∂θ
	s.rib = 1
	if m.ribs > 0 {
		g, dt, dd := m.rib(math.Atan2(up, s.eta))
		turn = -2 * r2 * g * dt
		s.dPhase, s.dDepth = -turn/float64(m.ribs), -2*r2*g*dd
		s.rib = g
		r2, d = r2*g*g, d*g*g
	}
	s.r2 = r2
	s.g, s.dr2 = s.eta*s.eta+up*up-r2, d
	sh, ch := 0.0, 1.0
	if s.h != 0 {
		sh, ch = math.Sincos(s.h)
	}
	over, high := 2*s.eta, 2*up
	if turn != 0 {
		q := turn / math.Max(s.eta*s.eta+up*up, 1)
		over, high = over-q*up, high+q*s.eta
	}
	ga, gn := -over*sh-d/s.den*ch, over*ch-d/s.den*sh
	s.grad = m.fr.a.Scale(ga).Add(m.fr.n.Scale(gn)).Add(m.fr.b.Scale(high))
	return s
}

// jac writes ∂G(P)/∂p at a fixed point P into row (length of p).
func (m *model) jac(p geom.Vec3, s spot, row []float64) {
	for i := range row {
		row[i] = 0
	}
	row[pX], row[pY], row[pZ] = -s.grad.X, -s.grad.Y, -s.grad.Z
	w := p.Sub(m.fr.o)
	turn := func(axis geom.Vec3) float64 { return -s.grad.Dot(axis.Cross(w)) }
	row[pYaw] = turn(geom.Vec3{Z: 1})
	sp, cp := math.Sincos(m.p[pYaw])
	row[pRise] = turn(geom.Vec3{X: sp, Y: -cp})
	row[pRoll] = turn(m.fr.a)
	sh, ch := math.Sincos(s.h)
	x, y, _, _ := m.mid.at(s.t)
	// ∂G = −2(P−c)·∂c − ρ²'·∂t with ∂t = ((P−c)·∂T − ∂c·T)/(L − h'η)
	by := func(cx, cy, dh float64) float64 {
		along, over := cx*ch+cy*sh, -cx*sh+cy*ch
		return -2*s.eta*over - s.dr2*(s.eta*dh-along)/s.den
	}
	row[pLen] = by(x/m.mid.L, y/m.mid.L, 0)
	d0, d1 := m.prof.byCaps(s.t)
	d0, d1 = d0*s.rib*s.rib, d1*s.rib*s.rib
	if m.prof.c0 < 0.5 {
		row[pCap0] = -d0 * m.prof.c0
	}
	if m.prof.c1 < 0.5 {
		row[pCap1] = -d1 * m.prof.c1
	}
	m.prof.addGrad(s.t, -2*s.r2, row[pProfile:pProfile+m.nq])
	for j := range m.mid.b {
		_, tail := hat(j, s.t)
		dx, dy := m.mid.byBend(j, s.t)
		row[pProfile+m.nq+j] = by(dx, dy, -tail)
	}
	if i := m.pRib(); m.ribs > 0 {
		row[i], row[i+1] = s.dDepth, s.dPhase
	}
}

// graze returns the distance along the ray from o along unit d where G is least, the second derivative of
// G along the ray there, and the spot. For a ray that just touches the body that is the touching point and
// G = 0. near is a distance to start from, NaN searches the whole body; bow is the second derivative if
// known, or 0.
func (m *model) graze(o, d geom.Vec3, near, bow float64) (float64, float64, spot) {
	reach := max(0.62*m.mid.L, 1.6*m.prof.rho0)
	step := reach / 4
	l := near
	hint := math.NaN()
	switch {
	case math.IsNaN(near) && !m.bent():
		l = m.beside(o, d)
		step = reach
	case math.IsNaN(near): // a coarse walk finds the basin
		mid := m.fr.o.Sub(o).Dot(d)
		best := math.Inf(1)
		for i := -4; i <= 4; i++ {
			x := mid + step*float64(i)
			s := m.look(o.Add(d.Scale(x)), hint)
			hint = s.t
			if s.g < best {
				best, l = s.g, x
			}
		}
		hint = math.NaN()
	default:
		step /= 2
	}
	if m.ribs > 0 { // the ray may touch any of a few ridges: look at each
		step = 0.7 * m.prof.rho0 / float64(m.ribs) * 2
		best, mid := math.Inf(1), l
		for i := -4; i <= 4; i++ {
			x := mid + step*float64(i)
			if s := m.look(o.Add(d.Scale(x)), math.NaN()); s.g < best {
				best, l = s.g, x
			}
		}
	}
	lo, hi := l-step, l+step
	s := m.look(o.Add(d.Scale(l)), hint)
	slope := s.grad.Dot(d)
	curve := 2.0 // Newton's method with a difference quotient finds the bottom
	if bow > 0 && m.ribs == 0 {
		curve = bow
	}
	for i := 0; i < 12; i++ {
		if slope > 0 {
			hi = l
		} else {
			lo = l
		}
		nl := l - slope/curve
		if nl <= lo || nl >= hi {
			nl = (lo + hi) / 2
		}
		if math.Abs(nl-l) < nearEnough && (i > 0 || bow > 0 && m.ribs == 0) {
			break
		}
		ns := m.look(o.Add(d.Scale(nl)), s.t)
		nslope := ns.grad.Dot(d)
		if c := (nslope - slope) / (nl - l); c > 0.05 && c < 1e4 {
			curve = c
		}
		l, s, slope = nl, ns, nslope
	}
	return l, curve, s
}

// beside returns the distance along the ray from o along unit d to the point beside the place where it
// passes the axis of a straight body most closely, mm.
func (m *model) beside(o, d geom.Vec3) float64 {
	w := m.fr.o.Sub(o)
	da := d.Dot(m.fr.a)
	// foot on the axis of the shortest way between both lines, kept between the ends
	x := 0.0
	if s := 1 - da*da; s > 1e-6 {
		x = (w.Dot(d)*da - w.Dot(m.fr.a)) / s
	}
	x = math.Min(math.Max(x, -0.45*m.mid.L), 0.45*m.mid.L)
	return w.Dot(d) + x*da
}

// nearEnough is how near graze comes to the least G, mm: G is flat there, 1e-5 mm² at most.
const nearEnough = 3e-3
