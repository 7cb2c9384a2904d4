package cluster

import (
	"math"
	"math/rand/v2"
)

// recovered is the overlap from which a group counts as found again (Hennig, as below).
const recovered = 0.75

// stability fills Stability, Repeats and Again of the groups: plants (or single fruit) are drawn with replacement, the
// drawn harvest is grouped into as many types from the same start, and each group is compared with
// the type that overlaps it most (Jaccard: fruit in both ÷ fruit in either). Below about 0.75 a group
// depends on a few fruit (C. Hennig, Comput. Stat. Data Anal. 52 (2007) 258–271).
func (h *harvest) stability(res *Result, c *candidate, o Options) {
	k := len(res.Groups)
	if k < 2 || len(h.units) < 2 {
		for i := range res.Groups {
			res.Groups[i].Stability = math.NaN()
		}
		return
	}
	rng := rand.New(rand.NewPCG(o.Seed, 6))
	sum := make([]float64, k)
	all := h.units
	draws := o.Stability
	if len(all) > 500 {
		draws = min(draws, 10)
	}
	groups := make([][]int, draws)
	drawn := make([][]unit, draws)
	types := make([][]int, draws)
	for d := range draws {
		groups[d], drawn[d] = make([]int, len(all)), make([]unit, len(all))
		for i := range all {
			j := rng.IntN(len(all))
			drawn[d][i] = unit{rows: all[j].rows, plant: all[j].plant}
			groups[d][i] = res.Members[all[j].rows[0]].Group - 1
		}
	}
	each(draws, func(d int) {
		us, group := drawn[d], groups[d]
		boot := &harvest{p: h.p, belief: h.belief, known: h.known, x: h.x, prior: h.prior, gaps: h.gaps, within: newSym(h.p)}
		boot.setUnits(us)
		sp := boot.space(c.at)
		low, _ := boot.prior.cholesky()
		if len(us) <= 500 {
			low, _ = boot.covariance(sp, sp.partition(dense(group)), c.at).cholesky()
		}
		of := dense(group)
		if len(us) <= 500 {
			of = Cut(Ward(boot.white(low, nil), sp.w), count(of))
		}
		p := sp.partition(of)
		sp.refine(p, 4)
		types[d] = p.of
	})
	for d, of := range types {
		overlap(sum, res.Groups, groups[d], of, drawn[d])
	}
	for i := range res.Groups {
		res.Groups[i].Stability = sum[i] / float64(res.Groups[i].Repeats)
	}
}

// overlap adds for each group the best Jaccard index with a type of the bootstrap harvest.
func overlap(sum []float64, gs []Group, group, of []int, us []unit) {
	kb := count(of)
	n := make([]float64, len(sum))
	m := make([]float64, kb)
	both := make([][]float64, len(sum))
	for g := range both {
		both[g] = make([]float64, kb)
	}
	for i := range us {
		w := float64(len(us[i].rows))
		n[group[i]] += w
		m[of[i]] += w
		both[group[i]][of[i]] += w
	}
	for g := range sum {
		if n[g] == 0 {
			continue
		}
		best := 0.0
		for b := range m {
			best = max(best, both[g][b]/(n[g]+m[b]-both[g][b]))
		}
		sum[g] += best
		gs[g].Repeats++
		if best >= recovered {
			gs[g].Again++
		}
	}
}

// dense renumbers groups 0, 1, … without gaps, in order of first appearance.
func dense(group []int) []int {
	at := map[int]int{}
	out := make([]int, len(group))
	for i, g := range group {
		k, ok := at[g]
		if !ok {
			k = len(at)
			at[g] = k
		}
		out[i] = k
	}
	return out
}
