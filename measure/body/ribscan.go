package body

import "math"

// ribScan judges ribs on a smooth body without fitting each number of them anew: the smooth parameters answer
// in proportion, by the rows of the smooth body, and only depth and phase are iterated (variable projection).
type ribScan struct {
	rays []*ray // the free ones
	at   []float64
	rows [][]float64 // of the smooth body, multiples of sigma
	w    []float64   // robust weights
	m    *model      // smooth, its greatest radius that of the ridges
	fac  []float64   // Cholesky's factor of the smooth body's normal matrix
	g    []float64   // gradient of the priors
	x    [3][]float64
	y    [3][]float64
}

const (
	scanSteps   = 3    // in depth and phase
	scanPhase   = 0.7  // longest step of the phase, rad
	shallowScan = 0.01 // least depth on the way
)

// newRibScan prepares the scan at a fitted smooth body; nil when that is degenerate.
func (t *task) newRibScan(smooth *model) *ribScan {
	n := len(smooth.p)
	s := &ribScan{m: newModel(smooth.p, smooth.nq, smooth.prof.rho0*(1+ribDepth/4), 0)}
	eq, row := newNormal(n), make([]float64, n)
	t.visitRest(s.m, row, true, eq.add)
	s.g = append(s.g, eq.g...)
	t.forget()
	t.robust = 1
	t.cost(smooth, row)
	c := 2.5 * math.Max(1, t.spread())
	flat := make([]float64, n*len(t.rays))
	for i := range t.rays {
		y := &t.rays[i]
		if !y.free() || y.nose || y.stub {
			continue
		}
		r, ok := t.distance(smooth, y, flat[:n])
		if !ok {
			continue
		}
		w := 1 / (1 + r*r/(c*c))
		eq.add(flat[:n], 0, w)
		s.rays, s.at, s.w, s.rows = append(s.rays, y), append(s.at, y.near), append(s.w, w), append(s.rows, flat[:n:n])
		flat = flat[n:]
	}
	eq.prop()
	if s.fac = eq.a; !cholesky(s.fac, n) {
		return nil
	}
	for k := range s.x {
		s.x[k], s.y[k] = make([]float64, n), make([]float64, n)
	}
	return s
}

// try fits n ribs from a phase and returns the body with the cost that the linear smooth parameters leave.
func (s *ribScan) try(n int, phase float64) candidate {
	np := len(s.m.p)
	m := s.m.ribbed(n, ribDepth, phase)
	near, bow := append([]float64(nil), s.at...), make([]float64, len(s.at))
	depth, turn := &m.p[np], &m.p[np+1]
	for step := 0; ; step++ {
		cost, e := s.solve(m, near, bow, step == 0)
		if step == scanSteps {
			for i := range s.m.p { // the smooth parameters follow
				m.p[i] += s.y[0][i]
			}
			m.update()
			return candidate{m, cost}
		}
		*depth = math.Min(math.Max(*depth+e[0], shallowScan), deepest)
		*turn += math.Max(-scanPhase, math.Min(scanPhase, e[1]))
		m.setRibs()
	}
}

// solve returns the cost of m once the smooth parameters have followed, with the step of depth and phase that
// lessens it most; y[0] becomes the step of the smooth parameters at the present depth and phase.
func (s *ribScan) solve(m *model, near, bow []float64, search bool) (cost float64, e [2]float64) {
	np := len(s.m.p)
	g, b0, b1 := s.x[0], s.x[1], s.x[2]
	copy(g, s.g)
	zero(b0)
	zero(b1)
	d := (m.p[np] - ribDepth) / ribDepth
	cost = d * d / 2
	h := [2]float64{d / ribDepth, 0}
	k00, k01, k11 := 1/(ribDepth*ribDepth), 0.0, 1e-6
	for i, y := range s.rays {
		l := m.line(y.o, y.d)
		if search {
			near[i] = m.ridge(&l, near[i], 2)
		}
		at, curve := m.grazeStraight(&l, near[i], bow[i])
		near[i], bow[i] = at, curve
		sp := m.lookAlong(&l, at)
		sp.settle(sp.grad.Dot(y.d), curve)
		gn := sp.grad.Norm()
		if gn < 1e-9 {
			continue
		}
		k := y.focal / (at * y.zdir) / y.sigma / gn
		r, kd, kp := sp.g*k, sp.dDepth*k, sp.dPhase*k
		w := s.w[i]
		cost += w * r * r / 2
		h[0] += w * kd * r
		h[1] += w * kp * r
		k00 += w * kd * kd
		k01 += w * kd * kp
		k11 += w * kp * kp
		wr, w0, w1 := w*r, w*kd, w*kp
		for j, x := range s.rows[i] {
			g[j] += wr * x
			b0[j] += w0 * x
			b1[j] += w1 * x
		}
	}
	for k := range s.y {
		copy(s.y[k], s.x[k])
		cholSolve(s.fac, np, s.y[k])
	}
	dot := func(a, b []float64) (v float64) {
		for i, x := range a {
			v += x * b[i]
		}
		return v
	}
	cost -= dot(g, s.y[0]) / 2
	h[0] -= dot(b0, s.y[0])
	h[1] -= dot(b1, s.y[0])
	k00 -= dot(b0, s.y[1])
	k01 -= dot(b0, s.y[2])
	k11 -= dot(b1, s.y[2])
	for i := range s.y[0] {
		s.y[0][i] = -s.y[0][i]
	}
	if det := k00*k11 - k01*k01; det > 1e-9*k00*k11 {
		e = [2]float64{-(k11*h[0] - k01*h[1]) / det, -(k00*h[1] - k01*h[0]) / det}
	}
	return cost, e
}

// smooth returns the cost of the smooth body itself, as try counts it.
func (s *ribScan) smooth() float64 {
	cost := 0.0
	for i, y := range s.rays {
		r := y.seen.g * y.focal / (s.at[i] * y.zdir) / y.sigma / y.seen.grad.Norm()
		cost += s.w[i] * r * r / 2
	}
	return cost
}
