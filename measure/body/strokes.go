package body

import (
	"math"
	"slices"

	"offtype/measure/geom"
)

// Furrows, ribs and stripes run from end to end: along the body's meridians, which meet at its poles. Where the outline
// leaves the tilt of the axis open, they tell it.
const (
	linesTogether = 3.0 // how many lines share one independent error: neighbours lie on one furrow
	lineTail      = 3.0 // scale of their heavy tails: shadows, spots and highlights have edges too
	// Of the lines, by weight, leastAgree must run within agreeRad of the meridians of the body that fits best: those of ribs
	// and stripes did by 0.76 and more, dots, patches, mottle and bands by 0.63 and less (68 rendered fruit).
	leastAgree = 0.7
	agreeRad   = 15 * math.Pi / 180
	sureAgree  = 0.93 // from here on no other axis is tried
	lineFacing = 0.3  // cosine to the camera below which skin is seen too obliquely to judge
)

// stroke is a line seen in the skin as a plane of sight: the camera, the place and the line lie in it.
type stroke struct {
	o, d  geom.Vec3
	n, q  geom.Vec3 // unit vectors across and along the line, both across the ray
	sigma float64   // rad
	near  float64   // distance along the ray where it met the skin last; NaN: not known
	seen  spot      // there
}

// strokesOf lists the lines of all views.
func strokesOf(views []View) (out []stroke) {
	for i := range views {
		for _, s := range views[i].Strokes {
			if !(s.Sigma > 0) {
				continue
			}
			o, d := views[i].Camera.Ray(s.At)
			sn, cs := math.Sincos(s.Dir)
			_, e := views[i].Camera.Ray(geom.Px{X: s.At.X + cs, Y: s.At.Y + sn})
			n := d.Cross(e).Unit()
			out = append(out, stroke{o: o, d: d, n: n, q: n.Cross(d), sigma: s.Sigma * math.Sqrt(linesTogether), near: math.NaN()})
		}
	}
	return out
}

// strokeStep is how near a ray comes to the skin, mm.
const strokeStep = 0.05

// enter looks by Newton's method for the place where ray r, of unit direction d, enters the skin of a straight body near
// distance l: the last spot it saw and the distance, which is right to the square of within. False when it is not near.
func (m *model) enter(r *line, d geom.Vec3, l, within float64) (s spot, at float64, ok bool) {
	for range 5 {
		s = m.lookAlong(r, l)
		slope := s.grad.Dot(d)
		if !(slope <= -0.1*s.grad.Norm()) {
			break
		}
		step := s.g / slope
		l -= step
		if math.Abs(step) < within {
			return s, l, true
		}
	}
	return s, l, false
}

// meet finds the spot where a stroke's ray enters the skin of a straight body; false when it passes by.
func (m *model) meet(y *stroke) bool {
	r := m.line(y.o, y.d)
	if !math.IsNaN(y.near) {
		if s, l, ok := m.enter(&r, y.d, y.near, strokeStep); ok {
			y.seen, y.near = s, l
			return true
		}
	}
	var s spot
	var f fall
	l1, _ := m.grazeStraight(&r, math.NaN(), 0, &s, &f) // inside if any of it is
	if !(s.g <= 0) {                                    // or not a number
		y.near = math.NaN()
		return false
	}
	l0 := l1
	for step := math.Sqrt(-s.g) + 2; ; {
		l0 -= step
		if m.along(&r, l0, &s, &f); s.g > 0 {
			break
		}
		l1 = l0
	}
	l := (l0 + l1) / 2
	for range 30 {
		y.seen = m.lookAlong(&r, l)
		if y.seen.g > 0 {
			l0 = l
		} else {
			l1 = l
		}
		next := l - y.seen.g/y.seen.grad.Dot(y.d)
		if !(next > l0 && next < l1) {
			next = (l0 + l1) / 2
		}
		if math.Abs(next-l) < strokeStep {
			break
		}
		l = next
	}
	y.near = l
	return true
}

