package body

import (
	"math"
	"sort"

	"offtype/measure/geom"
)

const (
	knots = 15 // coefficients of the profile

	// Prior standard deviations. They are wide next to what a whole outline says and matter only for
	// what no view shows.
	contactMM   = 0.4  // lowest point above the table, mm
	wiggle      = 0.15 // second difference of the profile's coefficients
	wiggleBend  = 0.15 // second difference of the bends, rad
	sizeBend    = 0.5  // each bend, rad
	flatRiseDeg = 0.8  // rise at rest of a body on two contacts, degrees
	softRiseDeg = 6.0  // of a body on a round belly
	rollDeg     = 3.0  // roll of a bent body's plane
)

// ray is one outline point.
type ray struct {
	view     int
	o, d     geom.Vec3
	zdir     float64 // cosine between ray and optical axis
	focal    float64
	sigma    float64 // px
	oneSided bool    // the ray must meet the body, nothing more
	at       geom.Px
}

// task is one fit: rays, ends in the picture, priors.
type task struct {
	views   []View
	rays    []ray
	upright bool
	robust  float64 // robust scale, multiples of sigma
	fixRise *float64
}

// visit calls f with every residual row: r and row divided by sigma, weight w.
func (t *task) visit(m *model, row []float64, f func(row []float64, r, w float64)) {
	c := 2.5 * t.robust
	for i := range t.rays {
		y := &t.rays[i]
		p, s := m.graze(y.o, y.d)
		gn := s.grad.Norm()
		if gn < 1e-9 {
			continue
		}
		k := y.focal / (p.Sub(y.o).Norm() * y.zdir) / y.sigma / gn
		r := s.g * k
		if y.oneSided && r <= 0 {
			continue
		}
		m.jac(p, s, row)
		for j := range row {
			row[j] *= k
		}
		f(row, r, 1/(1+r*r/(c*c)))
	}
	t.priors(m, row, f)
	t.ends(m, row, f)
}

func zero(row []float64) {
	for i := range row {
		row[i] = 0
	}
}

// priors adds contact, rest, smoothness and size of bends.
func (t *task) priors(m *model, row []float64, f func(row []float64, r, w float64)) {
	zero(row)
	z, at := m.lowest()
	row[pZ] = 1 / contactMM
	tan := 0.0
	{
		_, tg := m.centre(at)
		tan = math.Sqrt(math.Max(0, 1-tg.Z*tg.Z))
	}
	m.prof.addGrad(at, -m.prof.radius(at)*tan/contactMM, row[pProfile:pProfile+m.nq])
	for _, i := range t.shapeful(m) {
		const h = 1e-4
		old := m.p[i]
		m.p[i] = old + h
		m.update()
		z2, _ := m.lowest()
		m.p[i] = old
		row[i] = (z2 - z) / h / contactMM
	}
	m.update()
	f(row, z/contactMM, 1)
	t.restPrior(m, row, f)
	c := m.prof.c
	for k := range c {
		zero(row)
		a, b := m.prof.fold(k-1), m.prof.fold(k+1)
		q := row[pProfile : pProfile+m.nq]
		q[a] += 1 / wiggle
		q[b] += 1 / wiggle
		q[k] -= 2 / wiggle
		f(row, (c[a]+c[b]-2*c[k])/wiggle, 1)
	}
	if m.bent() {
		zero(row)
		row[pRoll] = 1 / (rollDeg * math.Pi / 180)
		f(row, m.p[pRoll]*row[pRoll], 1)
		b := m.mid.b
		for j := range b {
			zero(row)
			q := row[pProfile+m.nq:]
			q[j] = 1 / sizeBend
			f(row, b[j]/sizeBend, 1)
			q[j] = -2 / wiggleBend
			r := -2 * b[j]
			if j > 0 {
				q[j-1] = 1 / wiggleBend
				r += b[j-1]
			}
			if j+1 < len(b) {
				q[j+1] = 1 / wiggleBend
				r += b[j+1]
			}
			f(row, r/wiggleBend, 1)
		}
	}
}

// shapeful lists the parameters other than the profile that move the lowest point.
func (t *task) shapeful(m *model) []int {
	l := []int{pRise, pLen}
	if m.bent() {
		l = append(l, pRoll)
		for j := range m.mid.b {
			l = append(l, pProfile+m.nq+j)
		}
	}
	return l
}

// restPrior draws the tilt towards the one at rest: firmly for a body on two contacts, softly for
// one on a round belly, which a flat spot or its stalk may hold anywhere nearby.
func (t *task) restPrior(m *model, row []float64, f func(row []float64, r, w float64)) {
	zero(row)
	const deg = math.Pi / 180
	if t.upright {
		row[pRise] = 1 / (4 * deg)
		f(row, (m.p[pRise]+math.Pi/2)*row[pRise], 1)
		zero(row)
		row[pYaw] = 1 // no meaning when upright: hold it
		f(row, 0, 1)
		zero(row)
		w := 2 * m.prof.rho0
		row[pLen] = 1 / (0.3 * w)
		f(row, (m.p[pLen]-0.85*w)*row[pLen], 1)
		return
	}
	s := m.rest()
	if s.span == 0 {
		return
	}
	sd := flatRiseDeg + (softRiseDeg-flatRiseDeg)*math.Max(0, 1-s.span/0.3)
	sd *= deg
	row[pRise] = 1 / sd
	if s.span >= 0.12 {
		k := math.Pow(math.Cos(s.rise), 2) / (s.x2 - s.x1) / sd
		q := row[pProfile : pProfile+m.nq]
		m.prof.addGrad(s.t2, -s.rho[1]*k, q)
		m.prof.addGrad(s.t1, s.rho[0]*k, q)
	}
	f(row, (m.p[pRise]-s.rise)/sd, 1)
}

