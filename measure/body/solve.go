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
		rj := a[j*n : j*n+j+1]
		d := rj[j]
		for _, x := range rj[:j] {
			d -= x * x
		}
		if !(d > 0) {
			return false
		}
		d = math.Sqrt(d)
		rj[j] = d
		for i := j + 1; i < n; i++ {
			ri := a[i*n : i*n+j+1]
			s := ri[j]
			for k, x := range rj[:j] {
				s -= ri[k] * x
			}
			ri[j] = s / d
		}
	}
	return true
}

// cholSolve solves with the factor of cholesky; b becomes the solution.
func cholSolve(a []float64, n int, b []float64) {
	cholForward(a, n, b)
	cholBack(a, n, b)
}

// cholForward makes b L⁻¹·b, with L the factor of cholesky; cholBack makes it L⁻ᵀ·b.
func cholForward(a []float64, n int, b []float64) {
	for i := 0; i < n; i++ {
		r, v := a[i*n:i*n+i+1], b[i]
		for k, x := range b[:i] {
			v -= r[k] * x
		}
		b[i] = v / r[i]
	}
}

func cholBack(a []float64, n int, b []float64) {
	for i := n - 1; i >= 0; i-- { // row by row: a column at a time misses the cache
		r := a[i*n : i*n+i+1]
		b[i] /= r[i]
		for k, v := range r[:i] {
			b[k] -= v * b[i]
		}
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

// promise returns by how much a step x of step's would lessen the cost if the rows were all there is to it.
func (s *normal) promise(lambda float64, x []float64) float64 {
	v := 0.0
	for i, d := range x {
		v += d * (lambda*s.a[i*s.n+i]*d - s.g[i])
	}
	return v / 2
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
