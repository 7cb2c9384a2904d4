package cluster

import (
	"cmp"
	"math"
	"runtime"
	"slices"
)

// Merge is a step of a hierarchical grouping. A and B are rows (below the number of rows n) or the
// result of step A−n; A < B. Height is the distance at which they join.
type Merge struct {
	A, B   int
	Height float64
}

// Ward joins the rows of x (all of the same length) by Ward's criterion and returns the n−1 steps in
// rising order of height. Weights are the rows' weights; nil means 1 each.
//
// Height of joining groups s and t with weights w and centres c: √(2·ws·wt/(ws+wt))·|cs − ct|, the
// distance itself for two single rows of weight 1. Exact: by nearest-neighbour chains, which for
// Ward's criterion give the same tree as always joining the closest pair.
//
// Cost O(n²·p) time, O(n·p) memory. Source: J. H. Ward, J. Am. Stat. Assoc. 58 (1963) 236–244;
// F. Murtagh, Comput. J. 26 (1983) 354–359. Agrees with scipy 1.10.1 linkage(method="ward") to 1e-9.
func Ward(x [][]float64, weights []float64) []Merge {
	n := len(x)
	if n < 2 {
		return nil
	}
	p := len(x[0])
	centre := make([]float64, n*p)
	w := make([]float64, n)
	live := make([]int, n)
	for i, r := range x {
		copy(centre[i*p:], r)
		w[i], live[i] = 1, i
		if weights != nil {
			w[i] = weights[i]
		}
	}
	steps := make([]step, 0, n-1)
	var chain []int
	for len(live) > 1 {
		if len(chain) == 0 {
			chain = append(chain, live[0])
		}
		for {
			top := chain[len(chain)-1]
			prev := -1
			best, at := math.Inf(1), -1
			if len(chain) > 1 {
				prev = chain[len(chain)-2]
				at, best = prev, wardSq(centre[top*p:top*p+p], centre[prev*p:prev*p+p], w[top], w[prev])
			}
			n := nearest{centre, w, p, top, prev}
			best, at = n.among(live, best, at)
			if at != prev {
				chain = append(chain, at)
				continue
			}
			chain = chain[:len(chain)-2]
			a, b := min(top, at), max(top, at)
			steps = append(steps, step{a, b, math.Sqrt(2 * best)})
			s := w[a] + w[b]
			for k := 0; k < p; k++ {
				centre[a*p+k] = (w[a]*centre[a*p+k] + w[b]*centre[b*p+k]) / s
			}
			w[a] = s
			i, _ := slices.BinarySearch(live, b)
			live = slices.Delete(live, i, i+1)
			break
		}
	}
	return named(steps, n)
}

// step joins the groups that hold the rows a and b.
type step struct {
	a, b int
	h    float64
}

// named sorts steps by height and numbers what they join.
func named(steps []step, n int) []Merge {
	slices.SortStableFunc(steps, func(a, b step) int { return cmp.Compare(a.h, b.h) })
	name := make([]int, n) // representative row → current number
	root := make([]int, n)
	for i := range root {
		root[i], name[i] = i, i
	}
	find := func(i int) int {
		for root[i] != i {
			root[i] = root[root[i]]
			i = root[i]
		}
		return i
	}
	out := make([]Merge, 0, n-1)
	for i, s := range steps {
		a, b := find(s.a), find(s.b)
		root[b] = a
		out = append(out, Merge{min(name[a], name[b]), max(name[a], name[b]), s.h})
		name[a] = n + i
	}
	return out
}

// wardSq is the rise of the within sum of squares when two groups join.
func wardSq(a, b []float64, wa, wb float64) float64 { return wa * wb / (wa + wb) * sq(a, b) }

// wardSqBelow is wardSq, or any number not below limit once it cannot be below it.
func wardSqBelow(a, b []float64, wa, wb, limit float64) float64 {
	f := wa * wb / (wa + wb)
	v := 0.0
	for i, x := range a {
		d := x - b[i]
		v += d * d
		if i&3 == 3 && f*v >= limit {
			break
		}
	}
	return f * v
}

// nearest looks for the group that joins top at the least rise; prev is known already.
type nearest struct {
	centre, w []float64
	p         int
	top, prev int
}

// among returns the first of live that is nearer than best, or at. Many groups are looked through by all cores;
// the answer is that of one.
func (n *nearest) among(live []int, best float64, at int) (float64, int) {
	parts := 1
	if len(live)*n.p > 8000 {
		parts = runtime.GOMAXPROCS(0)
	}
	if parts == 1 {
		return n.part(live, best, at)
	}
	bests, ats := make([]float64, parts), make([]int, parts)
	blocks(len(live), parts, func(i, from, to int) {
		bests[i], ats[i] = n.part(live[from:to], best, at)
	})
	for i, b := range bests {
		if b < best {
			best, at = b, ats[i]
		}
	}
	return best, at
}

func (n *nearest) part(live []int, best float64, at int) (float64, int) {
	p, ct, wt := n.p, n.centre[n.top*n.p:n.top*n.p+n.p], n.w[n.top]
	for _, j := range live {
		if j == n.top || j == n.prev {
			continue
		}
		if d := wardSqBelow(ct, n.centre[j*p:j*p+p], wt, n.w[j], best); d < best {
			best, at = d, j
		}
	}
	return best, at
}

// Cut returns the group (0, 1, … in order of first appearance) of each row when the tree is cut into
// k groups. k is limited to 1 … number of rows.
func Cut(tree []Merge, k int) []int {
	n := len(tree) + 1
	k = min(max(k, 1), n)
	up := make([]int, 2*n)
	for i := range up {
		up[i] = -1
	}
	for i, m := range tree[:n-k] {
		up[m.A], up[m.B] = n+i, n+i
	}
	out := make([]int, n)
	seen := map[int]int{}
	for i := range out {
		j := i
		for up[j] >= 0 {
			j = up[j]
		}
		g, ok := seen[j]
		if !ok {
			g = len(seen)
			seen[j] = g
		}
		out[i] = g
	}
	return out
}

// LeafOrder returns the rows in the order in which a drawing of the tree shows them.
func LeafOrder(tree []Merge) []int {
	n := len(tree) + 1
	out := make([]int, 0, n)
	stack := []int{2*n - 2}
	for len(stack) > 0 {
		v := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		if v < n {
			out = append(out, v)
			continue
		}
		m := tree[v-n]
		stack = append(stack, m.B, m.A)
	}
	return out
}
