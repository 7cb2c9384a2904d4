package body

import "math"

// ribScan judges ribs on a smooth body without fitting each number of them anew: the smooth parameters answer
// in proportion, by the rows of the smooth body, and only depth and phase are iterated (variable projection).
//
// With L·Lᵀ the smooth body's normal matrix, rows and gradients are kept multiplied by L⁻¹: what the smooth parameters
// take off a cost is then a sum of squares, and no equations are solved on the way.
type ribScan struct {
	rays  []scanRay // the free ones
	m     *model    // the body to try on: smooth, its greatest radius that of the ridges, with ribs
	n     int       // its parameters without the ribs
	fac   []float64 // L
	g     []float64 // L⁻¹ · gradient of the priors
	lines float64   // what the lines in the skin cost
	b     [2][]float64
}

// scanRay is a ray as the scan sees it.
type scanRay struct {
	line
	near  float64 // distance where it grazes the smooth body, mm
	scale float64 // residual a mm beside the body at distance 1 mm, multiples of sigma
	w     float64 // robust weight
	r     float64 // residual of the smooth body
	row   []float64
}

// grazing is where a ray comes nearest to a body, mm, and the second derivative of G there; 0: not known.
type grazing struct{ near, bow float64 }

// ribTry is a number of ribs from one phase on.
type ribTry struct {
	scan         *ribScan
	ribs         int
	depth, phase float64
	at           []grazing
	g            []float64  // L⁻¹ · gradient by the smooth parameters
	cost         float64    // once they have followed
	step         [2]float64 // of depth and phase that lessens it most
}

const (
	scanSteps   = 3    // in depth and phase
	scanPhase   = 0.7  // longest step of the phase, rad
	scanNear    = 0.3  // how near the scan comes to the least G, mm
	shallowScan = 0.01 // least depth on the way
	likePhase   = 0.25 // phases nearer than this lead to one body, rad
)

// newRibScan prepares the scan at a fitted smooth body; nil when that is degenerate.
func (t *task) newRibScan(smooth *model) *ribScan {
	n := len(smooth.p)
	base := newModel(smooth.p, smooth.nq, smooth.prof.rho0*(1+ribDepth/4), 0)
	eq, row := newNormal(n), make([]float64, n)
	t.visitRest(base, row, true, eq.add)
	s := &ribScan{m: base.ribbed(fewestRibs, ribDepth, 0), n: n, g: append([]float64(nil), eq.g...), lines: t.linesCost(smooth)}
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
		s.rays = append(s.rays, scanRay{
			line: base.line(y.o, y.d), near: y.near, scale: y.focal / y.zdir / y.sigma, w: w, r: r, row: flat[:n:n],
		})
		flat = flat[n:]
	}
	eq.prop()
	if s.fac = eq.a; !cholesky(s.fac, n) {
		return nil
	}
	cholForward(s.fac, n, s.g)
	for i := range s.rays {
		cholForward(s.fac, n, s.rays[i].row)
	}
	s.b = [2][]float64{make([]float64, n), make([]float64, n)}
	return s
}

// begin returns tries of n ribs from evenly spread phases. Each ray may touch any of a few ridges: it is looked at
// beside each, for all phases at once.
func (s *ribScan) begin(n int) []*ribTry {
	m := s.m
	m.ribs = n
	step := m.ribStep()
	const side = 2 // places to either side
	all := make([]*ribTry, ribPhases)
	var cs, sn [ribPhases]float64
	for k := range all {
		phase := 2 * math.Pi * float64(k) / ribPhases
		sn[k], cs[k] = math.Sincos(phase)
		all[k] = &ribTry{scan: s, ribs: n, depth: ribDepth, phase: phase, at: make([]grazing, len(s.rays)), g: make([]float64, s.n)}
	}
	for i := range s.rays {
		y := &s.rays[i]
		var g [ribPhases][2*side + 1]float64
		for j := range 2*side + 1 {
			l := y.near + step*float64(j-side)
			eta, up := y.y+l*y.dy, y.z+l*y.dz
			r2, _ := m.prof.r2(0.5 + (y.x+l*y.dx)/m.mid.L)
			c, d := m.turn(eta, up)
			for k := range g {
				h := 0.5 - 0.5*(c*cs[k]+d*sn[k])
				rib := 1 - ribDepth*h*h
				g[k][j] = eta*eta + up*up - r2*rib*rib
			}
		}
		for k := range g {
			all[k].at[i] = lowestOf(g[k][:], y.near-side*step, step)
		}
	}
	return all
}

