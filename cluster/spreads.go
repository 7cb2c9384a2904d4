package cluster

import "math"

// How far the spread within types may lie from the usual one, as standard deviations of its logarithm: the same
// factor for all traits of a harvest, and one for each trait. Common practice, no source.
const (
	commonSD = 0.25
	traitSD  = 0.3
)

// spreads are logarithms of the spread of each column ÷ the usual one; nil stands for zeros.
type spreads *[]float64

// overall is the common factor of the spreads.
func overall(th spreads) float64 {
	if th == nil {
		return 1
	}
	return math.Exp(common(*th))
}

// usual is the prior's scatter matrix under the spreads th.
func (h *harvest) usual(th spreads) sym {
	c := newSym(h.p)
	c.plus(h.belief, h.prior)
	if th == nil {
		return c
	}
	f := make([]float64, h.p)
	for j, t := range *th {
		f[j] = math.Exp(t)
	}
	for a := range f {
		for b := range f {
			c.a[a*h.p+b] *= f[a] * f[b]
		}
	}
	return c
}

// believed is the logarithm of the prior of the spreads, common factor at its best.
func believed(th []float64) float64 {
	m := common(th)
	v := -m * m / (2 * commonSD * commonSD)
	for _, t := range th {
		v -= (t - m) * (t - m) / (2 * traitSD * traitSD)
	}
	return v
}

// common is the most likely logarithm of the factor that all traits share.
func common(th []float64) float64 {
	s := 0.0
	for _, t := range th {
		s += t
	}
	return s / (float64(len(th)) + traitSD*traitSD/(commonSD*commonSD))
}

// pooled holds what the score of any partition needs at one alikeness.
type pooled struct {
	alike float64
	w     []float64
	all   sym     // scatter of the fruit about nothing
	one   sym     // scatter about one common centre
	sum   float64 // of the weights
	jac   float64 // terms without partition and spreads
}

// pool is built once for each alikeness of the present units.
func (h *harvest) pool(alike float64) *pooled {
	if h.pools == nil {
		h.pools = map[float64]*pooled{}
	}
	if p := h.pools[alike]; p != nil {
		return p
	}
	p := &pooled{alike: alike, w: make([]float64, len(h.units)), all: newSym(h.p)}
	p.all.plus(1/(1-alike), h.within)
	p.all.plus(1, h.gaps)
	lost, mean := 0.0, make([]float64, h.p)
	for i, u := range h.units {
		m := float64(len(u.rows))
		cm := alike + (1-alike)/m
		p.w[i] = 1 / cm
		p.all.rank1(p.w[i], u.mean)
		p.sum += p.w[i]
		for j, v := range u.mean {
			mean[j] += p.w[i] * v
		}
		lost += math.Log(cm) + (m-1)*math.Log(1-alike)
	}
	off := (logit(alike) - logit(alikeMean)) / alikeSD
	p.jac = -float64(h.p)/2*lost - off*off/2
	p.one = p.all.clone()
	p.one.rank1(-1/p.sum, mean)
	h.pools[alike] = p
	return p
}

func logit(x float64) float64 { return math.Log(x / (1 - x)) }

// account is a partition into k types at one alikeness and pull: the scatter left within types, the part of the
// score that each trait in which types differ costs (twice), and the terms beside those and the determinants.
type account struct {
	k     int
	pool  *pooled
	pull  float64
	left  sym
	occam float64
	rest  float64
}

