package cluster

import (
	"maps"
	"math"
	"slices"
)

// found is the best partition into each number of types, and the choice among them.
type found struct {
	byK  map[int]*candidate
	seen map[string]bool // partitions that were scored
	best *candidate
}

// limit is what one group more must raise the score by: second from one to two, further from more; each
// group beyond that adds a little.
type limit struct{ second, further float64 }

const eachMore = 0.5

func (l limit) of(from, to int) float64 {
	v := l.further
	if from == 1 {
		v = l.second
	}
	return v + eachMore*float64(to-from-1)
}

type candidate struct {
	of    []int
	k     int
	at    setting
	score float64
}

// search looks for the best partition of the units. keep > 0 fixes the number of types; margin is
// what further types must raise the score by.
func (h *harvest) search(keep int, margin limit, start setting) found {
	f := found{byK: map[int]*candidate{}, seen: map[string]bool{}}
	keep = min(keep, len(h.units))
	most := min(len(h.units), max(mostGroups, keep))
	s := start
	for pass := range 3 {
		sp := h.space(s.everywhere())
		low, _ := h.prior.cholesky()
		if pass > 0 {
			low, _ = h.covariance(sp, sp.partition(f.best.of), s).cholesky()
		}
		h.fromTree(&f, sp, low, most, keep)
		if pass > 0 {
			h.improve(&f, sp, low, most)
		}
		f.choose(keep, margin)
		if next := f.best.at; pass > 0 && next.alike == s.alike && next.pull == s.pull && settled(next.spread, s.spread) {
			break
		} else {
			s = next
		}
	}
	return f
}

// fromTree offers the cuts of Ward's tree in the metric of low, each refined.
func (h *harvest) fromTree(f *found, sp *space, low sym, most, keep int) {
	tree := Ward(h.white(low, nil), sp.w)
	fails := 0
	top := math.Inf(-1)
	for k := 1; k <= most; k++ {
		if len(tree) == 0 && k > 1 {
			break
		}
		of := make([]int, len(h.units))
		if len(tree) > 0 {
			of = Cut(tree, k)
		}
		h.offer(f, sp, of)
		if c := f.byK[k]; c != nil && c.score > top {
			top, fails = c.score, 0
		} else if fails++; fails >= 4 && k >= keep {
			break
		}
	}
}

// offer scores a partition and what it becomes when units move, each at its own best setting, and remembers the
// best if it is the best of its size, which it reports.
func (h *harvest) offer(f *found, sp *space, of []int) bool {
	k := count(of)
	var best *candidate
	least := math.Inf(-1)
	if old := f.byK[k]; old != nil {
		least = old.score - promising
	}
	try := func(of []int) {
		if f.fresh(of) {
			if c := h.profile(of, k, sp.at.spread, least); c != nil {
				best, least = c, c.score
			}
		}
	}
	try(of)
	try(h.sharpen(sp, of))
	if best == nil {
		return false
	}
	if len(of) <= mostRefined {
		own := h.space(best.at)
		p := own.partition(best.of)
		own.refine(p, 8)
		try(p.of)
	}
	if old := f.byK[k]; old == nil || best.score > old.score+1e-6 {
		f.byK[k] = best
		return true
	}
	return false
}

// mostRefined: with more units sharpen has to do.
const mostRefined = 1000

// promising: a partition this far below the best of its size is still refined.
const promising = 3.0

// mostGain: own widths of the types rarely raise a score by more.
const mostGain = 15.0

// fresh reports whether a partition was not scored before, and notes it.
func (f *found) fresh(of []int) bool {
	key := label(of)
	if f.seen[key] {
		return false
	}
	f.seen[key] = true
	return true
}

// sharpen puts each unit to the type that expects it most, all at once, until nothing changes; each type
// has its own width. No type is emptied. It is quick; refine is exact.
func (h *harvest) sharpen(sp *space, of []int) []int {
	k := count(of)
	if k < 2 {
		return of
	}
	of = slices.Clone(of)
	n := make([]int, k)
	for range 8 {
		m := h.expect(sp, of, k)
		clear(n)
		for _, g := range of {
			n[g]++
		}
		to := m.likeliestOf(h)
		moved := false
		for u, g := range to {
			if g != of[u] && n[of[u]] > 1 {
				n[of[u]]--
				n[g]++
				of[u] = g
				moved = true
			}
		}
		if !moved {
			break
		}
	}
	return of
}

