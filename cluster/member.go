package cluster

import (
	"math"
	"runtime"
	"slices"
)

// lonely: a fruit is alone when a fruit of the nearest group is as far from its centre, or farther,
// with less than this probability. Set so that a harvest of 60 fruit has a false one in about 1 of 20.
const lonely = 1e-3 / 1.2

// temper scales log densities before they become memberships: the types were chosen to fit these very
// fruit, so that plain memberships are too sure. Set by the simulation's reliability table.
const temper = 0.6

// model is a chosen partition with what membership needs.
type model struct {
	c      *candidate
	sp     *space
	alike  float64
	of     []int // type of each unit, largest first
	k      int
	cov    sym // of fruit within a type
	low    sym // cov = low·lowᵀ
	df     float64
	centre [][]float64
	z      [][]float64 // centres in coordinates with cov = 1
	w      []float64   // Wk
	n      []int       // fruit of each type
	units  []float64   // units of each type
	wide   []float64   // spread of each type ÷ the common one, squared and shrunk
}

// wideAs: how many fruit's worth of belief a type's own width starts with.
const wideAs = 12.0

// model describes the types of c, most fruit first.
func (h *harvest) model(c *candidate) *model {
	rows := make([][]int, len(h.units))
	for i, u := range h.units {
		rows[i] = u.rows
	}
	to := bySize(c.of, rows)
	of := make([]int, len(c.of))
	for u, g := range c.of {
		of[u] = to[g]
	}
	m := h.expect(h.space(c.at), of, c.k)
	m.c = c
	return m
}

// expect describes the k types of a partition.
func (h *harvest) expect(sp *space, of []int, k int) *model {
	m := &model{k: k, of: of, sp: sp, alike: sp.at.alike}
	m.cov = h.covariance(sp, sp.partition(of), sp.at)
	m.low, _ = m.cov.cholesky()
	m.centre = h.centres(sp, &candidate{of: of, k: k})
	m.n, m.w, m.units = make([]int, k), make([]float64, k), make([]float64, k)
	total := 0
	for u, g := range of {
		m.n[g] += len(h.units[u].rows)
		m.w[g] += sp.w[u]
		m.units[g]++
		total += len(h.units[u].rows)
	}
	m.df = min(40, max(4, h.belief+float64(total-k)))
	for _, mu := range m.centre {
		z := append([]float64(nil), mu...)
		m.low.solveLower(z)
		m.z = append(m.z, z)
	}
	m.widths(h)
	return m
}

// likeliestOf is likeliest for every unit, many of them by all cores.
func (m *model) likeliestOf(h *harvest) []int {
	to := make([]int, len(h.units))
	parts := 1
	if len(to)*m.k > 2000 {
		parts = runtime.GOMAXPROCS(0)
	}
	blocks(len(to), parts, func(_, from, end int) {
		for u := from; u < end; u++ {
			to[u] = m.likeliest(h, u)
		}
	})
	return to
}

// likeliest is the type that expects unit u most, its own part in its type's centre taken out.
func (m *model) likeliest(h *harvest, u int) int {
	cm := 1 / m.sp.w[u]
	y := append([]float64(nil), h.units[u].mean...)
	m.low.solveLower(y)
	best, to := math.Inf(-1), m.of[u]
	for g := range m.k {
		own, n := 0.0, m.units[g]
		if m.of[u] == g {
			own = m.sp.w[u]
			n--
		}
		if v := m.logT(y, g, cm, own) + math.Log(n+1); v > best {
			best, to = v, g
		}
	}
	return to
}

// widths estimates how wide each type is against the common covariance.
func (m *model) widths(h *harvest) {
	ss, df := make([]float64, m.k), make([]float64, m.k)
	for u, un := range h.units {
		g := m.of[u]
		for _, r := range un.rows {
			ss[g] += m.sqFrom(h.x[r], m.z[g]) / float64(h.p)
			df[g]++
		}
	}
	m.wide = make([]float64, m.k)
	for g := range m.wide {
		m.wide[g] = min(3, max(0.5, (wideAs+ss[g])/(wideAs+max(0, df[g]-1))))
	}
}

// sqFrom is the squared distance of x (working coordinates) from a whitened centre.
func (m *model) sqFrom(x, z []float64) float64 {
	y := append(make([]float64, 0, len(x)), x...)
	m.low.solveLower(y)
	return sq(y, z)
}

// logT is the log density (without common terms) of a mean of fruit under type g: multivariate t.
// cm is the share of a fruit's variance that the mean has; own its weight when it belongs to g, so
// that its own part in the centre is taken out.
func (m *model) logT(y []float64, g int, cm, own float64) float64 {
	p := float64(len(y))
	d2 := sq(y, m.z[g])
	w := m.w[g]
	if own > 0 && w-own > 0.5*own {
		f := w / (w - own)
		d2 *= f * f
		w -= own
	}
	v := m.wide[g] * (cm + 1/(m.sp.pull+w))
	return -p/2*math.Log(v) - (m.df+p)/2*math.Log1p(d2/v/m.df)
}

