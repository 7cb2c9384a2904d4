package body

import (
	"cmp"
	"math"
	"slices"
)

// ribbedSpread is the outline's spread about a smooth body, in multiples of its sigma, from which on
// ribs are tried.
const ribbedSpread = 0.85

// tryRibs adds ribs to a straight body when the outline is scalloped, and returns the ribbed body
// when it fits clearly better.
func (t *task) tryRibs(smooth *model, starts []candidate, known int) (*model, *normal) {
	if smooth.bent() || known < 0 || (known == 0 && t.spread() < ribbedSpread) {
		return nil, nil
	}
	var best *model
	cost := math.Inf(1)
	tries := 2
	if t.upright { // the ribs of a standing fruit tell its height
		tries = 4
	}
	for _, s := range starts[:min(len(starts), tries)] {
		for _, r := range t.scallops(s.m, known) {
			p := append(append([]float64(nil), s.m.p...), ribDepth, r.phase)
			m := newModel(p, smooth.nq, smooth.prof.rho0*(1+r.mean), r.n) // ridges
			if c := t.descend(m, 8); c < cost {
				best, cost = m, c
			}
		}
	}
	if best == nil {
		return nil, nil
	}
	eq, _ := t.run(best, 15)
	with, without := t.compare(best, smooth)
	if without-with > 10 && best.p[best.pRib()] < 0.3 {
		return best, eq
	}
	return nil, nil
}

// scallop is a guess of ribs.
type scallop struct {
	n     int
	phase float64
	mean  float64 // how much higher than the smooth body the ridges stand / radius
	gain  float64 // part of the residual's square that it explains
}

// scallops looks for waves around the axis in the outline's residuals about a smooth body and returns
// the likeliest few; known > 0 fixes their number.
func (t *task) scallops(m *model, known int) []scallop {
	type dot struct{ th, r float64 }
	var dots []dot
	for i := range t.rays {
		y := &t.rays[i]
		if !y.free() {
			continue
		}
		l, _, s := m.graze(y.o, y.d, math.NaN(), 0)
		if gn := s.grad.Norm(); gn > 1e-9 && l > 0 && s.t > 0.02 && s.t < 0.98 {
			rho := math.Sqrt(math.Max(s.r2, 1))
			dots = append(dots, dot{math.Atan2(s.up, s.eta), s.g / gn / rho})
		}
	}
	lo, hi := 6, 18
	if known > 0 {
		lo, hi = known, known
	}
	var out []scallop
	for n := lo; n <= hi; n++ {
		// least squares of r on 1, cos nθ, sin nθ
		var a [3][4]float64
		for _, d := range dots {
			s, c := math.Sincos(float64(n) * d.th)
			u := [4]float64{1, c, s, d.r}
			for i := 0; i < 3; i++ {
				for j := 0; j < 4; j++ {
					a[i][j] += u[i] * u[j]
				}
			}
		}
		k, ok := solve3(a)
		if !ok {
			continue
		}
		gain := k[0]*a[0][3] + k[1]*a[1][3] + k[2]*a[2][3]
		amp := math.Hypot(k[1], k[2])
		out = append(out, scallop{n: n, phase: math.Atan2(k[2], k[1]), mean: math.Min(0.05, amp), gain: gain})
	}
	slices.SortFunc(out, func(a, b scallop) int { return cmp.Compare(b.gain, a.gain) })
	return out[:min(len(out), 3)]
}
