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
}

func newModel(p []float64, nq int, rho0 float64) *model {
	m := &model{p: append([]float64(nil), p...), nq: nq}
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
	m.mid.b = p[pProfile+m.nq:]
	m.mid.build()
}

// refresh rebuilds what parameter i moves.
func (m *model) refresh(i int) {
	switch {
	case i <= pRoll:
		p := m.p
		m.fr = newFrame(geom.Vec3{X: p[pX], Y: p[pY], Z: p[pZ]}, p[pYaw], p[pRise], p[pRoll])
	case i == pCap0 || i == pCap1:
		m.prof.c0, m.prof.c1 = share(m.p[pCap0]), share(m.p[pCap1])
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

func (m *model) clone() *model { return newModel(m.p, m.nq, m.prof.rho0) }

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
	s.g, s.dr2 = s.eta*s.eta+up*up-r2, d
	sh, ch := 0.0, 1.0
	if s.h != 0 {
		sh, ch = math.Sincos(s.h)
	}
	ga, gn := -2*s.eta*sh-d/s.den*ch, 2*s.eta*ch-d/s.den*sh
	s.grad = m.fr.a.Scale(ga).Add(m.fr.n.Scale(gn)).Add(m.fr.b.Scale(2 * up))
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
	r2, _ := m.prof.r2(s.t)
	d0, d1 := m.prof.byCaps(s.t)
	if m.prof.c0 < 0.5 {
		row[pCap0] = -d0 * m.prof.c0
	}
	if m.prof.c1 < 0.5 {
		row[pCap1] = -d1 * m.prof.c1
	}
	m.prof.addGrad(s.t, -2*r2, row[pProfile:pProfile+m.nq])
	for j := range m.mid.b {
		_, tail := hat(j, s.t)
		dx, dy := m.mid.byBend(j, s.t)
		row[pProfile+m.nq+j] = by(dx, dy, -tail)
	}
}

// graze returns the distance along the ray from o along unit d where G is least, with its spot. For
// a ray that just touches the body that is the touching point and G = 0. near is a distance to start
// from; NaN searches the whole body.
func (m *model) graze(o, d geom.Vec3, near float64) (float64, spot) {
	reach := max(0.62*m.mid.L, 1.6*m.prof.rho0)
	step := reach / 4
	l := near
	hint := math.NaN()
	if math.IsNaN(near) {
		// a coarse walk finds the basin, Newton's method with a difference quotient the bottom
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
	} else {
		step /= 2
	}
	lo, hi := l-step, l+step
	s := m.look(o.Add(d.Scale(l)), hint)
	slope := s.grad.Dot(d)
	curve := 2.0
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
		ns := m.look(o.Add(d.Scale(nl)), s.t)
		nslope := ns.grad.Dot(d)
		if c := (nslope - slope) / (nl - l); c > 0.05 && c < 1e4 {
			curve = c
		}
		done := math.Abs(nl-l) < 3e-3 // G is flat there: 1e-5 mm² at most
		l, s, slope = nl, ns, nslope
		if done {
			break
		}
	}
	return l, s
}
