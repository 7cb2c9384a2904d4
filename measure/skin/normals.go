package skin

import "math"

// mostTerms is the number of terms of one channel of the light: the smooth ones and the lamps.
const mostTerms = nSH + mostLamps

// terms are a number for each term of the light.
type terms [mostTerms]float64

// normals are the normal equations of the first n terms, channel by channel; of a, the upper triangle.
type normals struct {
	n int
	a [3][mostTerms]terms
	g [3]terms
}

// add adds w·(row·x − y)² to channel k.
func (m *normals) add(k int, row *terms, y, w float64) {
	n := min(m.n, mostTerms)
	for i := range n {
		v := w * row[i]
		m.g[k][i] += v * y
		a := &m.a[k][i]
		for j := i; j < n; j++ {
			a[j] += v * row[j]
		}
	}
}

// prior is what is known of the terms beforehand.
type prior struct {
	mean, sd terms
	tint     float64 // SD of a channel's terms about the grey ones
	up       terms   // the light on the card, which is 1
}

// onCard is the weight with which the light on the card is held.
const onCard = 1e8

// solve returns the terms of each channel; ok is false when the equations have no solution.
//
// The unknowns are grey terms and what each channel's differ from them by. The channels meet in the grey terms only, so
// that each channel's differences can be taken out of the equations on their own.
func (m *normals) solve(p *prior) (x [3]terms, ok bool) {
	n := m.n
	var grey square
	var rhs terms
	for i := range n {
		w := 1 / (p.sd[i] * p.sd[i])
		rhs[i] = w*p.mean[i] + onCard*p.up[i]
		grey[i][i] = w
		for j := range i + 1 {
			grey[i][j] += onCard * p.up[i] * p.up[j]
		}
	}
	var root [3]square // of the equations of the differences
	var rest [3]square // what the grey terms have in them; row: grey term
	var own [3]terms
	for k := range root {
		l, c := &root[k], &rest[k]
		for i := range n {
			for j := range i + 1 {
				v := m.a[k][j][i]
				grey[i][j] += v
				c[i][j], c[j][i] = v, v
				l[i][j] = v + onCard*p.up[i]*p.up[j]
			}
			l[i][i] += 1 / (p.tint * p.tint)
			rhs[i] += m.g[k][i]
		}
		if !l.factor(n) {
			return x, false
		}
		own[k] = m.g[k]
		l.forward(n, &own[k])
		for i := range n {
			l.forward(n, &c[i])
		}
		for i := range n {
			rhs[i] -= dot(n, &c[i], &own[k])
			for j := range i + 1 {
				grey[i][j] -= dot(n, &c[i], &c[j])
			}
		}
	}
	if !grey.factor(n) {
		return x, false
	}
	grey.forward(n, &rhs)
	grey.back(n, &rhs)
	for k := range x {
		d := own[k]
		for i := range n {
			for j := range n {
				d[j] -= rest[k][i][j] * rhs[i]
			}
		}
		root[k].back(n, &d)
		for i := range n {
			x[k][i] = rhs[i] + d[i]
		}
	}
	return x, true
}

// square is a small matrix of which n rows and columns are used.
type square [mostTerms]terms

// factor turns the lower triangle into its Cholesky factor; ok is false when it is not positive definite.
func (l *square) factor(n int) (ok bool) {
	for i := range n {
		for j := range i {
			l[i][j] = (l[i][j] - dot(j, &l[i], &l[j])) / l[j][j]
		}
		v := l[i][i] - dot(i, &l[i], &l[i])
		if !(v > 0) {
			return false
		}
		l[i][i] = math.Sqrt(v)
	}
	return true
}

// forward solves L·y = x in place, back Lᵀ·y = x.
func (l *square) forward(n int, x *terms) {
	for i := range n {
		x[i] = (x[i] - dot(i, &l[i], x)) / l[i][i]
	}
}

func (l *square) back(n int, x *terms) {
	for i := n - 1; i >= 0; i-- {
		x[i] /= l[i][i]
		for j := range i {
			x[j] -= l[i][j] * x[i]
		}
	}
}

// dot is the sum of the first n products.
func dot(n int, a, b *terms) (v float64) {
	for i := range min(n, mostTerms) {
		v += a[i] * b[i]
	}
	return v
}
