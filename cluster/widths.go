package cluster

import "math"

// Types of one harvest differ a little in how wide they spread: the logarithm of a type's variance against
// the common one is thought to have the standard deviation spreadSD. Without this a wide type would be cut in two.
const spreadSD = 0.35

var typeWidths = []float64{0.6, 0.77, 1.3, 1.69} // tried factors on the variance of a type, beside 1

// spreadGain is the rise of a partition's score when each of its types may have its own width, at setting s.
// A unit of a type with factor λ has the covariance λ·T; its weight is divided by λ.
func (h *harvest) spreadGain(of []int, k int, s setting) float64 {
	if k < 2 {
		return 0
	}
	sp := h.pool(s.alike)
	_, nu := h.degrees()
	e := &spreader{h: h, k: k, pull: s.pull, nu: nu, lambda: make([]float64, k), n: make([]float64, k), w: make([]float64, k), fruit: make([]float64, k),
		sum: make([][]float64, k), m: make([]sym, k), y: make([][]float64, k), g: make([][]float64, k), wl: make([]float64, k),
		det: make([]float64, (k+1)*(k+1)), c: newSym(h.p), base: h.usual(s.spread)}
	e.base.plus(1, h.gaps)
	for i := range k {
		e.lambda[i] = 1
		e.sum[i], e.y[i], e.g[i], e.m[i] = make([]float64, h.p), make([]float64, h.p), make([]float64, k), newSym(h.p)
	}
	for u, g := range of {
		un := &h.units[u]
		w := sp.w[u]
		e.n[g]++
		e.w[g] += w
		e.fruit[g] += float64(len(un.rows))
		for j, v := range un.mean {
			e.sum[g][j] += w * v
		}
		e.m[g].rank1(w, un.mean)
		if un.ss != nil {
			e.m[g].plus(1/(1-s.alike), *un.ss)
		}
	}
	start := e.score()
	best := start
	for range 2 {
		moved := false
		for g := range k {
			was := e.lambda[g]
			keep := was
			for _, f := range typeWidths {
				e.lambda[g] = f
				if v := e.score(); v > best+1e-9 {
					best, keep, moved = v, f, true
				}
			}
			if was != 1 {
				e.lambda[g] = 1
				if v := e.score(); v > best+1e-9 {
					best, keep, moved = v, 1, true
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

// spreader scores one partition for changing widths of its types.
type spreader struct {
	h           *harvest
	k           int
	pull, nu    float64
	lambda      []float64
	n, w, fruit []float64
	wl          []float64
	sum, y, g   [][]float64
	m           []sym
	det         []float64
	c, base     sym
}

func (e *spreader) score() float64 {
	copy(e.c.a, e.base.a)
	v := 0.0
	for g := range e.k {
		e.c.plus(1/e.lambda[g], e.m[g])
		l := math.Log(e.lambda[g])
		v -= l*l/(2*spreadSD*spreadSD) + float64(e.h.p)/2*e.fruit[g]*l
		e.wl[g] = e.w[g] / e.lambda[g]
	}
	low, det := e.c.cholesky()
	for g := range e.k {
		for j, x := range e.sum[g] {
			e.y[g][j] = x / e.lambda[g]
		}
		low.solveLower(e.y[g])
	}
	for a := range e.k {
		for b := 0; b <= a; b++ {
			e.g[a][b] = dot(e.y[a], e.y[b])
			e.g[b][a] = e.g[a][b]
		}
	}
	sp := space{p: e.h.p, nu: e.nu, pull: e.pull}
	return v - e.nu/2*det + sp.inner(e.n, e.wl, e.g, e.det)
}
