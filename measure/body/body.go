package body

import (
	"fmt"
	"math"

	"offtype/measure/camera"
	"offtype/measure/geom"
)

// Fit finds the body of one fruit from all its views together.
//
// views: one or more; the first with the most free outline starts the fit. Errors: ErrNoOutline,
// ErrCamera, ErrHidden, ErrNoFit, wrapped with the view's number. Cost: about 10 ms a view and 10 ms
// more for a bent fruit on one core.
func Fit(views []View, opt Options) (*Body, error) {
	if len(views) == 0 {
		return nil, ErrNoOutline
	}
	t := newTask(views)
	n := opt.Samples
	if n <= 0 {
		n = 140
	}
	free, main, most := 0, 0, -1
	for i := range views {
		v := &views[i]
		if len(v.Outline) < 12 {
			return nil, fmt.Errorf("view %d: %w", i, ErrNoOutline)
		}
		if z := v.Camera.Centre().Z; !(z > 0) {
			return nil, fmt.Errorf("view %d: %w", i, ErrCamera)
		}
		rs := rays(v, i, n)
		f := 0
		for _, r := range rs {
			if !r.oneSided {
				f++
			}
		}
		if f > most {
			main, most = i, f
		}
		free += f
		t.rays = append(t.rays, rs...)
	}
	if free < n/4 {
		return nil, ErrHidden
	}
	flat, ok := flatten(&views[main])
	if !ok {
		return nil, fmt.Errorf("view %d: %w", main, ErrCamera)
	}
	b := &Body{views: views, Pose: Side}
	if opt.Pose == Upright || (opt.Pose == "" && looksUpright(&views[main], flat)) {
		b.Pose = Upright
		t.upright = true
	}
	m, eq, err := t.best(&views[main], flat, b, opt)
	if err != nil {
		return nil, err
	}
	b.m = m
	t.finish(b, eq, float64(most)/float64(n))
	return b, nil
}

func newTask(views []View) *task {
	t := &task{views: views, robust: 1}
	for i := range views {
		t.eyes = append(t.eyes, views[i].Camera.Centre())
	}
	return t
}

// best tries the possible headings and bends and returns the best body.
func (t *task) best(v *View, flat plan, b *Body, opt Options) (*model, *normal, error) {
	if t.upright {
		m := flat.begin(0)
		m.p[pRise] = -math.Pi / 2
		m.p[pLen] = 0.85 * 2 * m.prof.rho0
		for k := 0; k < m.nq; k++ {
			m.p[pProfile+k] = 0
		}
		m.p[pCap0], m.p[pCap1] = math.Log(0.49), math.Log(0.49)
		m.update()
		eq, _ := t.run(m, 25)
		return m, eq, nil
	}
	psi, known := flat.headings(v)
	b.StemKnown = known
	best, eq, cost := t.straight(flat, psi)
	if best == nil {
		return nil, nil, ErrNoFit
	}
	if !opt.Straight && flat.ratio > 1.3 {
		if _, turn := flat.arc(psi[0]); math.Abs(turn) > 0.09 || t.spread() > 2.5 {
			if m, e := t.tryBends(flat, psi[0], best, cost); m != nil {
				best, eq = m, e
			}
		}
	}
	if !known {
		eq = t.guessStem(best, b, eq)
	}
	return best, eq, nil
}

// straight tries the headings with several tilts and returns the best body.
func (t *task) straight(flat plan, psi []float64) (best *model, eq *normal, cost float64) {
	const deg = math.Pi / 180
	cost = math.Inf(1)
	for _, h := range psi {
		for _, tilt := range [...]float64{0, 12 * deg, -12 * deg} {
			m := flat.begin(h)
			m.p[pRise] += tilt
			m.update()
			if _, c := t.run(m, 7); c < cost {
				best, cost = m, c
			}
		}
	}
	if best != nil {
		eq, cost = t.run(best, 15)
	}
	return best, eq, cost
}

// tryBends fits bent middle lines and returns one when the outline clearly asks for it.
func (t *task) tryBends(flat plan, psi float64, straight *model, _ float64) (*model, *normal) {
	var best *model
	cost := math.Inf(1)
	for _, share := range [][bends]float64{{.35, .4, .2, .05, 0}, {.2, .2, .2, .2, .2}, {.6, .6, .3, 0, 0}} {
		m := flat.beginBent(psi, share)
		if _, c := t.run(m, 10); c < cost {
			best, cost = m, c
		}
	}
	if best == nil {
		return nil, nil
	}
	eq, _ := t.run(best, 20)
	row := make([]float64, len(best.p))
	t.robust = 1
	t.forget()
	t.cost(best, row)
	t.robust = math.Max(1, t.spread())
	with := t.cost(best, row)
	t.forget()
	without := t.cost(straight, row[:len(straight.p)])
	turn := best.traits()[qBend]
	t.forget()
	if without-with > 12 && math.Abs(turn) > 5 {
		t.visit(best, row, false, func([]float64, float64, float64) {})
		return best, eq
	}
	t.visit(straight, row[:len(straight.p)], false, func([]float64, float64, float64) {})
	return nil, nil
}

