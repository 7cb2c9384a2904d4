package body

import (
	"cmp"
	"math"
	"slices"
)

// clearTurn is the turn of the outline's own middle from which on it is bent, not ribbed, rad.
const clearTurn = 0.35

// A tip is the outer tipKnots coefficients of the profile; a nose shows as a second difference of
// noseBump prior standard deviations there and is cut by noseShare of the length.
const (
	tipKnots  = 5
	noseBump  = 1.6
	noseShare = 0.08
)

// stiff tightens the profile's smoothness at the start.
const stiff = 0.3

// candidate is a body on the way to the best one.
type candidate struct {
	m    *model
	cost float64
}

// byCost orders candidates, best first.
func byCost(a, b candidate) int { return cmp.Compare(a.cost, b.cost) }

// straight tries the headings with several tilts and returns the candidates, best first. A stiff
// profile comes first: it finds tips and tilt before the details.
func (t *task) straight(flat plan, psi []float64) []candidate {
	const deg = math.Pi / 180
	var all []candidate
	whole := t.thin()
	for _, h := range psi {
		first := flat.begin(h)
		for _, tilt := range [...]float64{0, 12 * deg, -12 * deg} {
			m := first.clone()
			m.p[pRise] += tilt
			m.update()
			t.loose = stiff
			c := t.descend(m, 7)
			t.loose = 1
			if !math.IsNaN(c) {
				all = append(all, candidate{m, c})
			}
		}
	}
	t.rays = whole
	slices.SortFunc(all, byCost)
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
		apart[i].cost = t.descend(apart[i].m, 6)
	}
	slices.SortFunc(apart, byCost)
	return apart
}

// thin leaves every other ray, enough for a search, and returns the whole lot.
func (t *task) thin() []ray {
	whole := t.rays
	t.rays = make([]ray, 0, len(whole)/2+1)
	for i := 0; i < len(whole); i += 2 {
		t.rays = append(t.rays, whole[i])
	}
	return whole
}

// tryBends fits bent middle lines and returns one when the outline clearly asks for it.
func (t *task) tryBends(flat plan, psi float64, straight *model) *model {
	var best *model
	cost := math.Inf(1)
	whole := t.thin()
	for _, share := range [][bends]float64{{.35, .4, .2, .05, 0}, {.2, .2, .2, .2, .2}, {.6, .6, .3, 0, 0}} {
		m := flat.beginBent(psi, share)
		t.loose = stiff
		if c := t.descend(m, 10); c < cost {
			best, cost = m, c
		}
		t.loose = 1
	}
	t.rays = whole
	if best == nil {
		return nil
	}
	t.descend(best, 20)
	t.note(best)
	with, without := t.compare(best, straight)
	turn := best.traits()[qBend]
	_, arc := flat.arc(psi)
	if without-with > 12 && math.Abs(turn) > 5 && math.Abs(turn) < 25+2*math.Abs(arc)*180/math.Pi {
		return best
	}
	return nil
}

// hop tries to shorten a tip that came out as a nose: a narrow tip beyond a shoulder, mostly hidden,
// is a place where the minimiser gets caught. It returns a better body or nil.
func (t *task) hop(m *model) *model {
	var best *model
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
		t.descend(w, 20)
		t.note(w)
		now := best
		if now == nil {
			now = m
		}
		if a, b := t.compare(w, now); a < b {
			best = w
		}
	}
	return best
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
