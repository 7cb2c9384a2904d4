package body

import (
	"math"
	"slices"
)

// mostMinima is how many other bodies are kept for comparison.
const mostMinima = 24

// twinShare is how little the lengths and the widths of two bodies differ that are one minimum, share: descents end sooner.
const twinShare = 0.001

// note keeps a body that the outline allows, for alternatives, unless its like is kept.
func (t *task) note(m *model) {
	if len(t.minima) < mostMinima && !slices.ContainsFunc(t.minima, m.twin) {
		t.minima = append(t.minima, m.clone())
	}
}

// twin reports whether two bodies are of one size and kind.
func (m *model) twin(o *model) bool {
	if m.ribs != o.ribs || m.bent() != o.bent() || math.Abs(m.p[pLen]-o.p[pLen]) > twinShare*m.p[pLen] {
		return false
	}
	r, _ := m.broadest()
	s, _ := o.broadest()
	return math.Abs(r-s) <= twinShare*r
}

// alternatives returns the variance of each trait v of m from the other minima that the search came by, each
// weighted by how likely it is next to m: exp(−difference of cost), the outline's share in proportion to its own noise. A length
// counts more, up to where U takes in the farthest.
func (t *task) alternatives(m *model, v []float64) []float64 {
	out := make([]float64, len(v))
	if len(t.minima) == 0 || t.upright {
		return out
	}
	row := make([]float64, 2*knots)
	scaled := func(w *model) float64 {
		t.forget()
		c := t.cost(w, row[:len(w.p)])
		if w.ribs > 0 {
			c += ribOdds(w.ribs)
		}
		return t.share*t.loss + c - t.loss
	}
	ref := scaled(m)
	var traits [][]float64
	var weight []float64
	sum := 1.0
	for _, w := range t.minima {
		d := scaled(w) - ref
		if !(d < 12) {
			continue
		}
		u := w.traits()
		same := false
		for _, x := range traits {
			same = same || math.Abs(x[qLength]-u[qLength]) < 0.003*v[qLength] && math.Abs(x[qWidth]-u[qWidth]) < 0.003*v[qWidth]
		}
		if same || math.Abs(v[qLength]-u[qLength]) < 0.003*v[qLength] && math.Abs(v[qWidth]-u[qWidth]) < 0.003*v[qWidth] {
			continue
		}
		p := math.Exp(-math.Max(0, d))
		traits, weight = append(traits, u), append(weight, p)
		sum += p
	}
	for i, u := range traits {
		for j := range out {
			d := u[j] - v[j]
			out[j] += weight[i] / sum * d * d
		}
	}
	for _, j := range [...]int{qLength, qMidline} { // they are but those that the search came by, yet U need not reach beyond them
		far := 0.0
		for _, u := range traits {
			far = math.Max(far, math.Abs(u[j]-v[j]))
		}
		out[j] = math.Min(otherMinima*out[j], math.Pow(rivalReach*far/2, 2))
	}
	scaled(m)
	return out
}
