package body

import (
	"cmp"
	"fmt"
	"math"
	"slices"

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
	views = append([]View(nil), views...)
	for i := range views {
		views[i].Outline, views[i].Edge = cutSpurs(views[i].Outline, views[i].Edge)
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
		if !finite(v) {
			return nil, fmt.Errorf("view %d: %w", i, ErrNoOutline)
		}
		if z := v.Camera.Centre().Z; !(z > 0) {
			return nil, fmt.Errorf("view %d: %w", i, ErrCamera)
		}
		rs := rays(v, i, n)
		f := 0
		for _, r := range rs {
			if r.free() {
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
	m, eq, err := t.best(main, flat, b, opt)
	if err != nil {
		return nil, err
	}
	b.m = m
	t.finish(b, eq, float64(most)/float64(n))
	return b, nil
}

// finite reports whether every point of the view is a number.
func finite(v *View) bool {
	for _, p := range v.Outline {
		if math.IsNaN(p.X+p.Y) || math.IsInf(p.X+p.Y, 0) {
			return false
		}
	}
	for _, p := range []*geom.Px{v.Stem, v.Blossom, v.StalkTip} {
		if p != nil && math.IsNaN(p.X+p.Y) {
			return false
		}
	}
	return true
}

func newTask(views []View) *task {
	t := &task{views: views, robust: 1, loose: 1, marks: marks(views)}
	for i := range views {
		t.eyes = append(t.eyes, views[i].Camera.Centre())
	}
	return t
}

// best tries the possible headings and bends and returns the best body.
func (t *task) best(main int, flat plan, b *Body, opt Options) (*model, *normal, error) {
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
	psi := t.headings(&flat, main)
	starts := t.straight(flat, psi)
	for i := range t.views { // the other views' plans may lead to a better body
		if i == main {
			continue
		}
		if p, ok := flatten(&t.views[i]); ok {
			starts = append(starts, t.straight(p, t.headings(&p, i))...)
		}
	}
	slices.SortStableFunc(starts, func(a, b candidate) int { return cmp.Compare(a.cost, b.cost) })
	starts = starts[:min(len(starts), 4)]
	if len(starts) == 0 {
		return nil, nil, ErrNoFit
	}
	best := starts[0].m
	eq, cost := t.run(best, 15)
	for _, s := range starts[1:] { // another axis that fits nearly as well makes the length doubtful
		if off := math.Remainder(s.m.p[pYaw]-best.p[pYaw], math.Pi); math.Abs(off) > 0.5 && s.cost < cost+rivalCost {
			b.rival = math.Max(b.rival, math.Abs(s.m.p[pLen]-best.p[pLen]))
		}
	}
	_, turn := flat.arc(psi[0])
	rough := t.spread()
	if math.Abs(turn) < clearTurn {
		if m, e := t.tryRibs(best, starts, opt.Ribs); m != nil {
			best, eq = m, e
		}
	}
	if !opt.Straight && flat.ratio > 1.3 && (math.Abs(turn) > 0.09 || rough > 2.5) {
		if m, e := t.tryBends(flat, psi[0], best); m != nil {
			best, eq = m, e
		}
	}
	if m, e := t.hop(best); m != nil {
		best, eq = m, e
	}
	return best, t.tellStem(best, b, eq), nil
}

// ribbedSpread is the outline's spread about a smooth body, in multiples of its sigma, from which on
// ribs are tried.
const ribbedSpread = 0.85

// A tip is the outer tipKnots coefficients of the profile; a nose shows as a second difference of
// noseBump prior standard deviations there and is cut by noseShare of the length.
const (
	tipKnots  = 5
	noseBump  = 1.6
	noseShare = 0.08
)

// clearTurn is the turn of the outline's own middle from which on it is bent, not ribbed, rad.
const clearTurn = 0.35

// rivalCost is how much worse another axis may fit and still be thought of.
const rivalCost = 10

// stiff tightens the profile's smoothness at the start.
const stiff = 0.3

// candidate is a body on the way to the best one.
type candidate struct {
	m    *model
	cost float64
}

// straight tries the headings with several tilts and returns the candidates, best first. A stiff
// profile comes first: it finds tips and tilt before the details.
func (t *task) straight(flat plan, psi []float64) []candidate {
	const deg = math.Pi / 180
	var all []candidate
	for _, h := range psi {
		for _, tilt := range [...]float64{0, 12 * deg, -12 * deg} {
			m := flat.begin(h)
			m.p[pRise] += tilt
			m.update()
			t.loose = stiff
			_, c := t.run(m, 7)
			t.loose = 1
			if !math.IsNaN(c) {
				all = append(all, candidate{m, c})
			}
		}
	}
	slices.SortFunc(all, func(a, b candidate) int { return cmp.Compare(a.cost, b.cost) })
	var apart []candidate
	for _, c := range all {
		same := false
		for _, d := range apart {
			same = same || math.Abs(c.m.p[pRise]-d.m.p[pRise]) < 2*deg && math.Abs(c.m.p[pYaw]-d.m.p[pYaw]) < 10*deg
		}
		if !same && len(apart) < 4 {
			apart = append(apart, c)
		}
	}
	for i := range apart {
		_, apart[i].cost = t.run(apart[i].m, 6)
	}
	slices.SortFunc(apart, func(a, b candidate) int { return cmp.Compare(a.cost, b.cost) })
	return apart
}

// tryBends fits bent middle lines and returns one when the outline clearly asks for it.
func (t *task) tryBends(flat plan, psi float64, straight *model) (*model, *normal) {
	var best *model
	cost := math.Inf(1)
	for _, share := range [][bends]float64{{.35, .4, .2, .05, 0}, {.2, .2, .2, .2, .2}, {.6, .6, .3, 0, 0}} {
		m := flat.beginBent(psi, share)
		t.loose = stiff
		t.run(m, 10)
		t.loose = 1
		if _, c := t.run(m, 6); c < cost {
			best, cost = m, c
		}
	}
	if best == nil {
		return nil, nil
	}
	eq, _ := t.run(best, 20)
	with, without := t.compare(best, straight)
	turn := best.traits()[qBend]
	if without-with > 12 && math.Abs(turn) > 5 {
		return best, eq
	}
	return nil, nil
}

// tryRibs adds ribs to a straight body when the outline is scalloped, and returns the ribbed body
// when it fits clearly better.
func (t *task) tryRibs(smooth *model, starts []candidate, known int) (*model, *normal) {
	if smooth.bent() || known < 0 || (known == 0 && t.spread() < ribbedSpread) {
		return nil, nil
	}
	var best *model
	cost := math.Inf(1)
	for _, s := range starts[:min(len(starts), 2)] {
		for _, r := range t.scallops(s.m, known) {
			p := append(append([]float64(nil), s.m.p...), ribDepth, r.phase)
			m := newModel(p, smooth.nq, smooth.prof.rho0*(1+r.mean), r.n) // ridges
			if _, c := t.run(m, 8); c < cost {
				best, cost = m, c
			}
		}
	}
	if best == nil {
		return nil, nil
	}
	eq, _ := t.run(best, 15)
	with, without := t.compare(best, smooth)
	if without-with > 10 && best.p[best.pRib()] < 0.3 {
		return best, eq
	}
	return nil, nil
}

// hop tries to shorten a tip that came out as a nose: a narrow tip beyond a shoulder, mostly hidden,
// is a place where the minimiser gets caught. It returns a better body or nil.
func (t *task) hop(m *model) (*model, *normal) {
	var best *model
	var eq *normal
	n := m.nq
	for end := 0; end < 2; end++ {
		c := append([]float64(nil), m.prof.c...)
		at := func(k int) *float64 { // k counts from the tip
			if end == 1 {
				k = n - 1 - k
			}
			return &c[k]
		}
		bump := 0.0
		for k := 1; k < tipKnots; k++ {
			bump = math.Max(bump, math.Abs(*at(k - 1)+*at(k + 1)-2**at(k))/wiggle)
		}
		if bump < noseBump {
			continue
		}
		for k := tipKnots - 1; k >= 0; k-- {
			*at(k) = 2**at(k + 1) - *at(k + 2) - 0.4*wiggle
		}
		w := m.clone()
		copy(w.p[pProfile:], c)
		l := m.p[pLen]
		short := l * noseShare
		w.p[pLen] = l - short
		dir := 0.5 // the other tip stays
		if end == 1 {
			dir = -0.5
		}
		o := m.fr.a.Scale(dir * short)
		w.p[pX], w.p[pY], w.p[pZ] = w.p[pX]+o.X, w.p[pY]+o.Y, w.p[pZ]+o.Z
		w.p[pCap0+end] = math.Log(capShare)
		w.update()
		t.run(w, 10)
		e, _ := t.run(w, 10)
		now := best
		if now == nil {
			now = m
		}
		if a, b := t.compare(w, now); a < b {
			best, eq = w, e
		}
	}
	return best, eq
}

// scallop is a guess of ribs.
type scallop struct {
	n     int
	phase float64
	mean  float64 // how much higher than the smooth body the ridges stand / radius
	gain  float64 // part of the residual's square that it explains
}

// scallops looks for waves around the axis in the outline's residuals about a smooth body and returns
// the likeliest few; known > 0 fixes their number.
func (t *task) scallops(m *model, known int) []scallop {
	type dot struct{ th, r float64 }
	var dots []dot
	for i := range t.rays {
		y := &t.rays[i]
		if !y.free() {
			continue
		}
		l, s := m.graze(y.o, y.d, math.NaN())
		if gn := s.grad.Norm(); gn > 1e-9 && l > 0 && s.t > 0.02 && s.t < 0.98 {
			rho := math.Sqrt(math.Max(s.r2, 1))
			dots = append(dots, dot{math.Atan2(s.up, s.eta), s.g / gn / rho})
		}
	}
	lo, hi := 6, 18
	if known > 0 {
		lo, hi = known, known
	}
	var out []scallop
	for n := lo; n <= hi; n++ {
		// least squares of r on 1, cos nθ, sin nθ
		var a [3][4]float64
		for _, d := range dots {
			s, c := math.Sincos(float64(n) * d.th)
			u := [4]float64{1, c, s, d.r}
			for i := 0; i < 3; i++ {
				for j := 0; j < 4; j++ {
					a[i][j] += u[i] * u[j]
				}
			}
		}
		k, ok := solve3(a)
		if !ok {
			continue
		}
		gain := k[0]*a[0][3] + k[1]*a[1][3] + k[2]*a[2][3]
		amp := math.Hypot(k[1], k[2])
		out = append(out, scallop{n: n, phase: math.Atan2(k[2], k[1]), mean: math.Min(0.05, amp), gain: gain})
	}
	slices.SortFunc(out, func(a, b scallop) int { return cmp.Compare(b.gain, a.gain) })
	return out[:min(len(out), 3)]
}

// compare returns the costs of two bodies at the robust scale of the first; the last pass is that of
// the cheaper one.
func (t *task) compare(a, b *model) (ca, cb float64) {
	row := make([]float64, max(len(a.p), len(b.p)))
	t.robust = 1
	t.forget()
	t.cost(a, row[:len(a.p)])
	t.robust = math.Max(1, t.spread())
	ca = t.cost(a, row[:len(a.p)])
	t.forget()
	cb = t.cost(b, row[:len(b.p)])
	if ca < cb {
		t.forget()
		t.cost(a, row[:len(a.p)])
	}
	return ca, cb
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

// tellStem makes pole 0 the stem end: as a sure mark says, or else by the votes of the unsure marks and
// the shape together (most fruit are slimmer at the stem end).
func (t *task) tellStem(m *model, b *Body, eq *normal) *normal {
	vote, sure := t.vote(m)
	b.StemKnown = sure
	if !sure {
		slim, wide := m.prof.radius(0.2), m.prof.radius(0.8)
		vote = 0.5*vote + 0.6*math.Max(-1, math.Min(1, 2*(wide-slim)/math.Max(wide, slim)))
		if math.Abs(vote) < clearVote {
			b.Notes = append(b.Notes, NoteStem)
		}
	}
	stem := vote >= 0
	if stem {
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
	t.sides(b)
	if m.ribs > 0 {
		b.Ribs, b.GrooveDepth = m.ribs, m.p[m.pRib()]
	}
	b.RiseDeg = m.p[pRise] * 180 / math.Pi
	if b.Pose == Upright {
		nan := Value{math.NaN(), math.NaN()}
		b.Length, b.Midline, b.BroadestAt, b.Volume, b.Bend = nan, nan, nan, nan, nan
		b.Notes = append(b.Notes, NoteUpright)
	}
	if b.Pose == Side {
		_, a := t.hidden(m, 0)
		_, c := t.hidden(m, 1)
		if math.Max(a, c) > math.Tan(obliqueSlant) {
			b.Notes = append(b.Notes, NoteOblique)
		}
	}
	if b.ResidualPx > 2.5*t.rays[0].sigma && b.ResidualPx > 1.5 {
		b.Notes = append(b.Notes, NoteResidual)
	}
	if b.rival > 0 {
		b.Notes = append(b.Notes, NoteEnds)
		for _, u := range []*Value{&b.Length, &b.Midline} {
			u.U = math.Hypot(u.U, b.rival) // ± the difference, taken as two standard uncertainties
		}
	}
	if seen < 0.7 {
		b.Notes = append(b.Notes, NoteHidden)
	}
	for i := range t.views {
		b.Views = append(b.Views, m.draw(&t.views[i]))
		b.grids = append(b.grids, &grid{cam: t.views[i].Camera})
	}
}
