package cluster

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Welch returns Welch's t of the means of x and y (x − y), its degrees of freedom
// (Welch–Satterthwaite) and the two-sided p. NaN when a sample has fewer than two values or no spread.
//
// Source: B. L. Welch, Biometrika 34 (1947) 28–35.
func Welch(x, y []float64) (t, df, p float64) {
	if len(x) < 2 || len(y) < 2 {
		return math.NaN(), math.NaN(), math.NaN()
	}
	mx, vx := stat.MeanVariance(x, nil)
	my, vy := stat.MeanVariance(y, nil)
	a, b := vx/float64(len(x)), vy/float64(len(y))
	t = (mx - my) / math.Sqrt(a+b)
	df = (a + b) * (a + b) / (a*a/float64(len(x)-1) + b*b/float64(len(y)-1))
	if math.IsNaN(t) || math.IsNaN(df) {
		return math.NaN(), math.NaN(), math.NaN()
	}
	return t, df, 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Survival(math.Abs(t))
}

// TailF is the probability that F with d1 and d2 degrees of freedom is above f, exact in the far tail too.
//
//	I(d2/(d2 + d1·f); d2/2, d1/2), I the regularised incomplete beta function
func TailF(f, d1, d2 float64) float64 {
	if !(f > 0) {
		return 1
	}
	return mathext.RegIncBeta(d2/2, d1/2, d2/(d2+d1*f))
}

// Hotelling is the two-sample comparison of mean vectors with pooled covariance.
type Hotelling struct {
	T2, F, D1, D2, P float64
	Distance2        float64 // Mahalanobis D² of the means
}

// HotellingT2 compares the means of the rows of x and y (all of the same length p).
//
//	T² = n₁n₂/(n₁+n₂)·D², F = (n₁+n₂−p−1)/((n₁+n₂−2)·p)·T²
//
// ok is false when there are too few rows or the pooled covariance is singular.
// Source: H. Hotelling, Ann. Math. Stat. 2 (1931) 360–378.
func HotellingT2(x, y [][]float64) (r Hotelling, ok bool) {
	if len(x) == 0 || len(y) == 0 {
		return r, false
	}
	p, n1, n2 := len(x[0]), float64(len(x)), float64(len(y))
	if n1+n2-float64(p)-1 <= 0 {
		return r, false
	}
	group := make([]int, len(x)+len(y))
	for i := range y {
		group[len(x)+i] = 1
	}
	c, _ := centres(append(append([][]float64{}, x...), y...), group)
	s := mat.NewSymDense(p, nil)
	for g, rows := range [][][]float64{x, y} {
		for _, r := range rows {
			for a := range p {
				for b := a; b < p; b++ {
					s.SetSym(a, b, s.At(a, b)+(r[a]-c[g][a])*(r[b]-c[g][b])/(n1+n2-2))
				}
			}
		}
	}
	var ch mat.Cholesky
	if !ch.Factorize(s) {
		return r, false
	}
	d := mat.NewVecDense(p, nil)
	for j := range p {
		d.SetVec(j, c[0][j]-c[1][j])
	}
	var z mat.VecDense
	if err := ch.SolveVecTo(&z, d); err != nil {
		return r, false
	}
	r.Distance2 = mat.Dot(d, &z)
	r.T2 = n1 * n2 / (n1 + n2) * r.Distance2
	r.D1, r.D2 = float64(p), n1+n2-float64(p)-1
	r.F = r.D2 / ((n1 + n2 - 2) * r.D1) * r.T2
	r.P = TailF(r.F, r.D1, r.D2)
	return r, true
}
