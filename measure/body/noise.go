package body

import "math"

const (
	leastSpread = 0.2  // how small, multiples of its stated sigma, an outline's noise is believed to be
	mostLag     = 12   // rays over which errors of the outline may go together
	leastCorr   = 0.05 // correlation that still counts
)

// evidence returns the normal equations at m with the outline's own noise in place of the stated one: its spread
// about the body, and fewer independent points where neighbouring errors go together. The priors stay as
// they are: what they alone hold is not known better because the outline is clean.
func (t *task) evidence(m *model) *normal {
	n := len(m.p)
	row := make([]float64, n)
	t.robust = math.Max(1, t.spread())
	t.forget()
	t.visitRays(m, row, false, func([]float64, float64, float64) {})
	spread := math.Max(leastSpread, t.spread())
	t.share = 1 / (spread * spread * t.together(3*spread))
	t.kept = true
	eq := newNormal(n)
	t.visitRays(m, row, true, func(row []float64, r, w float64) { eq.add(row, r, w*t.share) })
	t.visitRest(m, row, true, eq.add)
	t.kept = false
	eq.prop()
	return eq
}

// together returns how many rays share one independent error: 1 and twice the sum of the correlations between
// the free rays' residuals, those beyond limit clipped.
func (t *task) together(limit float64) float64 {
	res := make([]float64, len(t.rays))
	sum, count := 0.0, 0.0
	for i := range t.rays {
		y := &t.rays[i]
		gn := y.seen.grad.Norm()
		if !y.free() || y.nose || y.stub || gn < 1e-9 {
			res[i] = math.NaN()
			continue
		}
		r := y.seen.g * y.focal / (y.near * y.zdir) / y.sigma / gn
		res[i] = math.Min(math.Max(r, -limit), limit)
		sum += res[i] * res[i]
		count++
	}
	out := 1.0
	for k := 1; k <= mostLag && sum > 0; k++ {
		s, n := 0.0, 0.0
		for i := range res {
			j := (i + k) % len(res)
			if v := res[i] * res[j]; t.rays[i].view == t.rays[j].view && !math.IsNaN(v) {
				s += v
				n++
			}
		}
		rho := s / math.Max(n, 1) * count / sum
		if n < mostLag || rho < leastCorr {
			break
		}
		out += 2 * rho
	}
	return out
}
