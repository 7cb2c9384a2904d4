package cluster

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
