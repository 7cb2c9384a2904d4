package body

import "math"

// normal collects weighted least-squares rows: JᵀJ, Jᵀr and the cost.
type normal struct {
	n    int
	a    []float64 // n×n, row by row
	g    []float64
	cost float64
	some []int // places of a row's entries that are not zero
}

func newNormal(n int) *normal {
	return &normal{n: n, a: make([]float64, n*n), g: make([]float64, n)}
}

func (s *normal) reset() {
	for i := range s.a {
		s.a[i] = 0
	}
	for i := range s.g {
		s.g[i] = 0
	}
	s.cost = 0
}

// add takes a row with residual r and weight w (both already divided by sigma).
func (s *normal) add(row []float64, r, w float64) {
	some := s.some[:0]
	for i, x := range row {
		if x != 0 {
			some = append(some, i)
		}
	}
	s.some = some
	for k, i := range some {
		wx := w * row[i]
		s.g[i] += wx * r
		ai := s.a[i*s.n : i*s.n+i+1]
		for _, j := range some[:k+1] {
			ai[j] += wx * row[j]
		}
	}
}

// prop holds parameters without evidence where they are.
func (s *normal) prop() {
	for i := 0; i < s.n; i++ {
		if s.a[i*s.n+i] == 0 {
			s.a[i*s.n+i] = 1
		}
	}
}

// cholesky factors a (lower half, n×n) in place; false when it is not positive definite.
func cholesky(a []float64, n int) bool {
	for j := 0; j < n; j++ {
		d := a[j*n+j]
		for k := 0; k < j; k++ {
			d -= a[j*n+k] * a[j*n+k]
		}
		if !(d > 0) {
			return false
		}
		d = math.Sqrt(d)
		a[j*n+j] = d
		for i := j + 1; i < n; i++ {
			s := a[i*n+j]
			for k := 0; k < j; k++ {
				s -= a[i*n+k] * a[j*n+k]
			}
			a[i*n+j] = s / d
		}
	}
	return true
}

// cholSolve solves with the factor of cholesky; b becomes the solution.
func cholSolve(a []float64, n int, b []float64) {
	for i := 0; i < n; i++ {
		for k := 0; k < i; k++ {
			b[i] -= a[i*n+k] * b[k]
		}
		b[i] /= a[i*n+i]
	}
	for i := n - 1; i >= 0; i-- {
		for k := i + 1; k < n; k++ {
			b[i] -= a[k*n+i] * b[k]
		}
		b[i] /= a[i*n+i]
	}
}

// step solves (A + λ·diag A)·x = −g; false when it cannot.
func (s *normal) step(lambda float64, x, work []float64) bool {
	copy(work, s.a)
	for i := 0; i < s.n; i++ {
		work[i*s.n+i] += lambda*s.a[i*s.n+i] + 1e-12
	}
	if !cholesky(work, s.n) {
		return false
	}
	for i := range x {
		x[i] = -s.g[i]
	}
	cholSolve(work, s.n, x)
	return true
}

// inverse returns A⁻¹ (full, n×n), with as small a ridge as makes A positive definite, or nil.
func (s *normal) inverse() []float64 {
	n := s.n
	f := make([]float64, n*n)
	ok := false
	for ridge := 1e-12; ridge < 1e-3 && !ok; ridge *= 100 {
		copy(f, s.a)
		for i := 0; i < n; i++ {
			f[i*n+i] += ridge * (1 + s.a[i*n+i])
		}
		ok = cholesky(f, n)
	}
	if !ok {
		return nil
	}
	inv := make([]float64, n*n)
	col := make([]float64, n)
	for j := 0; j < n; j++ {
		for i := range col {
			col[i] = 0
		}
		col[j] = 1
		cholSolve(f, n, col)
		for i := range col {
			inv[i*n+j] = col[i]
		}
	}
	return inv
}
