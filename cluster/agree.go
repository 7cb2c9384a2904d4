package cluster

import "math"

// Silhouette returns the mean silhouette width of a grouping of the rows of x (Euclidean distance).
// A row alone in its group counts 0. NaN with fewer than two groups.
//
// Source: P. Rousseeuw, J. Comput. Appl. Math. 20 (1987) 53–65.
func Silhouette(x [][]float64, group []int) float64 {
	k := count(group)
	if k < 2 {
		return math.NaN()
	}
	size := make([]float64, k)
	for _, g := range group {
		size[g]++
	}
	total := 0.0
	sum := make([]float64, k)
	for i, r := range x {
		clear(sum)
		for j, s := range x {
			sum[group[j]] += math.Sqrt(sq(r, s))
		}
		own := group[i]
		if size[own] < 2 {
			continue
		}
		a, b := sum[own]/(size[own]-1), math.Inf(1)
		for g := range sum {
			if g != own && size[g] > 0 {
				b = min(b, sum[g]/size[g])
			}
		}
		if m := max(a, b); m > 0 {
			total += (b - a) / m
		}
	}
	return total / float64(len(x))
}

// WithinSS returns the sum of squared distances of the rows of x from the centres of their groups.
func WithinSS(x [][]float64, group []int) float64 {
	c, _ := centres(x, group)
	s := 0.0
	for i, r := range x {
		s += sq(r, c[group[i]])
	}
	return s
}

// CalinskiHarabasz returns the ratio of between and within mean squares of a grouping.
//
// Source: T. Caliński, J. Harabasz, Commun. Stat. 3 (1974) 1–27.
func CalinskiHarabasz(x [][]float64, group []int) float64 {
	all := make([]int, len(x))
	w, t := WithinSS(x, group), WithinSS(x, all)
	k, n := float64(count(group)), float64(len(x))
	return (t - w) / (k - 1) / (w / (n - k))
}

// DaviesBouldin returns the mean over groups of the worst ratio of spreads to distance of centres.
//
// Source: D. Davies, D. Bouldin, IEEE Trans. Pattern Anal. 1 (1979) 224–227.
func DaviesBouldin(x [][]float64, group []int) float64 {
	c, size := centres(x, group)
	s := make([]float64, len(c))
	for i, r := range x {
		s[group[i]] += math.Sqrt(sq(r, c[group[i]])) / size[group[i]]
	}
	sum := 0.0
	for i := range c {
		worst := 0.0
		for j := range c {
			if i != j {
				worst = max(worst, (s[i]+s[j])/math.Sqrt(sq(c[i], c[j])))
			}
		}
		sum += worst
	}
	return sum / float64(len(c))
}

// AdjustedRand returns the adjusted Rand index of two groupings of the same rows: 1 for the same
// groups, about 0 for chance, below 0 for less than chance. Two groupings that leave nothing to
// compare (each one group, or each all single) give 1.
//
// Source: L. Hubert, P. Arabie, J. Classif. 2 (1985) 193–218.
func AdjustedRand(a, b []int) float64 {
	ra, rb, cell := map[int]float64{}, map[int]float64{}, map[[2]int]float64{}
	for i, x := range a {
		ra[x]++
		rb[b[i]]++
		cell[[2]int{x, b[i]}]++
	}
	// pair counts are whole numbers, so the order of summing does not matter
	pairs := func(n float64) float64 { return n * (n - 1) / 2 }
	var sa, sb, sc float64
	for _, n := range ra {
		sa += pairs(n)
	}
	for _, n := range rb {
		sb += pairs(n)
	}
	for _, n := range cell {
		sc += pairs(n)
	}
	all := pairs(float64(len(a)))
	if all == 0 || sa == sb && (sa == 0 || sa == all) {
		return 1
	}
	expect := sa * sb / all
	return (sc - expect) / ((sa+sb)/2 - expect)
}

// count returns the number of groups when they are numbered 0, 1, ….
func count(group []int) int {
	k := 0
	for _, g := range group {
		k = max(k, g+1)
	}
	return k
}

// centres returns the mean and the number of rows of each group.
func centres(x [][]float64, group []int) ([][]float64, []float64) {
	k := count(group)
	c, n := make([][]float64, k), make([]float64, k)
	for g := range c {
		c[g] = make([]float64, len(x[0]))
	}
	for i, r := range x {
		n[group[i]]++
		for j, v := range r {
			c[group[i]][j] += v
		}
	}
	for g := range c {
		for j := range c[g] {
			c[g][j] /= n[g]
		}
	}
	return c, n
}