// posterior returns the probability of each type for unit u, taking its fruit together.
func (m *model) posterior(h *harvest, u int, from []int) []float64 {
	un := h.units[u]
	mm := float64(len(un.rows))
	cm := m.alike + (1-m.alike)/mm
	y := append([]float64(nil), un.mean...)
	m.low.solveLower(y)
	l := make([]float64, len(from))
	top := math.Inf(-1)
	for i, g := range from {
		own := 0.0
		n := m.units[g]
		if m.of[u] == g {
			own = m.sp.w[u]
			n--
		}
		l[i] = temper*m.logT(y, g, cm, own) + math.Log(n+0.5)
		top = max(top, l[i])
	}
	sum := 0.0
	for i := range l {
		l[i] = math.Exp(l[i] - top)
		sum += l[i]
	}
	for i := range l {
		l[i] /= sum
	}
	return l
}

// groupsOf lists the types that are groups.
func groupsOf(m *model, o Options) []int {
	var from []int
	for g := range m.k {
		if m.n[g] > 1 || o.Groups > 0 || m.n[0] == 1 {
			from = append(from, g)
		}
	}
	return from
}

// place fills the members: groups are the types of two fruit or more; fruit that are a type by
// themselves go to the nearest group as alone. When no two fruit go together, or when the number of
// groups was given, every type is a group.
func (h *harvest) place(t Table, res *Result, m *model, o Options) {
	from := groupsOf(m, o)
	number := make([]int, m.k)
	for i, g := range from {
		number[g] = i + 1
	}
	for i := range res.Members {
		res.Members[i] = Member{Group: 1, Probability: 1 / float64(len(from)), Unsure: true}
	}
	plant := map[string]Member{} // where most of a plant's fruit are
	for u, un := range h.units {
		p := m.posterior(h, u, from)
		best, next := 0, -1
		for i := range p {
			if p[i] > p[best] {
				best = i
			}
		}
		if k := number[m.of[u]]; k > 0 {
			best = k - 1
		}
		for i := range p {
			if i != best && (next < 0 || p[i] > p[next]) {
				next = i
			}
		}
		g := from[best]
		for _, r := range un.rows {
			v := m.wide[g] * (1 + 1/(m.sp.pull+m.w[g]))
			d2 := m.sqFrom(h.x[r], m.z[g]) / v
			mb := Member{Group: best + 1, Probability: p[best], Distance: math.Sqrt(d2 / float64(h.p))}
			if next >= 0 {
				mb.Next = next + 1
			}
			mb.Alone = number[m.of[u]] == 0 || m.n[g] > 2 && TailF(d2/float64(h.p), float64(h.p), m.df) < lonely/max(1, float64(len(h.fit))/60)
			mb.Unsure = mb.Alone || mb.Probability < o.Unsure
			res.Members[r] = mb
			if un.plant != "" && !mb.Alone {
				if _, ok := plant[un.plant]; !ok {
					plant[un.plant] = mb
				}
			}
		}
	}
	for i, r := range t.Rows { // nothing measured: with its plant
		if mb, ok := plant[r.Plant]; ok && !slices.Contains(h.fit, i) {
			res.Members[i] = Member{Group: mb.Group, Probability: mb.Probability, Next: mb.Next, Unsure: mb.Unsure}
		}
	}
}

// fitted is what Classify needs of a grouping.
type fitted struct {
	traits []Trait
	h      *harvest
	m      *model
	from   []int
}

// Classify places a fruit that was not part of the grouping, from the traits that it has. The zero Member
// means that none of the traits that tell groups apart was measured, or that the result is empty.
func (r *Result) Classify(row Row) Member {
	if r.fit == nil {
		return Member{}
	}
	h, m := r.fit.h, r.fit.m
	var seen []int
	var x []float64
	for a, j := range h.cols {
		v := r.fit.traits[j].Scale.Work(row.Values[j])/h.scale[a] - h.origin[a]
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			seen, x = append(seen, a), append(x, v)
		}
	}
	if len(seen) == 0 {
		return Member{}
	}
	low, _ := m.cov.sub(seen).cholesky()
	p := float64(len(seen))
	l := make([]float64, len(r.fit.from))
	d2 := make([]float64, len(l))
	best, next := 0, -1
	for i, g := range r.fit.from {
		d := make([]float64, len(seen))
		for k, a := range seen {
			d[k] = x[k] - m.centre[g][a]
		}
		low.solveLower(d)
		v := m.wide[g] * (1 + 1/(m.sp.pull+m.w[g]))
		d2[i] = dot(d, d) / v
		l[i] = temper*(-p/2*math.Log(v)-(m.df+p)/2*math.Log1p(d2[i]/m.df)) + math.Log(m.units[g]+0.5)
		if l[i] > l[best] {
			best = i
		}
	}
	sum := 0.0
	for i := range l {
		sum += math.Exp(l[i] - l[best])
		if i != best && (next < 0 || l[i] > l[next]) {
			next = i
		}
	}
	mb := Member{Group: best + 1, Next: next + 1, Probability: 1 / sum, Distance: math.Sqrt(d2[best] / p)}
	mb.Alone = TailF(d2[best]/p, p, m.df) < lonely
	mb.Unsure = mb.Alone || mb.Probability < 0.9
	return mb
}
