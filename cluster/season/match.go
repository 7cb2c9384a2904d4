package season

import (
	"math"
	"sort"
)

// Group is a group of one harvest by its centre.
type Group struct {
	Number int
	Fruits []Fruit
}

// Pair is a group that both harvests have. A or B is 0 when only the other has it.
type Pair struct {
	A, B     int
	Distance float64 // root mean square difference of the centres, in standard deviations within groups
}

// maxApart is the greatest distance of the centres at which two groups still count as the same type. Set by a simulation
// of 13 traits with seasonal shifts of size and colour, two or four plants of four fruit on a side: one type is nearer
// in 89 or 96 of 100 pairs of harvests, two types 6 standard deviations of a fruit apart are in 22 or 30, 8 apart in 3 or 4.
const maxApart = 2.0

// Match finds which groups of b are which groups of a: nearest centres first, each group once, none
// farther than maxApart standard deviations within groups. Colour counts as three more traits. Groups left over
// come last with 0 for the side that lacks them.
func Match(a, b []Group, k int) []Pair {
	sd := within(append(append([]Group(nil), a...), b...), k)
	type cand struct {
		i, j int
		d    float64
	}
	var cs []cand
	for i, g := range a {
		for j, h := range b {
			if d := apart(centreOf(g, k), centreOf(h, k), sd); d <= maxApart {
				cs = append(cs, cand{i, j, d})
			}
		}
	}
	sort.SliceStable(cs, func(i, j int) bool { return cs[i].d < cs[j].d })
	usedA, usedB := map[int]bool{}, map[int]bool{}
	var out []Pair
	for _, c := range cs {
		if !usedA[c.i] && !usedB[c.j] {
			usedA[c.i], usedB[c.j] = true, true
			out = append(out, Pair{a[c.i].Number, b[c.j].Number, c.d})
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].A < out[j].A })
	for i, g := range a {
		if !usedA[i] {
			out = append(out, Pair{A: g.Number})
		}
	}
	for j, g := range b {
		if !usedB[j] {
			out = append(out, Pair{B: g.Number})
		}
	}
	return out
}

// Apart returns the distance of group na of a and group nb of b as Match measures it; NaN when either
// is not there.
func Apart(a, b []Group, na, nb, k int) float64 {
	find := func(gs []Group, n int) *Group {
		for i := range gs {
			if gs[i].Number == n {
				return &gs[i]
			}
		}
		return nil
	}
	g, h := find(a, na), find(b, nb)
	if g == nil || h == nil {
		return math.NaN()
	}
	return apart(centreOf(*g, k), centreOf(*h, k), within(append(append([]Group(nil), a...), b...), k))
}

// values is the trait vector of a fruit with its colour.
func values(f Fruit, k int) []float64 {
	return append(append(make([]float64, 0, k+3), f.X[:k]...), f.Lab[0], f.Lab[1], f.Lab[2])
}

func centreOf(g Group, k int) []float64 {
	m := make([]mean, k+3)
	for _, f := range g.Fruits {
		for j, v := range values(f, k) {
			m[j].add(v)
		}
	}
	out := make([]float64, k+3)
	for j := range out {
		out[j] = m[j].value()
	}
	return out
}

// within is the pooled standard deviation inside the groups; NaN where there is none.
func within(gs []Group, k int) []float64 {
	ss, df := make([]float64, k+3), make([]float64, k+3)
	for _, g := range gs {
		c := centreOf(g, k)
		n := make([]float64, k+3)
		for _, f := range g.Fruits {
			for j, v := range values(f, k) {
				if !math.IsNaN(v) {
					ss[j] += (v - c[j]) * (v - c[j])
					n[j]++
				}
			}
		}
		for j := range df {
			df[j] += math.Max(0, n[j]-1)
		}
	}
	out := make([]float64, k+3)
	for j := range out {
		out[j] = math.Sqrt(ss[j] / df[j])
		if df[j] == 0 || out[j] == 0 {
			out[j] = math.NaN()
		}
	}
	return out
}

// apart is the root mean square of the standardised differences over the traits both have.
func apart(a, b, sd []float64) float64 {
	s, n := 0.0, 0.0
	for j := range a {
		if d := (a[j] - b[j]) / sd[j]; !math.IsNaN(d) {
			s += d * d
			n++
		}
	}
	if n == 0 {
		return math.Inf(1)
	}
	return math.Sqrt(s / n)
}