// looksUpright reports whether the stalk's base lies where the top of a standing fruit would be.
func looksUpright(v *View, flat plan) bool {
	if v.Stem == nil || flat.ratio > 1.25 {
		return false
	}
	_, _, w := flat.extent(flat.axis)
	top, ok := v.Camera.OnPlane(*v.Stem, flat.z)
	if !ok {
		return false
	}
	// the top of a body as high as 0.8 of its width, seen from here, in the plane of the outline
	up := flat.mid
	up.Z = 0.8 * w
	q, ok := v.Camera.OnPlane(v.Camera.Project(up), flat.z)
	if !ok {
		return false
	}
	inside := top.Sub(flat.mid).Norm() < 0.62*w/2
	return inside && top.Sub(q).Norm() < 0.4*w/2
}

// guessStem tells the stem end by the shape: the slimmer half, as fruit with a neck have it there.
func (t *task) guessStem(m *model, b *Body, eq *normal) *normal {
	b.Notes = append(b.Notes, NoteStem)
	slim, wide := m.prof.radius(0.2), m.prof.radius(0.8)
	if slim <= wide {
		return eq
	}
	m.reverse()
	e, _ := t.run(m, 3)
	return e
}

// reverse swaps the ends.
func (m *model) reverse() {
	p := m.p
	c := append([]float64(nil), m.prof.c...)
	for k := range c {
		p[pProfile+k] = c[len(c)-1-k]
	}
	if m.bent() {
		h0 := m.mid.h[0]
		bs := append([]float64(nil), m.mid.b...)
		for j := range bs {
			p[pProfile+m.nq+j] = -bs[len(bs)-1-j]
		}
		p[pYaw] += h0
	}
	p[pCap0], p[pCap1] = p[pCap1], p[pCap0]
	p[pYaw] += math.Pi
	p[pRise] = -p[pRise]
	p[pRoll] = -p[pRoll]
	m.update()
}

// finish fills the results.
func (t *task) finish(b *Body, eq *normal, seen float64) {
	m := b.m
	v := m.traits()
	b.ResidualPx = t.spread() * t.rays[0].sigma
	u := t.uncertainty(m, eq, v)
	val := func(i int) Value { return Value{v[i], u[i]} }
	b.Length, b.Width, b.Midline = val(qLength), val(qWidth), val(qMidline)
	b.Bend, b.BroadestAt, b.Volume, b.Height = val(qBend), val(qBroadest), val(qVolume), val(qHeight)
	b.Bend.V = math.Abs(b.Bend.V)
	b.Profile, b.ProfileU = v[qProfile:], u[qProfile:]
	b.RiseDeg = m.p[pRise] * 180 / math.Pi
	if b.Pose == Upright {
		nan := Value{math.NaN(), math.NaN()}
		b.Length, b.Midline, b.BroadestAt, b.Volume, b.Bend = nan, nan, nan, nan, nan
		b.Notes = append(b.Notes, NoteUpright)
	}
	if seen < 0.7 {
		b.Notes = append(b.Notes, NoteHidden)
	}
	for i := range t.views {
		b.Views = append(b.Views, m.draw(&t.views[i]))
		b.grids = append(b.grids, &grid{cam: t.views[i].Camera})
	}
}

// uncertainty returns the expanded uncertainty (k = 2) of each trait.
func (t *task) uncertainty(m *model, eq *normal, v []float64) []float64 {
	n := len(m.p)
	out := make([]float64, len(v))
	inv := eq.inverse()
	jac := make([][]float64, n)
	w := m.clone()
	for i := range jac {
		h := 1e-4
		w.p[i] = m.p[i] + h
		w.update()
		d := w.traits()
		w.p[i] = m.p[i]
		for j := range d {
			d[j] = (d[j] - v[j]) / h
		}
		jac[i] = d
	}
	for j := range out {
		if inv == nil {
			out[j] = math.NaN()
			continue
		}
		s := 0.0
		for a := 0; a < n; a++ {
			for c := 0; c < n; c++ {
				s += jac[a][j] * inv[a*n+c] * jac[c][j]
			}
		}
		out[j] = s * t.robust * t.robust
	}
	for j, d := range t.cameras(m, v) {
		out[j] += d
	}
	for j := range out {
		out[j] = 2 * math.Sqrt(out[j])
	}
	return out
}

// cameras returns the variance of each trait from the caller's perturbed cameras.
func (t *task) cameras(m *model, v []float64) []float64 {
	out := make([]float64, len(v))
	most := 0
	for i := range t.views {
		most = max(most, len(t.views[i].Perturbed))
	}
	for k := 0; k < most; k++ {
		for i := range t.views {
			if k >= len(t.views[i].Perturbed) {
				continue
			}
			d := t.moved(m, i, &t.views[i].Perturbed[k]).traits()
			for j := range d {
				out[j] += (d[j] - v[j]) * (d[j] - v[j])
			}
		}
	}
	return out
}

// moved refits with another camera for view i.
func (t *task) moved(m *model, i int, cam *camera.Camera) *model {
	u := *t
	u.rays = append([]ray(nil), t.rays...)
	u.views = append([]View(nil), t.views...)
	u.views[i].Camera = *cam
	u.eyes = append([]geom.Vec3(nil), t.eyes...)
	u.eyes[i] = cam.Centre()
	u.abs = nil
	for k := range u.rays {
		if y := &u.rays[k]; y.view == i {
			r := newRay(cam, y.at)
			r.view, r.sigma, r.oneSided = y.view, y.sigma, y.oneSided
			u.rays[k] = r
		}
	}
	w := m.clone()
	u.run(w, 4)
	return w
}
