package season

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/combin"
)

// maxTables bounds the tables that Between counts one by one.
const maxTables = 2_000_000

// Between returns the exact p that growers with x[i] off-types of n[i] plants share one rate: the
// probability, given the total, of all divisions of the off-types over the growers no more probable
// than the one seen. It is NaN with fewer than two growers. Where there are too many divisions to count
// they are drawn at random, fixed seed: (1 + as improbable) / (1 + drawn).
//
// Source: G. H. Freeman, J. H. Halton, Biometrika 38 (1951) 141–149; with two growers it is Fisher's
// exact test.
func Between(x, n []int) float64 {
	if len(x) < 2 || len(x) != len(n) {
		return math.NaN()
	}
	total, plants := 0, 0
	for i := range x {
		total, plants = total+x[i], plants+n[i]
	}
	logP := func(x []int) float64 {
		s := -lnChoose(plants, total)
		for i := range x {
			s += lnChoose(n[i], x[i])
		}
		return s
	}
	seen := logP(x)
	p, tables := 0.0, 0
	row := make([]int, len(x))
	var walk func(i, left, room int) bool
	walk = func(i, left, room int) bool {
		if i == len(x)-1 {
			if left > n[i] {
				return true
			}
			row[i] = left
			// Divisions that are as probable but for rounding count.
			if l := logP(row); l <= seen+1e-7 {
				p += math.Exp(l)
			}
			tables++
			return tables <= maxTables
		}
		room -= n[i]
		for k := max(0, left-room); k <= min(left, n[i]); k++ {
			row[i] = k
			if !walk(i+1, left-k, room) {
				return false
			}
		}
		return true
	}
	if !walk(0, total, plants) {
		return drawn(n, total, plants, seen, logP)
	}
	return math.Min(1, p)
}

// drawn is the share of random divisions of total off-types over growers of n plants that are no more probable than seen.
func drawn(n []int, total, plants int, seen float64, logP func([]int) float64) float64 {
	const draws = 99_999
	rng := rand.New(rand.NewPCG(1, uint64(plants)))
	whose := make([]int, 0, plants)
	for i, k := range n {
		for range k {
			whose = append(whose, i)
		}
	}
	hits := 1
	row := make([]int, len(n))
	for range draws {
		clear(row)
		for i := range total {
			j := i + rng.IntN(plants-i)
			whose[i], whose[j] = whose[j], whose[i]
			row[whose[i]]++
		}
		if logP(row) <= seen+1e-7 {
			hits++
		}
	}
	return float64(hits) / float64(draws+1)
}

func lnChoose(n, k int) float64 { return combin.LogGeneralizedBinomial(float64(n), float64(k)) }
