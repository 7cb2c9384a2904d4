package body

import (
	"math"

	"offtype/measure/geom"
)

// Order of the traits of a model.
const (
	qLength = iota
	qWidth
	qMidline
	qBend
	qBroadest
	qVolume
	qHeight
	qRatio
	qProfile
)

const profileStations = 21

// traits computes the measures of a model: mm, degrees, 0–1, cm³.
func (m *model) traits() []float64 {
	out := make([]float64, qProfile+profileStations)
	out[qLength] = m.straightLength()
	r, t := m.broadest()
	out[qWidth], out[qBroadest] = 2*r, t
	out[qMidline] = m.mid.L
	h0, _ := m.mid.heading(0)
	h1, _ := m.mid.heading(1)
	out[qBend] = (h1 - h0) * 180 / math.Pi
	const n = 100 // Simpson's rule on a smooth integrand
	for i := 0; i <= n; i++ {
		w := 2.0
		switch {
		case i == 0 || i == n:
			w = 1
		case i%2 == 1:
			w = 4
		}
		r2, _ := m.prof.r2(float64(i) / n)
		out[qVolume] += w * math.Max(0, r2)
	}
	out[qVolume] *= math.Pi * m.mid.L / (3 * n) / 1000 * m.ribShare()
	out[qHeight] = m.top()
	out[qRatio] = out[qLength] / out[qWidth]
	for i := 0; i < profileStations; i++ {
		out[qProfile+i] = 2 * m.prof.radius(float64(i)/(profileStations-1))
	}
	return out
}

// ribShare is the mean of the squared relative radius around the body: what furrows leave of the
// volume.
func (m *model) ribShare() float64 {
	if m.ribs == 0 {
		return 1
	}
	d := m.p[m.pRib()]
	return 1 - 0.75*d + 35.0/128*d*d // means of sin⁴ and sin⁸
}

// straightLength is the extent of the body along the straight line between the ends, mm.
func (m *model) straightLength() float64 {
	if !m.bent() {
		return m.mid.L
	}
	c0, _ := m.centre(0)
	c1, _ := m.centre(1)
	u := c1.Sub(c0).Unit()
	lo, hi := math.Inf(1), math.Inf(-1)
	const n = 80
	for i := 0; i <= n; i++ {
		t := 0.5 - 0.5*math.Cos(math.Pi*float64(i)/n)
		c, tan := m.centre(t)
		x := c.Sub(c0).Dot(u)
		r := m.prof.radius(t) * math.Sqrt(math.Max(0, 1-math.Pow(tan.Dot(u), 2)))
		lo, hi = math.Min(lo, x-r), math.Max(hi, x+r)
	}
	return hi - lo
}

// broadest returns the greatest radius, mm, and its station.
func (m *model) broadest() (r, t float64) {
	const n = 60
	for i := 1; i < n; i++ {
		v := 0.5 - 0.5*math.Cos(math.Pi*float64(i)/n)
		if x := m.prof.radius(v); x > r {
			r, t = x, v
		}
	}
	step := 0.02
	for k := 0; k < 4; k++ {
		a, b, c := m.prof.radius(t-step), m.prof.radius(t), m.prof.radius(t+step)
		if den := a - 2*b + c; den < 0 {
			if u := (a - c) / (2 * den); math.Abs(u) <= 1 {
				t += u * step
			}
		}
		step /= 3
	}
	return math.Max(r, m.prof.radius(t)), t
}

// top returns the height of the body's highest point, mm.
func (m *model) top() float64 {
	z := math.Inf(-1)
	for i := 0; i <= 40; i++ {
		t := float64(i) / 40
		c, tan := m.centre(t)
		z = math.Max(z, c.Z+m.prof.radius(t)*math.Sqrt(math.Max(0, 1-tan.Z*tan.Z)))
	}
	return z
}

// draw returns the lines of the body in a view.
func (m *model) draw(v *View) Drawing {
	var d Drawing
	for i := 0; i < profileStations; i++ {
		c, _ := m.centre(float64(i) / (profileStations - 1))
		d.Midline = append(d.Midline, v.Camera.Project(c))
	}
	d.Stem, d.Blossom = d.Midline[0], d.Midline[profileStations-1]
	d.Length = [2]geom.Px{d.Stem, d.Blossom}
	r, t := m.broadest()
	c, tan := m.centre(t)
	// across the axis and across the line of sight: the width as it is seen
	u := tan.Cross(c.Sub(v.Camera.Centre()).Unit()).Unit()
	d.Width = [2]geom.Px{v.Camera.Project(c.Sub(u.Scale(r))), v.Camera.Project(c.Add(u.Scale(r)))}
	return d
}
