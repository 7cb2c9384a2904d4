package cluster

import (
	"math"
	"runtime"
	"sync"
)

// sym is a dense square matrix, row by row; small (a trait a row), so plain loops beat a library call.
type sym struct {
	n int
	a []float64
}

func newSym(n int) sym { return sym{n, make([]float64, n*n)} }

func (s sym) at(i, j int) float64     { return s.a[i*s.n+j] }
func (s sym) add(i, j int, v float64) { s.a[i*s.n+j] += v }

func (s sym) clone() sym { return sym{s.n, append([]float64(nil), s.a...)} }

// rank1 adds w·x·xᵀ.
func (s sym) rank1(w float64, x []float64) {
	for i, xi := range x {
		wi := w * xi
		row := s.a[i*s.n : (i+1)*s.n]
		for j, xj := range x {
			row[j] += wi * xj
		}
	}
}

// plus adds w·b.
func (s sym) plus(w float64, b sym) {
	for i, v := range b.a {
		s.a[i] += w * v
	}
}

// cholesky returns the lower factor L of s = L·Lᵀ and ln det s. A matrix that is not positive
// definite gets its diagonal raised until it is.
func (s sym) cholesky() (sym, float64) {
	for lift := 0.0; ; lift = max(1e-10, 10*lift) {
		l := newSym(s.n)
		det, ok := 0.0, true
		for i := 0; i < s.n && ok; i++ {
			for j := 0; j <= i; j++ {
				v := s.at(i, j)
				if i == j {
					v += lift * max(1e-12, math.Abs(v))
				}
				for k := 0; k < j; k++ {
					v -= l.a[i*s.n+k] * l.a[j*s.n+k]
				}
				if i != j {
					l.a[i*s.n+j] = v / l.a[j*s.n+j]
					continue
				}
				if v <= 1e-14*math.Abs(s.at(i, i)) || math.IsNaN(v) {
					ok = false
					break
				}
				l.a[i*s.n+i] = math.Sqrt(v)
				det += math.Log(v)
			}
		}
		if ok || lift > 1e6 {
			return l, det
		}
	}
}

// solveLower overwrites x with L⁻¹·x; the squared length of the result is x'(LLᵀ)⁻¹x.
func (s sym) solveLower(x []float64) {
	for i := range x {
		row := s.a[i*s.n : i*s.n+i]
		v := x[i]
		for k, lk := range row {
			v -= lk * x[k]
		}
		x[i] = v / s.a[i*s.n+i]
	}
}

// solveUpper overwrites x with L⁻ᵀ·x.
func (s sym) solveUpper(x []float64) {
	for i := len(x) - 1; i >= 0; i-- {
		v := x[i]
		for k := i + 1; k < s.n; k++ {
			v -= s.a[k*s.n+i] * x[k]
		}
		x[i] = v / s.a[i*s.n+i]
	}
}

// sub returns the rows and columns idx of s.
func (s sym) sub(idx []int) sym {
	o := newSym(len(idx))
	for i, a := range idx {
		for j, b := range idx {
			o.a[i*o.n+j] = s.at(a, b)
		}
	}
	return o
}

func dot(a, b []float64) float64 {
	v := 0.0
	for i, x := range a {
		v += x * b[i]
	}
	return v
}

// sq is the squared distance of a and b.
func sq(a, b []float64) float64 {
	v := 0.0
	for i, x := range a {
		d := x - b[i]
		v += d * d
	}
	return v
}

// blocks calls f for each of the given number of parts of 0 … n, at the same time when there are several.
func blocks(n, parts int, f func(part, from, to int)) {
	if parts < 2 {
		f(0, 0, n)
		return
	}
	var wg sync.WaitGroup
	for i := range parts {
		wg.Go(func() { f(i, n*i/parts, n*(i+1)/parts) })
	}
	wg.Wait()
}

// each calls do for 0 to n − 1, on all cores: one call must not depend on another.
func each(n int, do func(i int)) {
	blocks(n, min(n, runtime.GOMAXPROCS(0)), func(_, from, to int) {
		for i := from; i < to; i++ {
			do(i)
		}
	})
}

func lgamma(x float64) float64 {
	v, _ := math.Lgamma(x)
	return v
}