// meridian is the way from the stem end to the blossom end in the skin of a straight body at a spot: axis + κ·e, with e
// away from the axis at distance r from it.
func (m *model) meridian(s *spot) (e, tau geom.Vec3, kappa, r float64) {
	r = math.Max(math.Sqrt(s.eta*s.eta+s.up*s.up), 1e-3)
	kappa = s.dr2 / (2 * r * m.mid.L)
	e = m.fr.n.Scale(s.eta / r).Add(m.fr.b.Scale(s.up / r))
	return e, m.fr.a.Add(e.Scale(kappa)), kappa, r
}

// aside is the angle from the line to the meridian at the spot of stroke y, as both are seen, rad, −π/2 to π/2, and how
// the skin faces the camera there, cosine.
func (m *model) aside(y *stroke) (angle, facing float64) {
	_, tau, _, _ := m.meridian(&y.seen)
	return math.Atan(tau.Dot(y.n) / tau.Dot(y.q)), -y.seen.grad.Unit().Dot(y.d)
}

// strokeRows holds the meridians to the lines seen in the skin.
func (t *task) strokeRows(m *model, row []float64, grad bool, f sink) {
	if len(t.strokes) == 0 || m.bent() {
		return
	}
	zero(row)
	for i := range t.strokes {
		y := &t.strokes[i]
		r := math.Pi / 2 / y.sigma // a ray that passes by
		if m.meet(y) {
			a, _ := m.aside(y)
			r = a / y.sigma
			if grad {
				m.asideGrad(y, 1/y.sigma, row)
			}
		} else if grad {
			zero(row)
		}
		f(row, r, heavy(r, lineTail))
	}
}

// asideGrad writes k·∂aside/∂p into row. The spot moves along its ray as the body changes.
func (m *model) asideGrad(y *stroke, k float64, row []float64) {
	s := &y.seen
	e, tau, kappa, r := m.meridian(s)
	tn, tq := tau.Dot(y.n), tau.Dot(y.q)
	k /= tn*tn + tq*tq
	turn := func(d geom.Vec3) float64 { return k * (d.Dot(y.n)*tq - d.Dot(y.q)*tn) }
	along := turn(e) // by κ

	const h = 1e-3
	_, d0 := m.prof.r2(s.t - h)
	_, d1 := m.prof.r2(s.t + h)
	byT := (d1 - d0) / (2 * h) * s.rib * s.rib / (2 * r * m.mid.L)
	round := m.fr.a.Cross(e) // the way round the axis
	ribTurn, ribDeep := 0.0, 0.0
	if m.ribs > 0 { // κ goes with the square of the relative radius
		_, byTurn, byDepth := m.rib(s.eta, s.up)
		ribTurn, ribDeep = 2*kappa*byTurn/s.rib, 2*kappa*byDepth/s.rib
	}
	byRound := (along*ribTurn + turn(round)*kappa) / r
	// moved is the change by a move of the spot over the body
	moved := func(p geom.Vec3) float64 {
		return along*(byT/m.mid.L*p.Dot(m.fr.a)-kappa/r*p.Dot(e)) + byRound*p.Dot(round)
	}
	at := y.o.Add(y.d.Scale(y.near))
	m.jac(at, *s, row)
	sight := -moved(y.d) / s.grad.Dot(y.d)
	for i := range row {
		row[i] *= sight
	}
	w := at.Sub(m.fr.o)
	row[pX] -= moved(geom.Vec3{X: 1})
	row[pY] -= moved(geom.Vec3{Y: 1})
	row[pZ] -= moved(geom.Vec3{Z: 1})
	sp, cp := math.Sincos(m.p[pYaw])
	for i, axis := range [...]geom.Vec3{{Z: 1}, {X: sp, Y: -cp}, m.fr.a} { // yaw, rise, roll
		row[pYaw+i] += turn(axis.Cross(tau)) - moved(axis.Cross(w))
	}
	row[pLen] -= along * (kappa + byT*(s.t-0.5)) / m.mid.L
	for end, c := range [2]*float64{&m.prof.c0, &m.prof.c1} {
		if was := *c; was < 0.5 {
			*c = was * (1 + h)
			_, d := m.prof.r2(s.t)
			*c = was
			row[pCap0+end] += along * (d*s.rib*s.rib - s.dr2) / (2 * r * m.mid.L * h)
		}
	}
	i, wt, dw := m.prof.weights(s.t)
	for j := range wt {
		row[pProfile+i+j] += along * (2*kappa*wt[j] + dw[j]*float64(m.nq-3)*s.r2/(r*m.mid.L))
	}
	if i := m.pRib(); m.ribs > 0 {
		row[i] += along * ribDeep
		row[i+1] -= along * ribTurn / float64(m.ribs)
	}
}

