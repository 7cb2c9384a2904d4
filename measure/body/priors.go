package body

import (
	"math"

	"offtype/measure/geom"
)

// Prior standard deviations. They are wide next to what a whole outline says and matter only for
// what no view shows. Those of the profile describe smooth fruit with rounded tips and were set on
// rendered fruit of nine shapes; docs/body.md says what they do to fruit of other kinds.
const (
	tailTip       = 4.0  // scale of the heavy tails of the tips' priors, standard deviations
	tailRest      = 4.0  // the same of the tilt at rest, where lines in the skin tell the tilt
	contactMM     = 0.4  // lowest point above the table, mm
	wiggle        = 0.12 // second difference of the profile's coefficients
	slopeMean     = 7.0  // growth of q from the tips inwards per length
	slopeSpread   = 4.0
	sizeQ         = 3.0   // the profile's coefficients: only to keep them finite
	tipMean       = -0.85 // q at the tips: slimmer than the greatest radius
	tipSpread     = 0.3
	capShare      = 0.12  // share of the length over which a tip is rounded: median
	capSpread     = 0.4   // and standard deviation of its logarithm
	wiggleBend    = 0.15  // second difference of the bends, rad
	sizeBend      = 0.5   // each bend, rad
	flatRiseDeg   = 0.8   // rise at rest of a body on two contacts, degrees
	centroidShare = 0.028 // of the centroid along the body / length: heavy ends, flat spots, a stalk
	ballBulge     = 2.0   // curvature of a ball / its length
	ribDepth      = 0.08  // depth of furrows / radius: mean and standard deviation
	rollDeg       = 3.0   // roll of a bent body's plane
)

// sink takes a residual row: r and row are already divided by sigma, w is a robust weight. row is
// all zero and r alone counts when only the cost is wanted.
type sink func(row []float64, r, w float64)

// heavy is the weight of a prior residual with heavy tails (Student's t): fruit with an odd tip exist.
func heavy(r, scale float64) float64 { return 1 / (1 + r*r/(scale*scale)) }

func zero(row []float64) {
	for i := range row {
		row[i] = 0
	}
}

// priors adds contact, rest, smoothness and size of bends.
func (t *task) priors(m *model, row []float64, grad bool, f sink) {
	t.contact(m, row, grad, f)
	t.restPrior(m, row, f)
	if !grad {
		t.profileCost(m, row, f)
	} else {
		t.profilePrior(m, row, f)
	}
	if i := m.pRib(); m.ribs > 0 {
		zero(row)
		row[i] = 1 / ribDepth
		f(row, (m.p[i]-ribDepth)/ribDepth, 1)
	}
	if !m.bent() {
		return
	}
	zero(row)
	row[pRoll] = 1 / (rollDeg * math.Pi / 180)
	f(row, m.p[pRoll]*row[pRoll], 1)
	b := m.mid.b
	for j := range b {
		zero(row)
		q := row[pProfile+m.nq : m.pRib()]
		q[j] = 1 / sizeBend
		f(row, b[j]/sizeBend, 1)
		q[j] = -2 / wiggleBend
		r := -2 * b[j]
		if j > 0 {
			q[j-1] = 1 / wiggleBend
			r += b[j-1]
		}
		if j+1 < len(b) {
			q[j+1] = 1 / wiggleBend
			r += b[j+1]
		}
		f(row, r/wiggleBend, 1)
	}
}

// contact holds the lowest point on the table.
func (t *task) contact(m *model, row []float64, grad bool, f sink) {
	zero(row)
	z, at := m.lowest()
	if grad {
		// the lowest point is a minimum over the stations: its own motion does not count
		m.lowestGrad(at, 1/contactMM, row)
	}
	f(row, z/contactMM, 1)
}