// pole returns the stem (end 0) or blossom (end 1) end of the middle line and the outward direction.
func (m *model) pole(end int) (p, out geom.Vec3) {
	c, tan := m.centre(float64(end))
	if end == 0 {
		tan = tan.Scale(-1)
	}
	return c, tan
}

// ends adds the places of stalk base and blossom scar. An end that faces the camera must be seen
// where it was found; one that faces away only has to lie behind it, on the same side.
func (t *task) ends(m *model, row []float64, f func(row []float64, r, w float64)) {
	n := len(row)
	for vi := range t.views {
		v := &t.views[vi]
		for end, px := range []*geom.Px{v.Stem, v.Blossom} {
			if px == nil {
				continue
			}
			sd := v.StemSigmaPx
			if sd == 0 {
				sd = 4
			}
			p, out := m.pole(end)
			cam := v.Camera.Centre()
			view := cam.Sub(p).Unit()
			facing := out.Dot(view)
			at := v.Camera.Project(p)
			dir := v.Camera.Project(p.Add(out)).Sub(at)
			if l := dir.Norm(); l > 1e-9 {
				dir = dir.Scale(1 / l)
			}
			side := geom.Px{X: -dir.Y, Y: dir.X}
			d := at.Sub(*px)
			along := sd * (1 + 12*math.Max(0, 0.25-facing)) // hidden poles count less along the axis
			num := func(u geom.Px, s float64) {
				zero(row)
				for i := 0; i < n; i++ {
					if i >= pProfile && i < pProfile+m.nq {
						continue
					}
					const h = 1e-4
					old := m.p[i]
					m.p[i] = old + h
					m.update()
					q, _ := m.pole(end)
					m.p[i] = old
					row[i] = v.Camera.Project(q).Sub(at).Dot(u) / h / s
				}
				m.update()
				r := d.Dot(u) / s
				f(row, r, 1/(1+r*r/9))
			}
			num(side, sd)
			if facing > -0.2 {
				num(dir, along)
			}
		}
	}
}

// cost is the robust cost whose weights visit gives: c²/2·log(1 + r²/c²) of each residual, with c
// from w = 1/(1 + r²/c²).
func (t *task) cost(m *model, row []float64) float64 {
	sum := 0.0
	t.visit(m, row, func(_ []float64, r, w float64) {
		if u := 1/w - 1; u > 1e-12 {
			sum += r * r / 2 * math.Log1p(u) / u
		} else {
			sum += r * r / 2
		}
	})
	return sum
}

// spread returns the median absolute outline residual as a standard deviation, multiples of sigma.
func (t *task) spread(m *model) float64 {
	var v []float64
	for i := range t.rays {
		y := &t.rays[i]
		if y.oneSided {
			continue
		}
		v = append(v, math.Abs(t.residual(m, y)))
	}
	if len(v) == 0 {
		return 1
	}
	sort.Float64s(v)
	return 1.4826 * v[len(v)/2]
}

// residual returns the signed distance of a ray from touching, multiples of its sigma.
func (t *task) residual(m *model, y *ray) float64 {
	p, s := m.graze(y.o, y.d)
	gn := s.grad.Norm()
	if gn < 1e-9 {
		return 0
	}
	return s.g / gn * y.focal / (p.Sub(y.o).Norm() * y.zdir) / y.sigma
}

// run minimises from m, in place, and returns the normal equations at the end and the cost.
func (t *task) run(m *model, iterations int) (*normal, float64) {
	n := len(m.p)
	row, x, work := make([]float64, n), make([]float64, n), make([]float64, n*n)
	eq := newNormal(n)
	lambda := 1e-3
	t.robust = math.Max(1, t.spread(m))
	cost := t.cost(m, row)
	trial := m.clone()
	for it := 0; it < iterations; it++ {
		eq.reset()
		t.visit(m, row, eq.add)
		for i := range m.p { // parameters without evidence stay
			if eq.a[i*n+i] == 0 {
				eq.a[i*n+i] = 1
			}
		}
		ok := false
		gain := 0.0
		for tries := 0; tries < 8; tries++ {
			if eq.step(lambda, x, work) && t.sane(m, x) {
				for i := range x {
					trial.p[i] = m.p[i] + x[i]
				}
				trial.update()
				if c := t.cost(trial, row); c < cost {
					gain = cost - c
					m.set(trial.p)
					cost, ok = c, true
					lambda = math.Max(lambda/6, 1e-7)
					break
				}
			}
			lambda *= 5
		}
		if !ok || gain < 1e-4*(1+cost) {
			if it > 0 {
				break
			}
		}
		if r := math.Max(1, t.spread(m)); math.Abs(r-t.robust) > 0.05*t.robust {
			t.robust = r
			cost = t.cost(m, row)
		}
	}
	eq.reset()
	t.visit(m, row, eq.add)
	return eq, cost
}

// sane refuses steps that leave the realm of fruit.
func (t *task) sane(m *model, x []float64) bool {
	for i, v := range x {
		if math.IsNaN(v) {
			return false
		}
		if i >= pProfile && math.Abs(v) > 1.5 {
			return false
		}
	}
	l := m.p[pLen] + x[pLen]
	return l > 5 && l > 0.3*m.p[pLen] && l < 3*m.p[pLen] &&
		math.Abs(x[pYaw]) < 1 && math.Abs(x[pRise]) < 0.6
}
