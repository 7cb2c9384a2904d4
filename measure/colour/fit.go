package colour

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// problem is a weighted, robust least-squares problem with a numerical Jacobian.
type problem struct {
	residuals func(p []float64, out []float64) // already divided by their standard deviations
	n         int                              // number of residuals
	robust    []bool                           // which residuals get Huber weights
	step      []float64                        // finite-difference steps
}

const huber = 1.5 // residuals beyond 1.5 standard deviations lose weight

// solve minimises from p by Levenberg–Marquardt with Huber weights and returns the solution, its residuals,
// the last Jacobian and the weights. The number of iterations is bounded.
func (q *problem) solve(p []float64) (x, r []float64, jac *mat.Dense, w []float64) {
	m := len(p)
	x = append([]float64(nil), p...)
	r = make([]float64, q.n)
	try, rt := make([]float64, m), make([]float64, q.n)
	w = make([]float64, q.n)
	jac = mat.NewDense(q.n, m, nil)
	q.residuals(x, r)
	lambda, idle := 1e-3, 0
	for it := 0; it < 40 && idle < 3; it++ {
		cost := q.weigh(r, w)
		for j := range x {
			copy(try, x)
			try[j] += q.step[j]
			q.residuals(try, rt)
			for i := range rt {
				jac.Set(i, j, (rt[i]-r[i])/q.step[j])
			}
		}
		a, g := normal(jac, r, w)
		better := false
		for k := 0; k < 8 && !better; k++ {
			d, ok := damped(a, g, lambda)
			if ok {
				for j := range x {
					try[j] = x[j] - d[j]
				}
				q.residuals(try, rt)
				if c := huberCost(rt, q.robust); c < cost {
					idle++
					if cost-c > 1e-5*cost {
						idle = 0
					}
					copy(x, try)
					copy(r, rt)
					better = true
					lambda = math.Max(1e-9, lambda/5)
					break
				}
			}
			lambda *= 6
		}
		if !better {
			break
		}
	}
	q.weigh(r, w)
	return x, r, jac, w
}

func (q *problem) weigh(r, w []float64) float64 {
	for i, v := range r {
		w[i] = 1
		if a := math.Abs(v); q.robust[i] && a > huber {
			w[i] = huber / a
		}
	}
	return huberCost(r, q.robust)
}

func huberCost(r []float64, robust []bool) float64 {
	s := 0.0
	for i, v := range r {
		if a := math.Abs(v); robust[i] && a > huber {
			s += huber * (2*a - huber)
		} else {
			s += v * v
		}
	}
	if math.IsNaN(s) {
		return math.Inf(1)
	}
	return s
}

// normal returns JᵀWJ and JᵀWr.
func normal(j *mat.Dense, r, w []float64) (*mat.SymDense, []float64) {
	n, m := j.Dims()
	a := make([]float64, m*m)
	g := make([]float64, m)
	for i := 0; i < n; i++ {
		row := j.RawRowView(i)
		for k := 0; k < m; k++ {
			t := w[i] * row[k]
			if t == 0 {
				continue
			}
			g[k] += t * r[i]
			up := a[k*m : (k+1)*m]
			for l := k; l < m; l++ {
				up[l] += t * row[l]
			}
		}
	}
	return mat.NewSymDense(m, a), g
}

func damped(a *mat.SymDense, g []float64, lambda float64) ([]float64, bool) {
	m := len(g)
	b := mat.NewSymDense(m, nil)
	b.CopySym(a)
	for i := 0; i < m; i++ {
		b.SetSym(i, i, a.At(i, i)*(1+lambda)+1e-12)
	}
	var ch mat.Cholesky
	if !ch.Factorize(b) {
		return nil, false
	}
	var d mat.VecDense
	// A condition warning here only slows the descent; the cost test decides.
	_ = ch.SolveVecTo(&d, mat.NewVecDense(m, g))
	return d.RawVector().Data, true
}