// profilePrior keeps the profile smooth and its tips like those of fruit.
func (t *task) profilePrior(m *model, row []float64, f sink) {
	c := m.prof.c
	n := len(c)
	q := row[pProfile : pProfile+m.nq]
	for k := range c {
		zero(row)
		q[k] = 1 / sizeQ
		f(row, c[k]/sizeQ, 1)
	}
	wg := wiggle * t.loose
	for k := 1; k < n-1; k++ {
		zero(row)
		q[k-1] = 1 / wg
		q[k+1] = 1 / wg
		q[k] = -2 / wg
		f(row, (c[k-1]+c[k+1]-2*c[k])/wg, 1)
	}
	// the slope of a cubic B-spline at an end knot is (c2 − c0)/2 per interval
	g := float64(n-3) / 2
	for end := range 2 {
		if !t.open(end) {
			continue
		}
		a, b, d := m.knotFrom(end, 0), m.knotFrom(end, 1), m.knotFrom(end, 2)
		zero(row)
		q[d], q[a] = g/slopeSpread, -g/slopeSpread
		r := ((c[d]-c[a])*g - slopeMean) / slopeSpread
		f(row, r, heavy(r, tailTip))
		zero(row)
		q[b] = 1 / tipSpread
		f(row, (c[b]-tipMean)/tipSpread, heavy((c[b]-tipMean)/tipSpread, tailTip))
		zero(row)
		row[pCap0+end] = 1 / capSpread
		f(row, (m.p[pCap0+end]-math.Log(capShare))/capSpread, 1)
	}
	if t.tips != nil {
		t.tipRows(m, row, f)
	}
}

// profileCost is profilePrior without its rows.
func (t *task) profileCost(m *model, row []float64, f sink) {
	c := m.prof.c
	n := len(c)
	sum, wg := 0.0, wiggle*t.loose
	for k, x := range c {
		sum += x * x / (sizeQ * sizeQ)
		if k > 0 && k < n-1 {
			d := (c[k-1] + c[k+1] - 2*x) / wg
			sum += d * d
		}
	}
	g := float64(n-3) / 2
	for end := range 2 {
		if !t.open(end) {
			continue
		}
		d := (m.p[pCap0+end] - math.Log(capShare)) / capSpread
		sum += d * d
		a, b := m.knotFrom(end, 0), m.knotFrom(end, 1)
		for _, r := range [...]float64{((c[m.knotFrom(end, 2)]-c[a])*g - slopeMean) / slopeSpread, (c[b] - tipMean) / tipSpread} {
			f(row, r, heavy(r, tailTip))
		}
	}
	f(row, math.Sqrt(sum), 1)
	if t.tips != nil {
		t.tipRows(m, row, f)
	}
}

// restPrior draws the tilt towards the one at rest: firmly for a body on two contacts, softly for
// one on a round belly, which a flat spot or its stalk may hold anywhere nearby.
func (t *task) restPrior(m *model, row []float64, f sink) {
	zero(row)
	const deg = math.Pi / 180
	if t.upright {
		row[pRise] = 1 / (2.5 * deg)
		f(row, (m.p[pRise]+math.Pi/2)*row[pRise], 1)
		zero(row)
		row[pYaw] = 1 // no meaning when upright: hold it
		f(row, 0, 1)
		zero(row)
		row[pLen] = 1 / (tallSpread * m.p[pLen])
		f(row, math.Log(m.p[pLen]/(tallShare*2*m.prof.rho0))/tallSpread, 1)
		return
	}
	s := m.rest()
	if s.span == 0 {
		return
	}
	spread := s.sd
	if s.bulge > ballBulge { // flatter than a ball: it would topple, did it not rest on a flat of its rim
		spread *= ballBulge * ballBulge / (s.bulge * s.bulge)
	}
	sd := math.Hypot(flatRiseDeg*deg, spread)
	row[pRise] = 1 / sd
	k := math.Pow(math.Cos(s.rise), 2) / s.span / sd
	q := row[pProfile : pProfile+m.nq]
	for e, sign := range [2]float64{1, -1} {
		for i, w := range s.ends[e].w {
			if w > 0 {
				m.prof.addGrad(s.ends[e].t[i], sign*k*w*s.ends[e].rho[i], q)
			}
		}
	}
	r, w := (m.p[pRise]-s.rise)/sd, 1.0
	if len(t.strokes) > 0 { // the lines tell the tilt: a ribbed fruit rests on its ribs, an uneven one anyhow
		w = heavy(r, tailRest)
	}
	f(row, r, w)
}

// pole returns the stem (end 0) or blossom (end 1) end of the middle line and the outward direction.
func (m *model) pole(end int) (p, out geom.Vec3) {
	c, tan := m.centre(float64(end))
	if end == 0 {
		tan = tan.Scale(-1)
	}
	return c, tan
}
