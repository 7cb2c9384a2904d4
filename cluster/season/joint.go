package season

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"offtype/cluster"
)

// Joint is the test of all traits together.
type Joint struct {
	Traits    []string // those every plant has
	T2        float64
	F, D1, D2 float64 // NaN when the covariance was shrunk
	P         float64
	PAdjusted float64 // Holm; set by Settle
	Shrunk    float64 // share of the correlations taken away, 0–1; 0: Hotelling's own T²
	Found     bool    // set by Settle
}

// Together tests the traits of use (indices) jointly: Hotelling's T² where there are plenty of plants
// (at least three a trait beyond the traits themselves), and otherwise T² with correlations shrunk
// towards none, its p from dealing the plants anew. Traits that some plant lacks are left out; with
// fewer than two traits or two plants on a side the result is empty and p NaN.
//
// Shrinkage intensity: Schäfer, Strimmer, Stat. Appl. Genet. Mol. Biol. 4 (2005) 32.
func Together(a, b Sample, traits []Trait, use []int, opt Options) Joint {
	nan := math.NaN()
	r := Joint{T2: nan, F: nan, D1: nan, D2: nan, P: nan, PAdjusted: nan}
	var cols []int
	for _, j := range use {
		if complete(a, j) && complete(b, j) && varies(a, b, j) {
			cols = append(cols, j)
			r.Traits = append(r.Traits, traits[j].Name)
		}
	}
	x, y := rows(a, cols), rows(b, cols)
	if len(cols) < 2 || len(x) < 2 || len(y) < 2 {
		return r
	}
	if len(x)+len(y)-2 >= 3*len(cols)+len(cols) {
		if h, ok := cluster.HotellingT2(x, y); ok {
			r.T2, r.F, r.D1, r.D2, r.P = h.T2, h.F, h.D1, h.D2, h.P
			return r
		}
	}
	r.T2, r.Shrunk = shrunkT2(x, y)
	if math.IsNaN(r.T2) {
		return r
	}
	all := append(append([][]float64(nil), x...), y...)
	r.P = shuffle(len(all), len(x), min(opt.Permutations, 999), opt.Seed, func(order []int) bool {
		v := make([][]float64, len(all))
		for i, o := range order {
			v[i] = all[o]
		}
		t, _ := shrunkT2(v[:len(x)], v[len(x):])
		return t >= r.T2*(1-1e-9)
	})
	return r
}

func complete(s Sample, j int) bool {
	for _, r := range s.X {
		if math.IsNaN(r[j]) {
			return false
		}
	}
	return len(s.X) > 0
}

func varies(a, b Sample, j int) bool {
	for _, s := range []Sample{a, b} {
		for _, r := range s.X {
			if r[j] != a.X[0][j] {
				return true
			}
		}
	}
	return false
}

func rows(s Sample, cols []int) [][]float64 {
	out := make([][]float64, len(s.X))
	for i, r := range s.X {
		for _, j := range cols {
			out[i] = append(out[i], r[j])
		}
	}
	return out
}

// shrunkT2 is T² with the pooled covariance's correlations multiplied by 1 − λ.
func shrunkT2(x, y [][]float64) (t2, lambda float64) {
	p := len(x[0])
	mx, my := centre(x), centre(y)
	var z [][]float64 // deviations from their own mean, then divided by the pooled deviation
	for _, r := range x {
		z = append(z, minus(r, mx))
	}
	for _, r := range y {
		z = append(z, minus(r, my))
	}
	n := float64(len(z))
	sd := make([]float64, p)
	for j := range p {
		for _, r := range z {
			sd[j] += r[j] * r[j] / (n - 2)
		}
		sd[j] = math.Sqrt(sd[j])
		if sd[j] == 0 {
			return math.NaN(), math.NaN()
		}
	}
	for _, r := range z {
		for j := range p {
			r[j] /= sd[j]
		}
	}
	corr := mat.NewSymDense(p, nil)
	noise, signal := 0.0, 0.0
	for a := range p {
		corr.SetSym(a, a, 1)
		for b := a + 1; b < p; b++ {
			m, v := 0.0, 0.0
			for _, r := range z {
				m += r[a] * r[b] / n
			}
			for _, r := range z {
				d := r[a]*r[b] - m
				v += d * d
			}
			corr.SetSym(a, b, m*n/(n-2))
			noise += v * n / math.Pow(n-1, 3)
			signal += math.Pow(m*n/(n-2), 2)
		}
	}
	lambda = 1
	if signal > 0 {
		lambda = math.Max(0.01, math.Min(1, noise/signal))
	}
	d := mat.NewVecDense(p, nil)
	for a := range p {
		d.SetVec(a, (mx[a]-my[a])/sd[a])
		for b := a + 1; b < p; b++ {
			corr.SetSym(a, b, corr.At(a, b)*(1-lambda))
		}
	}
	var ch mat.Cholesky
	var s mat.VecDense
	if !ch.Factorize(corr) || ch.SolveVecTo(&s, d) != nil {
		return math.NaN(), lambda
	}
	n1, n2 := float64(len(x)), float64(len(y))
	return n1 * n2 / (n1 + n2) * mat.Dot(d, &s), lambda
}

func centre(x [][]float64) []float64 {
	m := make([]float64, len(x[0]))
	for _, r := range x {
		for j, v := range r {
			m[j] += v / float64(len(x))
		}
	}
	return m
}

func minus(a, b []float64) []float64 {
	out := make([]float64, len(a))
	for i := range a {
		out[i] = a[i] - b[i]
	}
	return out
}
