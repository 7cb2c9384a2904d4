package body

import "math"

// mostMinima is how many other bodies are kept for comparison.
const mostMinima = 24

// note keeps a body that the outline allows, for alternatives.
func (t *task) note(m *model) {
	if len(t.minima) < mostMinima {
		t.minima = append(t.minima, m.clone())
	}
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
