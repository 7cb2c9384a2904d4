package body

import (
	"cmp"
	"math"
	"slices"
)

// Ribs are tried when a smooth body leaves the outline's loss above ribbedLoss, and believed when they
// lessen the whole cost by ribGain and by ribShareGain of it. Their depth lies below deepest.
const (
	ribbedLoss   = 20
	ribGain      = 10
	ribShareGain = 0.18
	deepest      = 0.3
)

// Numbers of ribs and, for each, evenly spread phases that are tried.
const (
	fewestRibs = 4
	mostRibs   = 16
	ribPhases  = 4
	ribPolish  = 3   // of the best that are fitted to the end
	ribRival   = 8   // how much worse than the best a number may fit after a few steps and still be followed
	ribThin    = 2.5 // gain on the thinned outline below which ribs are given up
)

// ribKeep are the numbers of the scan's best that are fitted on the thinned outline for three steps, and three more;
// more of them where the outline's spread about the smooth body is above ribFar sigma: then proportion does not hold.
var ribKeep, ribKeepFar = [2]int{10, 5}, [2]int{18, 7}

const ribFar = 1.0

// scanKeep is the share of tries that are followed after each step of the scan.
var scanKeep = [scanSteps + 1]float64{0.5, 0.5, 1, 1}

// tryRibs adds ribs to a straight body when the outline is scalloped, and returns the ribbed body
// when it fits clearly better. A smooth body leans into the scallops: so every number of ribs is fitted for
// a few steps, on a thinned outline, and the likeliest ones to the end.
func (t *task) tryRibs(smooth *model, known int) *model {
	if smooth.bent() || known < 0 || known == 0 && t.loss < ribbedLoss {
		return nil
	}
	lo, hi := fewestRibs, mostRibs
	if known > 0 {
		lo, hi = known, known
	}
	whole, far := t.thin(), t.spread() > ribFar
	t.loose = stiff
	from := []*model{smooth, t.relaxed(smooth)}
	if t.plain != nil {
		from = append(from, t.plain)
	}
	all := t.likelyRibs(from, lo, hi, far)
	hope := len(all) > 0 && (len(t.strokes) > 0 || t.ribHope(all, smooth))
	t.loose, t.rays = 1, whole
	if !hope {
		return nil
	}
	var best *model
	cost := math.Inf(1)
	for _, a := range all[:min(len(all), ribPolish)] {
		t.descend(a.m, 12)
		if a.m.turnRibs() {
			t.descend(a.m, 12)
		}
		t.note(a.m)
		c, _ := t.compare(a.m, smooth)
		if c += ribOdds(a.m.ribs); c < cost {
			best, cost = a.m, c
		}
	}
	return t.ribsIf(best, smooth)
}

// ribsIf fits a ribbed body to the end and returns it when it fits clearly better than the smooth one.
func (t *task) ribsIf(best, smooth *model) *model {
	if best == nil { // no cost was a number: the outline says nothing of ribs
		return nil
	}
	t.descend(best, 15)
	with, without := t.compare(best, smooth)
	with += ribOdds(best.ribs)
	d := best.p[best.pRib()]
	if without-with > math.Max(ribGain, ribShareGain*without) && d > 0 && d < deepest {
		return best
	}
	return nil
}

// likelyRibs returns the bodies with lo to hi ribs, begun from each of the smooth ones, that fit the present rays best
// after a few steps, best first; none when no number promises enough. far: judge by proportion less.
func (t *task) likelyRibs(smooth []*model, lo, hi int, far bool) []candidate {
	keep := ribKeep
	if far {
		keep = ribKeepFar
	}
	tries, least := t.ribTries(smooth, lo, hi)
	if len(tries) == 0 || least-tries[0].cost < ribGain {
		return nil
	}
	var all []candidate
	for _, y := range promising(tries, least, keep[0]) {
		all = append(all, candidate{m: y.body()})
	}
	for _, k := range keep {
		all = all[:min(len(all), k)]
		for i := range all {
			all[i].cost = t.descend(all[i].m, 3)
			if all[i].m.turnRibs() {
				all[i].cost = t.descend(all[i].m, 3)
			}
			all[i].cost += ribOdds(all[i].m.ribs)
		}
		slices.SortFunc(all, byCost)
		for len(all) > 1 && all[len(all)-1].cost > all[0].cost+ribRival {
			all = all[:len(all)-1]
		}
	}
	return all
}