// profile scores a partition: spreads at their best, the mean over alikeness and pull. nil: below least.
func (h *harvest) profile(of []int, k int, from spreads, least float64) *candidate {
	th := make([]float64, h.p)
	if from != nil {
		copy(th, *from)
	}
	nu0, nu := h.degrees()
	as := h.accounts(of, k)
	score, traits := make([]float64, len(as)), make([][]int, len(as))
	var only []int
	was := -1
	for range 4 {
		each(len(as), func(i int) { score[i], traits[i] = h.at(&as[i], th, nu0, nu) })
		at := 0
		for i, v := range score {
			if v > score[at] {
				at = i
			}
		}
		now := traits[at]
		done := at == was && slices.Equal(now, only)
		was, only = at, now
		if done {
			break
		}
		th = h.settle(&as[at], th, only, nu0, nu)
	}
	c := &candidate{of: of, k: k, at: setting{as[was].pool.alike, as[was].pull, &th, only}}
	sum := 0.0
	for _, v := range score {
		sum += math.Exp(v - score[was])
	}
	c.score = score[was] + math.Log(sum/float64(len(as)))
	if c.score < least-mostGain {
		return nil
	}
	if c.score += h.spreadGain(of, k, c.at); c.score < least {
		return nil
	}
	return c
}

// sisters reports whether any unit holds several fruit.
func (h *harvest) sisters() bool {
	return slices.ContainsFunc(h.units, func(u unit) bool { return len(u.rows) > 1 })
}

// white returns the unit means (of the units in pick, all when nil) in coordinates in which low·lowᵀ is 1.
func (h *harvest) white(low sym, pick []int) [][]float64 {
	if pick == nil {
		pick = make([]int, len(h.units))
		for i := range pick {
			pick[i] = i
		}
	}
	x := make([][]float64, len(pick))
	for i, u := range pick {
		x[i] = slices.Clone(h.units[u].mean)
		low.solveLower(x[i])
	}
	return x
}

// choose picks the number of types: keep if it is given, otherwise the smallest that no larger one beats.
func (f *found) choose(keep int, margin limit) {
	ks := slices.Sorted(maps.Keys(f.byK))
	if c := f.byK[keep]; c != nil {
		f.best = c
		return
	}
	for i, k := range ks {
		f.best = f.byK[k]
		if !slices.ContainsFunc(ks[i+1:], func(to int) bool { return f.byK[to].score-f.best.score > margin.of(k, to) }) {
			return
		}
	}
}

// improve tries splitting each type in two and joining each pair, from the best partition of every number of
// types on, until that finds nothing better.
func (h *harvest) improve(f *found, sp *space, low sym, most int) {
	tried := map[*candidate]bool{}
	for range 4 {
		top, at := math.Inf(-1), 1
		for k := range most {
			if c := f.byK[k+1]; c != nil && c.score > top {
				top, at = c.score, k+1
			}
		}
		better := false
		for k := 1; k <= min(most, at+2); k++ {
			c := f.byK[k]
			if c == nil || tried[c] || c.score < top-hopeless {
				continue
			}
			tried[c] = true
			if k < most {
				for g := range k {
					if of, ok := h.halve(c, sp, low, g); ok {
						better = h.offer(f, sp, of) || better
					}
				}
			}
			for a := 0; a < k && k > 1 && k <= 20; a++ {
				for b := a + 1; b < k; b++ {
					better = h.offer(f, sp, join(c.of, a, b)) || better
				}
			}
		}
		if !better {
			return
		}
	}
}

// hopeless: partitions whose score is this far below the best are not worked on.
const hopeless = 10.0

// halve splits type k of c by Ward's tree of its units.
func (h *harvest) halve(c *candidate, sp *space, low sym, k int) ([]int, bool) {
	var in []int
	var w []float64
	for u, g := range c.of {
		if g == k {
			in = append(in, u)
			w = append(w, sp.w[u])
		}
	}
	if len(in) < 2 {
		return nil, false
	}
	half := Cut(Ward(h.white(low, in), w), 2)
	of := slices.Clone(c.of)
	for i, u := range in {
		if half[i] == 1 {
			of[u] = c.k
		}
	}
	return of, true
}

// join puts types a < b into one and closes the gap in the numbering.
func join(of []int, a, b int) []int {
	out := slices.Clone(of)
	for i, g := range out {
		if g == b {
			out[i] = a
		} else if g > b {
			out[i] = g - 1
		}
	}
	return out
}

// settled reports spreads that are practically equal.
func settled(a, b spreads) bool {
	if a == nil || b == nil {
		return a == b
	}
	for i, v := range *a {
		if math.Abs(v-(*b)[i]) > 0.02 {
			return false
		}
	}
	return true
}

// label is the same for two partitions that put the same units together.
func label(of []int) string {
	r := make([]rune, len(of))
	for i, g := range dense(of) {
		r[i] = rune(g)
	}
	return string(r)
}
