package cluster

import "math"

// What is known before the harvest is seen. Chosen by the simulation in cluster/simulate (docs/grouping.md).
const (
	// priorFruit: the usual correlations of traits count as much as those of this many fruit.
	priorFruit = 60.0
	// alikeMean, alikeSD: how alike fruit of one plant are, and the standard deviation of its logit: 0.14–0.53 in 95 of 100
	// varieties. From memory, no source. Without it a few plants of two types pass for one type whose plants differ a lot.
	alikeMean, alikeSD = 0.3, 0.5
	// mostGroups is the largest number of groups looked for.
	mostGroups = 12
)

var (
	alikeness = []float64{0.05, 0.15, 0.25, 0.35, 0.45, 0.55, 0.65, 0.75} // tried: correlation of fruit of one plant
	pulls     = []float64{0.06, 0.2, 0.6, 2}                              // tried: κ, centres of types lie about 1/√κ spreads apart in a trait
)

// setting is how much fruit of one plant are alike beyond their type (the intraclass correlation), how far
// the centres of types lie apart, how wide types spread in this harvest compared with the usual spreads, and in
// which traits types differ (columns; nil: in all).
type setting struct {
	alike, pull float64
	spread      spreads
	only        []int
}

// everywhere is s with types that may differ in all traits.
func (s setting) everywhere() setting {
	s.only = nil
	return s
}

// space holds the unit means in coordinates in which the score of a partition is cheap.
//
// Model: fruit j of unit u in type k is x = μk + b + e, with b + e of covariance T and a share
// `alike` of it in b; T has an inverse-Wishart prior around the usual spreads, μk ~ N(μ, T/κ) with μ anywhere. All
// are integrated out, so that the score of a partition is its log marginal likelihood:
//
//	p/2·Σk ln(κ/(κ+Wk)) − p/2·ln V − (ν+n−1)/2·ln det(C − Σk Sk·Skᵀ/(κ+Wk) − g·gᵀ/V) + terms without the partition,
//	Sk = Σ w·x̄, Wk = Σ w over units of type k, w = 1/(alike + (1−alike)/m) for a unit of m fruit,
//	g = Σk κ/(κ+Wk)·Sk, V = Σk κ·Wk/(κ+Wk)
//
// plus the log prior of the partition (every size of every group equally likely: a Dirichlet-
// multinomial with parameter 1). In coordinates with C = 1 the determinant is one of size K+1. Where types differ in
// some traits only (see differs), p counts those and y and C hold nothing else.
type space struct {
	p    int
	nu   float64 // ν+n, less a trait that is left out
	at   setting
	pull float64 // κ
	y    [][]float64
	w    []float64
	low  sym // C = low·lowᵀ
}

// space builds the coordinates for a setting.
func (h *harvest) space(s setting) *space {
	pool := h.pool(s.alike)
	_, nu := h.degrees()
	sp := &space{p: h.p, w: pool.w, y: make([][]float64, len(h.units)), pull: s.pull, nu: nu, at: s}
	c := h.usual(s.spread)
	c.plus(1, pool.all)
	if s.only != nil {
		c = c.sub(s.only)
		sp.p, sp.nu = len(s.only), nu-float64(h.p-len(s.only))
	}
	sp.low, _ = c.cholesky()
	for i, u := range h.units {
		sp.y[i] = entries(u.mean, s.only)
		sp.low.solveLower(sp.y[i])
	}
	return sp
}

// partition is a division of the units into k types with the sums the score needs.
type partition struct {
	of  []int // type of each unit
	k   int
	n   []float64   // units of each type
	w   []float64   // Wk
	s   [][]float64 // Sk
	g   [][]float64 // Sk·Sl
	det []float64   // room for a determinant
}

func (sp *space) partition(of []int) *partition {
	p := &partition{of: append([]int(nil), of...), k: count(of)}
	p.n, p.w = make([]float64, p.k), make([]float64, p.k)
	p.s, p.g = make([][]float64, p.k), make([][]float64, p.k)
	for i := range p.s {
		p.s[i], p.g[i] = make([]float64, sp.p), make([]float64, p.k)
	}
	p.det = make([]float64, (p.k+1)*(p.k+1))
	for u, k := range p.of {
		p.n[k]++
		p.w[k] += sp.w[u]
		for j, v := range sp.y[u] {
			p.s[k][j] += sp.w[u] * v
		}
	}
	for a := range p.k {
		for b := range p.k {
			p.g[a][b] = dot(p.s[a], p.s[b])
		}
	}
	return p
}

