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

	ribDepth, ribCos, ribSin float64 // the last two of the phase
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
	m.setRibs()
	m.mid.L = p[pLen]
	m.mid.b = p[pProfile+m.nq : m.pRib()]
	m.mid.build()
}

// setRibs is update where only depth and phase of the ribs have changed.
func (m *model) setRibs() {
	if m.ribs > 0 {
		i := m.pRib()
		m.ribDepth = m.p[i]
		m.ribSin, m.ribCos = math.Sincos(m.p[i+1])
	}
}

// ribbed is the straight body m with ribs: the tables stay.
func (m *model) ribbed(ribs int, depth, phase float64) *model {
	r := *m
	r.p = append(append(make([]float64, 0, len(m.p)+2), m.p...), depth, phase)
	r.prof.c = r.p[pProfile : pProfile+r.nq]
	r.mid.b = r.p[pProfile+r.nq : len(m.p)]
	r.ribs = ribs
	r.setRibs()
	return &r
}

// pRib returns the place of the ribs' depth among the parameters; their phase follows.
func (m *model) pRib() int {
	if m.ribs > 0 {
		return len(m.p) - 2
	}
	return len(m.p)
}

// rib returns the relative radius of a ribbed body in the direction (eta, up) from its axis, 1 on the ridges
// and 1 − depth in the furrows, with its derivatives by the direction's angle and by depth: rounded ribs and
// narrower furrows.
func (m *model) rib(eta, up float64) (g, dTheta, dDepth float64) {
	c, s := m.turn(eta, up)
	c, s = c*m.ribCos+s*m.ribSin, s*m.ribCos-c*m.ribSin
	h := 0.5 - 0.5*c
	return 1 - m.ribDepth*h*h, -m.ribDepth * h * float64(m.ribs) * s, -h * h
}

// turn returns the cosine and sine of the direction's angle times the number of ribs, by squaring of eta + i·up.
func (m *model) turn(eta, up float64) (c, s float64) {
	if r := math.Sqrt(eta*eta + up*up); r > 0 {
		eta, up = eta/r, up/r
	} else {
		eta, up = 1, 0
	}
	c, s = 1, 0
	for n := m.ribs; n > 0; n >>= 1 {
		if n&1 == 1 {
			c, s = c*eta-s*up, c*up+s*eta
		}
		eta, up = eta*eta-up*up, 2*eta*up
	}
	return c, s
}

// share is the rounded share of the length from its logarithm, at most ½.
func share(l float64) float64 { return math.Min(0.5, math.Exp(l)) }

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
	over, high, tilt := m.fillSpot(&s)
	sh, ch := 0.0, 1.0
	if s.h != 0 {
		sh, ch = math.Sincos(s.h)
	}
	s.grad = m.fr.a.Scale(-over*sh - tilt*ch).Add(m.fr.n.Scale(over*ch - tilt*sh)).Add(m.fr.b.Scale(high))
	return s
}

// lookAlong is look for the point at distance l along a ray of a straight body.
func (m *model) lookAlong(r *line, l float64) spot {
	var s spot
	var f fall
	m.along(r, l, &s, &f)
	s.grad = m.gradient(&f)
	return s
}

// fillSpot fills what follows from a spot's station and offsets and returns G's derivatives by the two offsets and
// minus that along the line.
func (m *model) fillSpot(s *spot) (over, high, tilt float64) {
	r2, d := m.prof.r2(s.t)
	over, high = 2*s.eta, 2*s.up
	s.rib = 1
	if m.ribs > 0 {
		g, dt, dd := m.rib(s.eta, s.up)
		turn := -2 * r2 * g * dt // ∂G/∂θ
		s.dPhase, s.dDepth = -turn/float64(m.ribs), -2*r2*g*dd
		s.rib = g
		r2, d = r2*g*g, d*g*g
		q := turn / max(s.eta*s.eta+s.up*s.up, 1)
		over, high = over-q*s.up, high+q*s.eta
	}
	s.r2, s.dr2 = r2, d
	s.g = s.eta*s.eta + s.up*s.up - r2
	return over, high, d / s.den
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
