package cluster

import (
	"cmp"
	"math"
	"slices"
)

// Options of Find. The zero value is not useful; start from DefaultOptions.
type Options struct {
	Groups    int     // number of groups asked for; 0: found from the fruit
	Margin    float64 // log units by which two groups must beat one, fruit without tags
	Tagged    float64 // the same where plants have several fruit: how alike sisters are is then estimated too
	Further   float64 // the same for one group more when there are two or more
	Unsure    float64 // a fruit is unsure below this membership
	Stability int     // number of bootstrap harvests for the stability of groups; 0: none
	Seed      uint64  // of the bootstrap
	Known     *Known  // for simulations: nil otherwise
}

// Known is what only a simulation knows: how fruit of one type vary (covariance on the working scale, a row and a column
// a trait) and how alike sisters are. Grouping with it shows how much could be had at best.
type Known struct {
	Covariance [][]float64
	Alike      float64
}

// DefaultOptions returns the options the simulation in docs/grouping.md was made with.
func DefaultOptions() Options {
	return Options{Margin: -2, Tagged: 1, Further: 2.75, Unsure: 0.9, Stability: 100, Seed: 1}
}

// Member is the place of a row in the grouping.
type Member struct {
	Group       int     // 1, 2, … largest first
	Probability float64 // of that group, 0–1
	Next        int     // the second most probable group, 0 when there is one group only
	Unsure      bool    // between two groups, or alone
	Alone       bool    // far from all: put to the nearest group
	Distance    float64 // from the centre of its group, in standard deviations of a fruit of one type (root of the mean square over traits)
}

// Mixed is a plant whose fruit look like more than one type: a wrong tag, or two plants grown into each other.
type Mixed struct {
	Plant string
	Rows  []int // the fewer fruit, which do not go with the others
}

// Result is a grouping. Members follow the rows of the table.
type Result struct {
	Groups     []Group
	Members    []Member
	Mixed      []Mixed
	Tree       []Merge      // Ward's tree of the fruit, for a drawing; heights in standard deviations
	Projection [][2]float64 // a point a fruit, for a drawing: the two directions that tell groups apart best
	Axes       [2][]string  // the traits that each direction mostly stands for
	Alikeness  float64      // correlation of fruit of one plant beyond their type; NaN without plants of several fruit
	Width      float64      // spread within types ÷ the usual spread
	Scores     []float64    // score with 1, 2, … groups, log units above the chosen one; NaN where not tried

	fit *fitted
}

// Group describes a group.
type Group struct {
	Number    int // 1, 2, …
	Rows      []int
	Plants    []string
	Centre    []float64 // median of each trait, its own unit; NaN when not measured
	Spread    []float64 // robust standard deviation of each trait, its own unit
	Stability float64   // mean overlap (Jaccard) with the nearest group of a bootstrap harvest; NaN when not done
	Apart     []Difference
	Repeats   int // bootstrap harvests with fruit of this group; 0 when not done
	Again     int // those of them in which the group came out again: an overlap of 0.75 or more
}

// Find groups the fruit of a table.
//
// The number of groups is the smallest that no larger one beats in log posterior (see space) by more than
// Options.Margin (Tagged, Further). They were chosen so that harvests of one type are split in under 5 %
// (docs/grouping.md). A fruit that forms a type by itself is `alone`.
// Rows without any value are put to group 1 as unsure.
//
// Errors: ErrNoTraits, or a row that does not fit the traits. A table without rows gives an empty result.
// Cost O(n²·p), from the tree.
func Find(t Table, o Options) (Result, error) {
	if len(t.Rows) == 0 {
		return Result{}, nil
	}
	h, err := prepare(t, o.Known)
	if err != nil {
		return Result{}, err
	}
	us, suspects := h.suspect(h.byPlant(t))
	h.setUnits(us)
	margin := o.Margin
	if h.sisters() {
		margin = o.Tagged
	}
	f := h.search(o.Groups, limit{margin, o.Further}, setting{alike: 0.35, pull: 0.2})
	for range 2 {
		if !h.fillGaps(f.best) {
			break
		}
		us, suspects = h.suspect(h.byPlant(t))
		h.setUnits(us)
		f = h.search(o.Groups, limit{margin, o.Further}, f.best.at)
	}
	m := h.model(f.best)
	res := Result{Members: make([]Member, len(t.Rows)), Width: overall(f.best.at.spread), Alikeness: math.NaN()}
	if h.sisters() {
		res.Alikeness = f.best.at.alike
	}
	h.place(t, &res, m, o)
	res.fit = &fitted{t.Traits, h, m, groupsOf(m, o)}
	res.order()
	res.Mixed = h.mixed(suspects, res.Members)
	res.Groups = describe(t, res.Members)
	h.apart(t, &res, m)
	h.draw(t, &res, m)
	res.Scores = scores(f)
	if o.Stability > 0 {
		h.stability(&res, f.best, o)
	}
	return res, nil
}

// scores lists the scores of the best partition into 1, 2, … types against the chosen one.
func scores(f found) []float64 {
	most := 0
	for k := range f.byK {
		most = max(most, k)
	}
	out := make([]float64, most)
	for i := range out {
		out[i] = math.NaN()
		if c := f.byK[i+1]; c != nil {
			out[i] = c.score - f.best.score
		}
	}
	return out
}