// inner is the part of the score that depends on the partition: n, w and the products g of the sums.
// det is room for a (K+1)×(K+1) matrix: a column Sk/√(κ+Wk) for each type and one, g/√V, for the common centre.
func (sp *space) inner(n, w []float64, g [][]float64, det []float64) float64 {
	k := len(n)
	q := k + 1
	half := float64(sp.p) / 2
	v, units, total := 0.0, 0.0, 0.0
	if k > 1 {
		v = lgamma(float64(k+1)) + lgamma(float64(k))
	}
	last := det[k*q : k*q+q]
	clear(last)
	for i := range n {
		v += half * math.Log(sp.pull/(sp.pull+w[i]))
		v += lgamma(n[i] + 1)
		units += n[i]
		total += sp.pull * w[i] / (sp.pull + w[i])
		ri := 1 / (sp.pull + w[i])
		for j := range n {
			det[i*q+j] = -g[i][j] * math.Sqrt(ri/(sp.pull+w[j]))
			last[i] -= g[i][j] * sp.pull / (sp.pull + w[j]) * math.Sqrt(ri)
			last[k] -= g[i][j] * sp.pull * ri * sp.pull / (sp.pull + w[j])
		}
		det[i*q+i]++
	}
	v -= lgamma(units+float64(k)) + half*math.Log(total)
	for i := range n {
		last[i] /= math.Sqrt(total)
		det[i*q+k] = last[i]
	}
	last[k] = 1 + last[k]/total
	return v - sp.nu/2*logDet(det, q)
}

// logDet is the logarithm of the determinant of a positive definite k×k matrix; it overwrites a.
func logDet(a []float64, k int) float64 {
	d := 0.0
	for i := 0; i < k; i++ {
		q := a[i*k+i]
		if q <= 1e-300 {
			return math.Inf(1) // rounding only: such a partition is not taken
		}
		d += math.Log(q)
		for r := i + 1; r < k; r++ {
			f := a[r*k+i] / q
			for c := i + 1; c < k; c++ {
				a[r*k+c] -= f * a[i*k+c]
			}
		}
	}
	return d
}

// refine moves single units between types as long as that raises the score. No type is emptied.
func (sp *space) refine(p *partition, sweeps int) {
	if p.k < 2 {
		return
	}
	k := p.k
	t := make([]float64, k)
	n, w := make([]float64, k), make([]float64, k)
	g := make([][]float64, k)
	for i := range g {
		g[i] = make([]float64, k)
	}
	now := sp.inner(p.n, p.w, p.g, p.det)
	for range sweeps {
		moved := false
		for u, a := range p.of {
			if p.n[a] <= 1 {
				continue
			}
			y, wu := sp.y[u], sp.w[u]
			for i := range t {
				t[i] = dot(y, p.s[i])
			}
			yy := dot(y, y)
			best, to := now+1e-9, a
			for b := range k {
				if b == a {
					continue
				}
				copy(n, p.n)
				copy(w, p.w)
				n[a]--
				n[b]++
				w[a] -= wu
				w[b] += wu
				shiftGram(g, p.g, t, a, b, wu, yy)
				if v := sp.inner(n, w, g, p.det); v > best {
					best, to = v, b
				}
			}
			if to == a {
				continue
			}
			shiftGram(g, p.g, t, a, to, wu, yy)
			for i := range g {
				copy(p.g[i], g[i])
			}
			p.n[a]--
			p.n[to]++
			p.w[a] -= wu
			p.w[to] += wu
			for j, v := range y {
				p.s[a][j] -= wu * v
				p.s[to][j] += wu * v
			}
			p.of[u], now, moved = to, best, true
		}
		if !moved {
			return
		}
	}
}

// shiftGram writes to g the products of the sums after w·y went from sum a to sum b; t = y·S, yy = y·y.
func shiftGram(g, old [][]float64, t []float64, a, b int, w, yy float64) {
	for i := range old {
		copy(g[i], old[i])
	}
	for i := range old {
		if i != a && i != b {
			g[a][i] = old[a][i] - w*t[i]
			g[i][a] = g[a][i]
			g[b][i] = old[b][i] + w*t[i]
			g[i][b] = g[b][i]
		}
	}
	g[a][a] = old[a][a] - 2*w*t[a] + w*w*yy
	g[b][b] = old[b][b] + 2*w*t[b] + w*w*yy
	g[a][b] = old[a][b] + w*t[a] - w*t[b] - w*w*yy
	g[b][a] = g[a][b]
}

// covariance returns the estimate of T for a partition: what fruit of one type vary by.
func (h *harvest) covariance(sp *space, p *partition, s setting) sym {
	c := h.usual(s.spread)
	c.plus(1/(1-s.alike), h.within)
	c.plus(1, h.gaps)
	for i, u := range h.units {
		c.rank1(sp.w[i], u.mean)
	}
	n := 0.0
	for _, u := range h.units {
		n += float64(len(u.rows))
	}
	sum, all, v := make([]float64, h.p), make([]float64, h.p), 0.0
	for k := range p.k {
		clear(sum)
		for i, u := range h.units {
			if p.of[i] == k {
				for j, x := range u.mean {
					sum[j] += sp.w[i] * x
				}
			}
		}
		r := sp.pull / (sp.pull + p.w[k])
		c.rank1(-1/(sp.pull+p.w[k]), sum)
		for j, x := range sum {
			all[j] += r * x
		}
		v += r * p.w[k]
	}
	c.rank1(-1/v, all)
	for i := range c.a {
		c.a[i] /= h.belief + n - float64(p.k)
	}
	for i := range h.p { // never below a hundredth of the usual spread
		c.a[i*h.p+i] = max(c.a[i*h.p+i], 1e-4)
	}
	return c
}