// lowestOf returns where even samples of G, the first at l, are least: the vertex of the parabola through the least
// one and its neighbours where it has two.
func lowestOf(g []float64, l, step float64) grazing {
	j := 0
	for i, v := range g {
		if v < g[j] {
			j = i
		}
	}
	at := grazing{near: l + step*float64(j)}
	if j > 0 && j+1 < len(g) {
		if c := g[j-1] - 2*g[j] + g[j+1]; c > 0 {
			at.near += (g[j-1] - g[j+1]) / (2 * c) * step
			at.bow = c / (step * step)
		}
	}
	return at
}

// solve fills cost, step and g for the present depth and phase. enough: as in grazeWithin.
func (y *ribTry) solve(enough float64) {
	s := y.scan
	m, b0, b1 := s.m, s.b[0], s.b[1]
	m.ribs, m.p[s.n], m.p[s.n+1] = y.ribs, y.depth, y.phase
	m.setRibs()
	copy(y.g, s.g)
	zero(b0)
	zero(b1)
	d := (y.depth - ribDepth) / ribDepth
	cost := d * d / 2
	h := [2]float64{d / ribDepth, 0}
	k00, k01, k11 := 1/(ribDepth*ribDepth), 0.0, 1e-6
	for i := range s.rays {
		q := &s.rays[i]
		r, kd, kp, ok := m.ribResidual(q, &y.at[i], enough)
		if !ok {
			continue
		}
		wr, w0, w1 := q.w*r, q.w*kd, q.w*kp
		cost += wr * r / 2
		h[0] += w0 * r
		h[1] += w1 * r
		k00 += w0 * kd
		k01 += w0 * kp
		k11 += w1 * kp
		g := y.g[:len(q.row)]
		c0, c1 := b0[:len(q.row)], b1[:len(q.row)]
		for j, x := range q.row {
			g[j] += wr * x
			c0[j] += w0 * x
			c1[j] += w1 * x
		}
	}
	for j, g := range y.g {
		cost -= g * g / 2
		h[0] -= b0[j] * g
		h[1] -= b1[j] * g
		k00 -= b0[j] * b0[j]
		k01 -= b0[j] * b1[j]
		k11 -= b1[j] * b1[j]
	}
	y.cost, y.step = cost+ribOdds(y.ribs)+s.lines, [2]float64{}
	if det := k00*k11 - k01*k01; det > 1e-9*k00*k11 {
		y.step = [2]float64{-(k11*h[0] - k01*h[1]) / det, -(k00*h[1] - k01*h[0]) / det}
	}
}

// ribResidual returns by how much a ray passes the ribbed body, multiples of its sigma, and the derivatives by depth and
// phase; at is where it grazed the body last.
func (m *model) ribResidual(q *scanRay, at *grazing, enough float64) (r, byDepth, byPhase float64, ok bool) {
	var s spot
	var f fall
	at.near, at.bow = m.grazeWithin(enough, &q.line, at.near, at.bow, &s, &f)
	s.settle(f.along, at.bow)
	grad := math.Sqrt(f.over*f.over + f.high*f.high + f.tilt*f.tilt)
	if grad < 1e-9 {
		return 0, 0, 0, false
	}
	k := q.scale / at.near / grad
	return s.g * k, s.dDepth * k, s.dPhase * k, true
}

// move takes the step of depth and phase.
func (y *ribTry) move() {
	y.depth = math.Min(math.Max(y.depth+y.step[0], shallowScan), deepest)
	y.phase += math.Max(-scanPhase, math.Min(scanPhase, y.step[1]))
}

// like reports whether two tries came to the same ribs.
func (y *ribTry) like(z *ribTry) bool {
	return y.ribs == z.ribs && math.Abs(math.Remainder(y.phase-z.phase, 2*math.Pi)) < likePhase
}

// body returns the ribbed body, its smooth parameters following.
func (y *ribTry) body() *model {
	s := y.scan
	m := s.m.clone()
	x := append([]float64(nil), y.g...)
	cholBack(s.fac, s.n, x)
	for i, v := range x {
		m.p[i] -= v
	}
	m.ribs, m.p[s.n], m.p[s.n+1] = y.ribs, y.depth, y.phase
	m.update()
	return m
}

// smooth returns the cost of the smooth body itself, as solve counts it.
func (s *ribScan) smooth() float64 {
	cost := s.lines
	for i := range s.rays {
		cost += s.rays[i].w * s.rays[i].r * s.rays[i].r / 2
	}
	return cost
}