// fillGaps replaces missing values by what the fruit's type and its other traits lead to expect;
// it reports whether there were any.
func (h *harvest) fillGaps(c *candidate) bool {
	sp := h.space(c.at)
	cov := h.covariance(sp, sp.partition(c.of), c.at)
	centre := h.centres(sp, c)
	any := false
	gaps := newSym(h.p)
	for u, un := range h.units {
		for _, r := range un.rows {
			var seen, gone []int
			for j, v := range h.raw[r] {
				if math.IsNaN(v) {
					gone = append(gone, j)
				} else {
					seen = append(seen, j)
				}
			}
			if len(gone) > 0 {
				any = true
				h.fillRow(h.x[r], centre[c.of[u]], cov, seen, gone, gaps)
			}
		}
	}
	h.gaps = gaps
	return any
}

func (h *harvest) fillRow(x, mu []float64, cov sym, seen, gone []int, gaps sym) {
	l, _ := cov.sub(seen).cholesky()
	d := make([]float64, len(seen))
	for i, j := range seen {
		d[i] = x[j] - mu[j]
	}
	l.solveLower(d)
	half := make([][]float64, len(gone)) // L⁻¹·cov(seen, gone)
	for i, j := range gone {
		half[i] = make([]float64, len(seen))
		for k, s := range seen {
			half[i][k] = cov.at(s, j)
		}
		l.solveLower(half[i])
		x[j] = mu[j] + dot(half[i], d)
	}
	for a, i := range gone {
		for b, j := range gone {
			gaps.add(i, j, cov.at(i, j)-dot(half[a], half[b]))
		}
	}
}

// centres returns the centre of each type of a partition, working coordinates.
func (h *harvest) centres(sp *space, c *candidate) [][]float64 {
	out := make([][]float64, c.k)
	w := make([]float64, c.k)
	for k := range out {
		out[k] = make([]float64, h.p)
	}
	for u, k := range c.of {
		w[k] += sp.w[u]
		for j, v := range h.units[u].mean {
			out[k][j] += sp.w[u] * v
		}
	}
	for k := range out {
		for j := range out[k] {
			out[k][j] /= w[k]
		}
	}
	return out
}

// describe makes the groups, largest first, from members whose Group is set.
func describe(t Table, ms []Member) []Group {
	k := 0
	for _, m := range ms {
		k = max(k, m.Group)
	}
	gs := make([]Group, k)
	for i := range gs {
		gs[i] = Group{Number: i + 1, Stability: math.NaN()}
	}
	for i, m := range ms {
		g := &gs[m.Group-1]
		g.Rows = append(g.Rows, i)
		if p := t.Rows[i].Plant; p != "" && !slices.Contains(g.Plants, p) {
			g.Plants = append(g.Plants, p)
		}
	}
	for i := range gs {
		gs[i].summarise(t, ms)
	}
	return gs
}

// Regroup lists the rows of the groups anew and numbers the groups by size again after members were
// changed by hand.
func (r *Result) Regroup() {
	r.order()
	for i := range r.Groups {
		r.Groups[i].Rows = nil
	}
	for i, m := range r.Members {
		g := &r.Groups[m.Group-1]
		g.Rows = append(g.Rows, i)
	}
}

// order numbers the groups anew, most fruit first (alone ones and those without values counted), ties by
// the first fruit. A group that lost all its fruit stays last.
func (r *Result) order() {
	k := len(r.fit.from)
	of := make([]int, len(r.Members))
	rows := make([][]int, len(r.Members))
	for i, m := range r.Members {
		of[i], rows[i] = m.Group-1, []int{i}
	}
	to := bySize(of, rows)
	for g := len(to); g < k; g++ {
		to = append(to, g)
	}
	from, groups := make([]int, k), make([]Group, len(r.Groups))
	for g := range to {
		from[to[g]] = r.fit.from[g]
		if len(groups) > 0 {
			groups[to[g]] = r.Groups[g]
			groups[to[g]].Number = to[g] + 1
		}
	}
	r.fit.from, r.Groups = from, groups
	for i := range r.Members {
		m := &r.Members[i]
		m.Group = to[m.Group-1] + 1
		if m.Next > 0 {
			m.Next = to[m.Next-1] + 1
		}
	}
}

// summarise fills median and robust spread of the group's traits; fruit that are alone do not count.
func (g *Group) summarise(t Table, ms []Member) {
	for j := range t.Traits {
		var v []float64
		for _, i := range g.Rows {
			if !ms[i].Alone || len(g.Rows) == 1 {
				v = append(v, t.Rows[i].Values[j])
			}
		}
		m := median(v)
		g.Centre = append(g.Centre, m)
		for i := range v {
			v[i] = math.Abs(v[i] - m)
		}
		g.Spread = append(g.Spread, 1.4826*median(v))
	}
}

// bySize returns for each old number the new one: most fruit first, ties by the first fruit.
func bySize(of []int, rows [][]int) []int {
	k := count(of)
	n, first := make([]int, k), make([]int, k)
	for i := range first {
		first[i] = math.MaxInt
	}
	for u, g := range of {
		n[g] += len(rows[u])
		first[g] = min(first[g], rows[u][0])
	}
	order := make([]int, k)
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(n[b], n[a]), cmp.Compare(first[a], first[b]))
	})
	to := make([]int, k)
	for i, g := range order {
		to[g] = i
	}
	return to
}
