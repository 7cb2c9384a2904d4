package season

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// The figures beside maxApart, on fewer pairs: one type in two seasons is mostly matched, two types mostly not.
func TestMatchBetweenSeasons(t *testing.T) {
	const k, pairs = 10, 200
	rng := rand.New(rand.NewPCG(8, 8))
	normals := func(sd float64) []float64 {
		v := make([]float64, k+3)
		for j := range v {
			v[j] = sd * rng.NormFloat64()
		}
		return v
	}
	group := func(shift []float64) Group {
		size := rng.NormFloat64() // a good season makes fruit bigger all over
		s := slices.Clone(shift)
		for _, j := range []int{0, 1} {
			s[j] += math.Sqrt(0.8)*size + math.Sqrt(0.2)*rng.NormFloat64()
		}
		for j := k; j < k+3; j++ {
			s[j] += rng.NormFloat64()
		}
		alike := 0.1 + 0.5*rng.Float64()
		g := Group{Number: 1}
		for range 4 {
			plant := normals(math.Sqrt(alike))
			for range 4 {
				x := normals(math.Sqrt(1 - alike))
				for j := range x {
					x[j] += s[j] + plant[j]
				}
				x[2] = (x[0] - x[1]) / math.Sqrt2         // ratio
				x[6] = (x[0] + 2*x[1]) / math.Sqrt(1+2*2) // volume
				g.Fruits = append(g.Fruits, Fruit{X: x[:k], Lab: [3]float64(x[k:])})
			}
		}
		return g
	}
	share := func(d float64) float64 {
		n := 0.0
		for range pairs {
			away := make([]float64, k+3)
			norm := 0.0
			for range 3 {
				j := []int{0, 1, 3, 4, 5, 7, 8, 9, 10, 11, 12}[rng.IntN(11)]
				norm -= away[j] * away[j]
				away[j] = rng.NormFloat64()
				norm += away[j] * away[j]
			}
			for j := range away {
				away[j] *= d / math.Sqrt(norm)
			}
			if got := Match([]Group{group(make([]float64, k+3))}, []Group{group(away)}, k); len(got) == 1 {
				n++
			}
		}
		return n / pairs
	}
	same, six, eight := share(0), share(6), share(8)
	t.Logf("matched: one type %.2f, types 6 apart %.2f, 8 apart %.2f", same, six, eight)
	if same < 0.9 || six > 0.4 || eight > 0.1 {
		t.Errorf("matched: one type %.2f, types 6 apart %.2f, 8 apart %.2f; want at least 0.9, at most 0.4 and 0.1", same, six, eight)
	}
}