// accounts makes the accounts of a partition at all alikenesses and pulls of the grid.
func (h *harvest) accounts(of []int, k int) []account {
	grid := alikeness
	if h.known != nil {
		grid = []float64{h.known.Alike}
	} else if !h.sisters() {
		grid = []float64{alikeMean}
	}
	var out []account
	n, w := make([]float64, k), make([]float64, k)
	for _, g := range of {
		n[g]++
	}
	prior := -lgamma(float64(len(of) + k))
	if k > 1 {
		prior += lgamma(float64(k+1)) + lgamma(float64(k))
	}
	for _, x := range n {
		prior += lgamma(x + 1)
	}
	sum := make([][]float64, k)
	for i := range sum {
		sum[i] = make([]float64, h.p)
	}
	g := make([]float64, h.p)
	for _, alike := range grid {
		p := h.pool(alike)
		clear(w)
		for i := range sum {
			clear(sum[i])
		}
		for u, c := range of {
			w[c] += p.w[u]
			for j, x := range h.units[u].mean {
				sum[c][j] += p.w[u] * x
			}
		}
		for _, pull := range pulls {
			a := account{k: k, pool: p, pull: pull, left: p.all.clone(), occam: math.Log(p.sum), rest: prior + p.jac}
			clear(g)
			v := 0.0
			for c := range sum {
				r := pull / (pull + w[c])
				a.occam += math.Log(r)
				v += r * w[c]
				a.left.rank1(-1/(pull+w[c]), sum[c])
				for j, x := range sum[c] {
					g[j] += r * x
				}
			}
			a.occam -= math.Log(v)
			a.left.rank1(-1/v, g)
			out = append(out, a)
		}
	}
	return out
}

// degrees are the degrees of freedom of the prior and of prior and fruit together.
func (h *harvest) degrees() (nu0, nu float64) {
	n := 0
	for _, u := range h.units {
		n += len(u.rows)
	}
	nu0 = float64(h.p) + 1 + h.belief
	return nu0, nu0 + float64(n) - 1
}

// at is the score of an account under the spreads th, and the traits in which its types most likely differ.
func (h *harvest) at(a *account, th []float64, nu0, nu float64) (score float64, only []int) {
	one := h.usual(&th)
	types := one.clone()
	one.plus(1, a.pool.one)
	_, det := one.cholesky()
	score = a.rest + believed(th) - nu/2*det - float64(h.p)/2*math.Log(a.pool.sum)
	for _, t := range th {
		score += nu0 * t
	}
	if a.k < 2 {
		return score, nil
	}
	types.plus(1, a.left)
	gain, only := differs(one, types, a.occam, nu)
	return score + gain, only
}

// settle moves the spreads to where the account's score is highest when types differ in the traits only: Newton steps a
// trait at a time on the diagonal of the second derivative, which the prior keeps well away from zero.
func (h *harvest) settle(a *account, th []float64, only []int, nu0, nu float64) []float64 {
	th = append([]float64(nil), th...)
	if h.known != nil {
		return th
	}
	every := make([]int, h.p)
	for j := range every {
		every[j] = j
	}
	nuOnly := nu - float64(h.p-len(only))
	pulled := make([]float64, h.p) // ν × the prior's share of each spread
	for range 6 {
		psi := h.usual(&th)
		one := psi.clone()
		one.plus(1, a.pool.one)
		clear(pulled)
		share(pulled, nu, psi, one, every)
		if len(only) > 0 {
			types := psi.clone()
			types.plus(1, a.left)
			share(pulled, -nuOnly, psi, one, only)
			share(pulled, nuOnly, psi, types, only)
		}
		m := common(th)
		most := 0.0
		for j := range th {
			t := min(1, max(0, pulled[j]/nu))
			grad := nu0 - pulled[j] - (th[j]-m)/(traitSD*traitSD)
			step := grad / (2*nu*t*(1-t) + 1/(traitSD*traitSD))
			step = min(0.5, max(-0.5, step))
			th[j] += step
			most = max(most, math.Abs(step))
		}
		if most < 0.01 {
			break
		}
	}
	return th
}

// share adds w times the diagonal of psi·c⁻¹, over the traits idx alone, to to.
func share(to []float64, w float64, psi, c sym, idx []int) {
	low, _ := c.sub(idx).cholesky()
	col := make([]float64, len(idx))
	for x, j := range idx {
		for i, y := range idx {
			col[i] = psi.at(y, j)
		}
		low.solveLower(col)
		low.solveUpper(col)
		to[j] += w * col[x]
	}
}
