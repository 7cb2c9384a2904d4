package cluster

import (
	"math"
	"math/rand/v2"
	"slices"
)

// KMeans returns the grouping of the rows of x into k groups with the smallest within sum of squares
// found from the given number of starts (k-means++ starts, then Lloyd's steps until nothing moves).
// Plain k-means: used to check against published values, not by Group.
//
// Source: S. Lloyd, IEEE Trans. Inf. Theory 28 (1982) 129–137; D. Arthur, S. Vassilvitskii, SODA 2007.
func KMeans(x [][]float64, k, starts int, seed uint64) []int {
	rng := rand.New(rand.NewPCG(seed, 0))
	var best []int
	least := math.Inf(1)
	for range starts {
		g := lloyd(x, plusPlus(x, k, rng))
		if s := WithinSS(x, g); s < least {
			best, least = g, s
		}
	}
	return best
}

// plusPlus picks k rows, each with a chance in proportion to its squared distance from those picked.
func plusPlus(x [][]float64, k int, rng *rand.Rand) [][]float64 {
	c := [][]float64{slices.Clone(x[rng.IntN(len(x))])}
	d := make([]float64, len(x))
	for len(c) < k {
		sum := 0.0
		for i, r := range x {
			d[i] = math.Inf(1)
			for _, m := range c {
				d[i] = min(d[i], sq(r, m))
			}
			sum += d[i]
		}
		u, at := rng.Float64()*sum, 0
		for at < len(x)-1 && u > d[at] {
			u -= d[at]
			at++
		}
		c = append(c, slices.Clone(x[at]))
	}
	return c
}

func lloyd(x [][]float64, c [][]float64) []int {
	g := make([]int, len(x))
	for step := 0; step < 300; step++ {
		moved := false
		for i, r := range x {
			b := 0
			for j := range c {
				if sq(r, c[j]) < sq(r, c[b]) {
					b = j
				}
			}
			moved = moved || b != g[i]
			g[i] = b
		}
		if !moved && step > 0 {
			break
		}
		m, n := centres(x, g)
		for j := range m {
			if n[j] > 0 {
				c[j] = m[j]
			}
		}
	}
	return g
}
