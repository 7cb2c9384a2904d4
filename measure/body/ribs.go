package body

import (
	"cmp"
	"math"
	"slices"
)

// Ribs are tried when a smooth body leaves the outline's loss above ribbedLoss, and believed when they
// lessen the whole cost by ribGain and by ribShareGain of it. Their depth lies below deepest.
const (
	ribbedLoss   = 12
	ribGain      = 10
	ribShareGain = 0.18
	deepest      = 0.3
)

// Numbers of ribs and, for each, evenly spread phases that are tried.
const (
	fewestRibs = 6
	mostRibs   = 16
	ribPhases  = 4
	scanSteps  = 6
)

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
	whole := t.thin()
	var all []candidate
	for n := lo; n <= hi; n++ {
		best := candidate{cost: math.Inf(1)}
		for k := 0; k < ribPhases; k++ {
			p := append(slices.Clone(smooth.p), ribDepth, 2*math.Pi*float64(k)/ribPhases)
			m := newModel(p, smooth.nq, smooth.prof.rho0*(1+ribDepth/4), n) // ridges
			t.loose = stiff
			if c := t.descend(m, scanSteps); c < best.cost {
				best = candidate{m, c}
			}
			t.loose = 1
		}
		if best.m != nil {
			best.cost += ribOdds(n)
			all = append(all, best)
		}
	}
	t.rays = whole
	slices.SortFunc(all, func(a, b candidate) int { return cmp.Compare(a.cost, b.cost) })
	var best *model
	cost := math.Inf(1)
	for _, a := range all[:min(len(all), 4)] {
		t.descend(a.m, 12)
		c, _ := t.compare(a.m, smooth)
		if c += ribOdds(a.m.ribs); c < cost {
			best, cost = a.m, c
		}
	}
	if best == nil {
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

// ribOdds is what a number of ribs other than the commonest costs: ten main vessels run along the fruit of most
// cucurbits (from memory), fewer than eight ribs are lobes.
func ribOdds(n int) float64 {
	switch {
	case n == 10:
		return 0
	case n < 8:
		return 4
	}
	return 2
}