// promising returns up to most of the tries, given best first, that gain on the least cost of a body without at least
// half of what the best one gains. Of tries that came to nearly the same ribs the best speaks for all.
func promising(tries []*ribTry, least float64, most int) (out []*ribTry) {
	limit := (least + tries[0].cost) / 2
	for _, y := range tries {
		if len(out) == most || !(y.cost <= limit) {
			break
		}
		if !slices.ContainsFunc(out, y.like) {
			out = append(out, y)
		}
	}
	return out
}

// ribTries scans lo to hi ribs on each of the smooth bodies and returns the tries, best first, and the least cost of
// a body without.
func (t *task) ribTries(smooth []*model, lo, hi int) (tries []*ribTry, least float64) {
	least = math.Inf(1)
	for _, m := range smooth {
		scan := t.newRibScan(m)
		if scan == nil {
			continue
		}
		least = math.Min(least, scan.smooth())
		for n := lo; n <= hi; n++ {
			tries = append(tries, scan.begin(n)...)
		}
	}
	enough := math.Inf(1) // begin has looked about already
	for step := range scanSteps + 1 {
		for _, y := range tries {
			if step > 0 {
				y.move()
			}
			y.solve(enough)
		}
		enough = scanNear
		slices.SortStableFunc(tries, func(a, b *ribTry) int { return cmp.Compare(a.cost, b.cost) })
		tries = tries[:int(scanKeep[step]*float64(len(tries)))]
	}
	return tries, least
}

// turnRibs puts furrows where ridges came out, with ridges between them, and reports whether it did: a descent that
// began half a rib off ends with furrows of less than no depth.
func (m *model) turnRibs() bool {
	i := m.pRib()
	d := m.p[i]
	if d >= 0 {
		return false
	}
	m.p[i], m.p[i+1] = math.Max(-d, shallowScan), m.p[i+1]+math.Pi
	for k := range m.nq { // the ridges keep their height
		m.p[pProfile+k] += math.Log1p(-d)
	}
	m.update()
	return true
}

// relaxed returns the smooth body that the outline draws only a little: it does not lean into the scallops of ribs.
func (t *task) relaxed(smooth *model) *model {
	w := smooth.clone()
	for i := range t.rays {
		t.rays[i].sigma *= relaxedBy
	}
	t.descend(w, 8)
	for i := range t.rays {
		t.rays[i].sigma /= relaxedBy
	}
	return w
}

// relaxedBy is by how much less the outline counts for a body that is to find its ribs.
const relaxedBy = 6

// ribHope reports whether one of the ribbed bodies fits the present rays better than the smooth one by ribThin.
func (t *task) ribHope(all []candidate, smooth *model) bool {
	w := smooth.clone()
	t.descend(w, 3)
	for _, a := range all {
		if with, without := t.compare(a.m, w); without-with > ribThin+ribOdds(a.m.ribs) {
			return true
		}
	}
	return false
}

// ribOdds is what a number of ribs other than the commonest costs: ten main vessels run along the fruit of most
// cucurbits (from memory), fewer than eight ribs are lobes, and four or five those of a pepper (common practice, no
// source): few as they are, the outline of any uneven fruit has such waves.
func ribOdds(n int) float64 {
	switch {
	case n == 10:
		return 0
	case n < 6:
		return 8
	case n < 8:
		return 4
	}
	return 2
}
