package cluster

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// draw fills the tree and the trait-space picture. Both use distances in standard deviations of a
// fruit of one type, over all traits together.
func (h *harvest) draw(t Table, res *Result, m *model) {
	y := make([][]float64, len(h.x))
	for i, r := range h.x {
		y[i] = slices.Clone(r)
		m.low.solveLower(y[i])
	}
	res.Tree = Ward(y, nil)
	res.Projection = make([][2]float64, len(y))
	dirs := h.directions(y, res.Members)
	for d, v := range dirs {
		for i := range y {
			res.Projection[i][d] = dot(y[i], v)
		}
		res.Axes[d] = h.axisTraits(t, res, d)
	}
}

// directions returns two orthogonal directions in whitened coordinates: first those that spread the
// group centres (discriminant directions), then those that spread the fruit (principal components).
func (h *harvest) directions(y [][]float64, ms []Member) [2][]float64 {
	p := h.p
	s := mat.NewSymDense(p, nil)
	k := 0
	for _, m := range ms {
		k = max(k, m.Group)
	}
	mean := make([]float64, p)
	c, n := make([][]float64, k), make([]float64, k)
	for i := range c {
		c[i] = make([]float64, p)
	}
	for i, r := range y {
		n[ms[i].Group-1]++
		for j, v := range r {
			mean[j] += v / float64(len(y))
			c[ms[i].Group-1][j] += v
		}
	}
	d := make([]float64, p)
	outer := func(w float64) {
		for a := range d {
			for b := a; b < p; b++ {
				s.SetSym(a, b, s.At(a, b)+w*d[a]*d[b])
			}
		}
	}
	for g := range c {
		for j := range d {
			d[j] = c[g][j]/max(1, n[g]) - mean[j]
		}
		outer(1)
	}
	for _, r := range y {
		for j := range d {
			d[j] = r[j] - mean[j]
		}
		outer(1e-3 / float64(len(y)))
	}
	var e mat.EigenSym
	out := [2][]float64{make([]float64, p), make([]float64, p)}
	if !e.Factorize(s, true) {
		return out
	}
	var v mat.Dense
	e.VectorsTo(&v)
	for d := range min(2, p) {
		mat.Col(out[d], p-1-d, &v)
		at := 0 // the largest entry is positive, so that the picture does not flip
		for j := range p {
			if math.Abs(out[d][j]) > math.Abs(out[d][at])+1e-9 {
				at = j
			}
		}
		if out[d][at] < 0 {
			for j := range out[d] {
				out[d][j] = -out[d][j]
			}
		}
	}
	return out
}

// axisTraits names up to three traits that go with direction d of the picture, strongest first.
func (h *harvest) axisTraits(t Table, res *Result, d int) []string {
	type link struct {
		j int
		r float64
	}
	var ls []link
	px := make([]float64, len(h.x))
	col := make([]float64, len(h.x))
	for i := range px {
		px[i] = res.Projection[i][d]
	}
	for a, j := range h.cols {
		for i := range col {
			col[i] = h.x[i][a]
		}
		ls = append(ls, link{j, correlation(px, col)})
	}
	slices.SortStableFunc(ls, func(a, b link) int {
		switch {
		case math.Abs(a.r) > math.Abs(b.r):
			return -1
		case math.Abs(a.r) < math.Abs(b.r):
			return 1
		}
		return 0
	})
	var out []string
	for _, l := range ls {
		if len(out) == 3 || math.Abs(l.r) < 0.5 {
			break
		}
		tr := t.Traits[l.j]
		word := tr.More
		if l.r < 0 {
			word = tr.Less
		}
		if word == "" {
			word = tr.Label
		}
		out = append(out, word)
	}
	return out
}

func correlation(x, y []float64) float64 {
	n := float64(len(x))
	mx, my := 0.0, 0.0
	for i := range x {
		mx += x[i] / n
		my += y[i] / n
	}
	var sxy, sxx, syy float64
	for i := range x {
		sxy += (x[i] - mx) * (y[i] - my)
		sxx += (x[i] - mx) * (x[i] - mx)
		syy += (y[i] - my) * (y[i] - my)
	}
	if sxx*syy == 0 {
		return 0
	}
	return sxy / math.Sqrt(sxx*syy)
}
