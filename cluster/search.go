package cluster

import (
	"math"
	"slices"
)

// found is the best partition into each number of types, and the choice among them.
type found struct {
	byK  map[int]*candidate
	best *candidate
}

// limit is what the second and every further type must raise the score by.
type limit struct{ second, further float64 }

func (l limit) of(k int) float64 {
	if k < 2 {
		return 0
	}
	return l.second + l.further*float64(k-2)
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
	f := found{byK: map[int]*candidate{}}
	keep = min(keep, len(h.units))
	most := min(len(h.units), max(mostGroups, keep))
	s := start
	for pass := 0; pass < 3; pass++ {
		sp := h.space(s)
		low, _ := h.prior.cholesky()
		if pass > 0 {
			low, _ = h.covariance(sp, sp.partition(f.best.of), s).cholesky()
		}
		h.fromTree(&f, sp, low, most, keep)
		f.choose(keep, margin)
		h.improve(&f, sp, low, most, keep, margin)
		if next := f.best.at; pass > 0 && next == s {
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
		c := h.offer(f, sp, of)
		if c.score > top {
			top, fails = c.score, 0
		} else if fails++; fails >= 4 && k >= keep {
			break
		}
	}
}

// offer refines a partition, scores it at its own best setting and remembers it if it is the best of its size.
func (h *harvest) offer(f *found, sp *space, of []int) *candidate {
	p := sp.partition(of)
	sp.refine(p, 8)
	c := h.profile(p.of, p.k)
	if old := f.byK[p.k]; old == nil || c.score > old.score+1e-9 {
		f.byK[p.k] = c
	}
	return c
}

// profile scores a partition at the best setting on the grid.
func (h *harvest) profile(of []int, k int) *candidate {
	best := &candidate{of: of, k: k, score: math.Inf(-1)}
	grid := alikeness
	if !h.sisters() {
		grid = []float64{0.3}
	}
	for _, a := range grid {
		for _, w := range widths {
			sp := h.cached(setting{a, w, 1})
			p := sp.partition(of)
			for _, pull := range pulls {
				if v := sp.with(pull).score(p); v > best.score {
					best.score, best.at = v, setting{a, w, pull}
				}
			}
		}
	}
	best.score += h.spreadGain(of, k, best.at)
	return best
}

// sisters reports whether any unit holds several fruit.
func (h *harvest) sisters() bool {
	return slices.ContainsFunc(h.units, func(u unit) bool { return len(u.rows) > 1 })
}

// cached returns the space of a setting, built once a harvest state.
func (h *harvest) cached(s setting) *space {
	if h.spaces == nil {
		h.spaces = map[setting]*space{}
	}
	sp, ok := h.spaces[s]
	if !ok {
		sp = h.space(s)
		h.spaces[s] = sp
	}
	return sp
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

// choose picks the number of types: the highest score after the margin.
func (f *found) choose(keep int, margin limit) {
	f.best = nil
	top := math.Inf(-1)
	for k := 1; k <= len(f.byK)+mostGroups+keep; k++ { // in order, so that ties go to fewer types
		c := f.byK[k]
		if c == nil || keep > 0 && k != keep {
			continue
		}
		if v := c.score - margin.of(k); v > top+1e-9 {
			top, f.best = v, c
		}
	}
	if f.best == nil {
		for k := 1; f.best == nil; k++ {
			f.best = f.byK[k]
		}
	}
}

// improve tries splitting each type in two and joining each pair, from the best partition on.
func (h *harvest) improve(f *found, sp *space, low sym, most, keep int, margin limit) {
	for range 6 {
		was := f.best
		if was.k < most {
			for k := range was.k {
				if of, ok := h.halve(was, sp, low, k); ok {
					h.offer(f, sp, of)
				}
			}
		}
		for a := 0; a < was.k && was.k > 1 && was.k <= 20; a++ {
			for b := a + 1; b < was.k; b++ {
				h.offer(f, sp, join(was.of, a, b))
			}
		}
		f.choose(keep, margin)
		if f.best == was {
			return
		}
	}
}

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