// linesCost is what the strokes cost a body.
func (t *task) linesCost(m *model) float64 {
	t.meetAnew()
	sum := 0.0
	t.strokeRows(m, make([]float64, len(m.p)), false, func(_ []float64, r, _ float64) { sum += math.Log1p(r * r / (lineTail * lineTail)) })
	return lineTail * lineTail / 2 * sum
}

// agree is the share of the strokes, by how well their direction is known, that run along the meridians.
func (t *task) agree(m *model) float64 {
	in, all := 0.0, 0.0
	for i := range t.strokes {
		y := &t.strokes[i]
		w := 1 / (y.sigma * y.sigma)
		if m.meet(y) {
			a, facing := m.aside(y)
			if facing < lineFacing {
				continue
			}
			if math.Abs(a) < agreeRad {
				in += w
			}
		}
		all += w
	}
	return in / math.Max(all, 1e-9)
}

// along fits a straight body to the lines in the skin as well, from other axes and end for end too where those do not run
// along this one. It returns nil when there are none or they run some other way: dots, bands and shadows say nothing.
func (t *task) along(best *model, flat *plan, main int) *model {
	if t.strokes = strokesOf(t.views); len(t.strokes) == 0 {
		return nil
	}
	tries := []candidate{{m: best.clone()}}
	if t.agree(best) < sureAgree {
		tries = append(tries, t.turned(best)...)
		about := t.straight(*flat, []float64{best.p[pYaw] + math.Pi})
		tries = append(tries, about[:min(len(about), 1)]...)
	}
	for i := range tries {
		t.meetAnew()
		tries[i].cost = t.descend(tries[i].m, 12)
	}
	slices.SortStableFunc(tries, byCost)
	m := tries[0].m
	t.meetAnew()
	t.descend(m, 8)
	agree, lines := t.agree(m), t.strokes
	t.strokes = nil
	with, without := t.compare(m, best)
	dir, clear := t.stalkAxis(flat, main)
	clear = clear && math.Abs(math.Remainder(m.p[pYaw]-dir, math.Pi)) > stalkReach
	if agree < leastAgree || clear || with > otherGain*without+otherAxis { // bands run along another axis: the outline and the ends decide
		t.forget()
		return nil
	}
	t.strokes = lines
	t.meetAnew()
	t.forget()
	t.cost(m, make([]float64, len(m.p)))
	return m
}

// meetAnew makes the next pass look for every stroke's spot afresh.
func (t *task) meetAnew() {
	for i := range t.strokes {
		t.strokes[i].near = math.NaN()
	}
}

const (
	turnStep  = 15 * math.Pi / 180
	turnTries = 3 // of the turned axes that are fitted
	turnGain  = 2 // cost by which lines must run better along one
)

// turned returns the body turned about its middle to the axes along which the lines run best.
func (t *task) turned(best *model) []candidate {
	least := t.linesCost(best) - turnGain
	var all []candidate
	for yaw := -5; yaw <= 6; yaw++ {
		for rise := -3; rise <= 3; rise++ {
			w := best.clone()
			w.p[pYaw] += float64(yaw) * turnStep
			w.p[pRise] += float64(rise) * turnStep
			w.update()
			if c := t.linesCost(w); c < least {
				all = append(all, candidate{w, c})
			}
		}
	}
	slices.SortStableFunc(all, byCost)
	return all[:min(len(all), turnTries)]
}

// Strokes returns the lines in the skin that the fit was given in its first view.
func (b *Body) Strokes() []geom.Stroke { return b.views[0].Strokes }
