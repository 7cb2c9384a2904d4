package body

import (
	"math"

	"offtype/measure/geom"
)

const (
	bends    = 5  // hats of curvature along a bent middle line
	stations = 48 // intervals of the tabled middle line
)

// midline is the planar middle line of the body. In its own plane, (x along a, y along n), its
// heading is h(t) = −Σ b_j·∫_t^1 hat_j and its speed is the length L; (x, y) = 0 at t = ½. a is the
// direction of the blossom end, so the stem end carries the turn. Without bends it is straight.
type midline struct {
	L       float64
	b       []float64 // turn of each hat, rad; empty: straight
	*course           // nil: straight
}

// course tables a bent middle line.
type course struct {
	turn [bends + 2]float64 // dh/dt at the feet and peaks of the hats, between which it is straight
	head [bends + 2]float64 // h there
	h    [stations + 1]float64
	x, y [stations + 1]float64
	s, c [stations + 1]float64        // sine and cosine of h
	dx   [bends][stations + 1]float64 // ∂x/∂b_j
	dy   [bends][stations + 1]float64
}

// hat returns the curvature of hat j at t (unit integral) and its integral from t to 1.
func hat(j int, t float64) (k, tail float64) {
	w := 1.0 / (bends + 1)
	u := (t - float64(j+1)*w) / w
	switch {
	case u <= -1:
		return 0, 1
	case u >= 1:
		return 0, 0
	case u < 0:
		return (1 + u) / w, 1 - (1+u)*(1+u)/2
	}
	return (1 - u) / w, (1 - u) * (1 - u) / 2
}

// heading returns h in rad and dh/dt at t; beyond the ends the line goes on straight.
func (m *midline) heading(t float64) (h, dh float64) {
	if len(m.b) == 0 {
		return 0, 0
	}
	u := t * (bends + 1)
	if !(u > 0) {
		return m.head[0], 0
	}
	if u >= bends+1 {
		return 0, 0
	}
	i := int(u)
	u -= float64(i)
	d := m.turn[i+1] - m.turn[i]
	return m.head[i] + u*(m.turn[i]+u*d/2)/(bends+1), m.turn[i] + u*d
}

// buildTurn fills turn and head.
func (m *midline) buildTurn() {
	for j, b := range m.b {
		m.turn[j+1] = b * (bends + 1)
	}
	m.head[bends+1] = 0
	for i := bends; i >= 0; i-- {
		m.head[i] = m.head[i+1] - (m.turn[i]+m.turn[i+1])/(2*(bends+1))
	}
}

// build fills the tables of a bent line by Simpson's rule.
func (m *midline) build() {
	if len(m.b) == 0 {
		return
	}
	if m.course == nil {
		m.course = new(course)
	}
	m.buildTurn()
	const dt = 1.0 / stations
	var prev, mid, next [2 + 2*bends]float64
	speed := func(t float64, o *[2 + 2*bends]float64) float64 {
		h, _ := m.heading(t)
		s, c := math.Sincos(h)
		o[0], o[1] = m.L*c, m.L*s
		for j := range m.b {
			_, tail := hat(j, t)
			o[2+2*j], o[3+2*j] = m.L*s*tail, -m.L*c*tail
		}
		return h
	}
	m.h[0] = speed(0, &prev)
	m.c[0], m.s[0] = prev[0]/m.L, prev[1]/m.L
	m.x[0], m.y[0] = 0, 0
	for j := range m.b {
		m.dx[j][0], m.dy[j][0] = 0, 0
	}
	for i := 0; i < stations; i++ {
		speed((float64(i)+0.5)*dt, &mid)
		m.h[i+1] = speed(float64(i+1)*dt, &next)
		m.c[i+1], m.s[i+1] = next[0]/m.L, next[1]/m.L
		step := func(k int) float64 { return dt / 6 * (prev[k] + 4*mid[k] + next[k]) }
		m.x[i+1], m.y[i+1] = m.x[i]+step(0), m.y[i]+step(1)
		for j := range m.b {
			m.dx[j][i+1] = m.dx[j][i] + step(2+2*j)
			m.dy[j][i+1] = m.dy[j][i] + step(3+2*j)
		}
		prev = next
	}
	const half = stations / 2
	shift := func(v *[stations + 1]float64) {
		o := v[half]
		for i := range v {
			v[i] -= o
		}
	}
	shift(&m.x)
	shift(&m.y)
	for j := range m.b {
		shift(&m.dx[j])
		shift(&m.dy[j])
	}
}

