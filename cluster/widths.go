package cluster

import (
	"math"
	"slices"
)

// Types of one harvest differ a little in how wide they spread: the logarithm of a type's variance against
// the common one is thought to have the standard deviation spreadSD. Without this a wide type would be cut in two.
const spreadSD = 0.35

var typeWidths = []float64{0.6, 0.77, 1, 1.3, 1.69} // tried factors on the variance of a type

// spreadGain is the rise of a partition's score when each of its types may have its own width, at setting s.
// A unit of a type with factor λ has the covariance λ·T; its weight is divided by λ.
func (h *harvest) spreadGain(of []int, k int, s setting) float64 {
	if k < 2 {
		return 0
	}
	e := h.spreader(of, k, s)
	start := e.score()
	best := start
	for range 2 {
		moved := false
		for g := range k {
			keep := e.lambda[g]
			for _, f := range typeWidths {
				if f == keep {
					continue
				}
				e.lambda[g] = f
				if v := e.score(); v > best+1e-9 {
					best, keep, moved = v, f, true
				}
			}
			e.lambda[g] = keep
		}
		if !moved {
			break
		}
	}
	return best - start
}

// spreader scores one partition for changing widths of its types. The traits in which types differ come first.
type spreader struct {
	h           *harvest
	k, p, s     int // types, traits, traits in which types differ
	pull, nu    float64
	lambda      []float64
	n, w, fruit []float64
	wl          []float64
	sum, y, g   [][]float64
	one         []float64
	m           []sym
	det         []float64
	c, base     sym
}

func (h *harvest) spreader(of []int, k int, s setting) *spreader {
	order := slices.Clone(s.only)
	for j := range h.p {
		if !slices.Contains(s.only, j) {
			order = append(order, j)
		}
	}
	_, nu := h.degrees()
	e := &spreader{h: h, k: k, p: h.p, s: len(s.only), pull: s.pull, nu: nu, lambda: make([]float64, k), n: make([]float64, k), w: make([]float64, k), fruit: make([]float64, k),
		sum: make([][]float64, k), m: make([]sym, k), y: make([][]float64, k), g: make([][]float64, k), wl: make([]float64, k),
		one: make([]float64, h.p), det: make([]float64, (k+1)*(k+1)), c: newSym(h.p), base: h.usual(s.spread)}
	e.base.plus(1, h.gaps)
	e.base = e.base.sub(order)
	for i := range k {
		e.lambda[i] = 1
		e.sum[i], e.y[i], e.g[i], e.m[i] = make([]float64, h.p), make([]float64, h.p), make([]float64, k), newSym(h.p)
	}
	weight := h.pool(s.alike).w
	for u, g := range of {
		un := &h.units[u]
		w := weight[u]
		e.n[g]++
		e.w[g] += w
		e.fruit[g] += float64(len(un.rows))
		mean := entries(un.mean, order)
		for j, v := range mean {
			e.sum[g][j] += w * v
		}
		e.m[g].rank1(w, mean)
		if un.ss != nil {
			e.m[g].plus(1/(1-s.alike), un.ss.sub(order))
		}
	}
	return e
}

// score follows differs: all traits with one centre, then those in which types differ with a centre a type instead.
func (e *spreader) score() float64 {
	copy(e.c.a, e.base.a)
	v, weight := 0.0, 0.0
	for g := range e.k {
		e.c.plus(1/e.lambda[g], e.m[g])
		l := math.Log(e.lambda[g])
		v -= l*l/(2*spreadSD*spreadSD) + float64(e.p)/2*e.fruit[g]*l
		e.wl[g] = e.w[g] / e.lambda[g]
		weight += e.wl[g]
	}
	low, det := e.c.cholesky()
	clear(e.one)
	for g := range e.k {
		for j, x := range e.sum[g] {
			e.y[g][j] = x / e.lambda[g]
		}
		low.solveLower(e.y[g])
		for j, x := range e.y[g] {
			e.one[j] += x
		}
	}
	for a := range e.k {
		for b := 0; b <= a; b++ {
			e.g[a][b] = dot(e.y[a][:e.s], e.y[b][:e.s])
			e.g[b][a] = e.g[a][b]
		}
	}
	sp := space{p: e.s, nu: e.nu - float64(e.p-e.s), pull: e.pull}
	oneCentre := func(to int) float64 { return math.Log1p(-dot(e.one[:to], e.one[:to]) / weight) }
	v -= e.nu/2*(det+oneCentre(e.p)) + float64(e.p-e.s)/2*math.Log(weight)
	v += sp.nu / 2 * oneCentre(e.s)
	return v + sp.inner(e.n, e.wl, e.g, e.det)
}