// at returns the point of the middle line in its plane, its heading and dh/dt.
func (m *midline) at(t float64) (x, y, h, dh float64) {
	if len(m.b) == 0 {
		return m.L * (t - 0.5), 0, 0, 0
	}
	h, dh = m.heading(t)
	if t <= 0 || t >= 1 {
		i, o := 0, t
		if t >= 1 {
			i, o = stations, t-1
		}
		return m.x[i] + m.L*o*m.c[i], m.y[i] + m.L*o*m.s[i], h, 0
	}
	if math.IsNaN(t) {
		t = 0
	}
	f := t * stations
	i := int(f)
	u := f - float64(i)
	l := m.L / stations
	x = hermite(m.x[i], m.x[i+1], l*m.c[i], l*m.c[i+1], u)
	y = hermite(m.y[i], m.y[i+1], l*m.s[i], l*m.s[i+1], u)
	return x, y, h, dh
}

// byBend returns ∂(x, y)/∂b_j at t.
func (m *midline) byBend(j int, t float64) (x, y float64) {
	f := t * stations
	i := min(max(int(f), 0), stations-1)
	u := f - float64(i)
	return m.dx[j][i] + u*(m.dx[j][i+1]-m.dx[j][i]), m.dy[j][i] + u*(m.dy[j][i+1]-m.dy[j][i])
}

// locate returns the station whose cross plane holds plane point (px, py), and the offset across
// the line there. hint is a station to start from; a NaN hint searches all.
func (m *midline) locate(px, py, hint float64) (t, eta, h, dh float64) {
	if len(m.b) == 0 {
		return 0.5 + px/m.L, py, 0, 0
	}
	t = hint
	if math.IsNaN(hint) {
		best := math.Inf(1)
		for i := 0; i <= stations; i += 2 {
			if d := (px-m.x[i])*(px-m.x[i]) + (py-m.y[i])*(py-m.y[i]); d < best {
				best, t = d, float64(i)/stations
			}
		}
	}
	for i := 0; i < 8; i++ {
		x, y, hh, d := m.at(t)
		s, c := math.Sincos(hh)
		f := (px-x)*c + (py-y)*s
		eta, h, dh = -(px-x)*s+(py-y)*c, hh, d
		den := m.L - d*eta
		if den < 0.3*m.L {
			den = 0.3 * m.L
		}
		step := f / den
		t += step
		if math.Abs(step) < 1e-7 {
			break
		}
	}
	return t, eta, h, dh
}

// hermite interpolates between values a and b with slopes da and db (per unit interval).
func hermite(a, b, da, db, u float64) float64 {
	v := 1 - u
	return a*v*v*(1+2*u) + da*u*v*v + b*u*u*(1+2*v) - db*u*u*v
}

// frame is a place and three unit vectors: a along the blossom end's axis, n across it in the
// plane of the middle line, b across both.
type frame struct {
	o, a, n, b geom.Vec3
}

// newFrame turns the axis by yaw psi about the vertical, raises its blossom end by tau and rolls
// the plane of the middle line by roll about a; all rad.
func newFrame(o geom.Vec3, psi, tau, roll float64) frame {
	sp, cp := math.Sincos(psi)
	st, ct := math.Sincos(tau)
	a := geom.Vec3{X: ct * cp, Y: ct * sp, Z: st}
	n := geom.Vec3{X: -sp, Y: cp}
	b := a.Cross(n)
	if roll != 0 {
		sr, cr := math.Sincos(roll)
		n, b = n.Scale(cr).Add(b.Scale(sr)), b.Scale(cr).Sub(n.Scale(sr))
	}
	return frame{o, a, n, b}
}
