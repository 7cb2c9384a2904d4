package body

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"offtype/measure/geom"
)

// talls are the heights / widths from which a standing body is fitted.
var talls = [...]float64{0.5, 0.8, 1.15, 1.6}

// Every number of ribs is fitted to a standing fruit for ribSteps steps from each height, on a thinned outline, as many
// more from the best heightsKept of them, and the best standingKept of all to the end. The waves of the flat outline alone
// do not tell the number: seen at a slant of 30° the true one came eighth and fifth of the eleven.
const (
	ribSteps     = 8
	heightsKept  = 2
	standingKept = 6
)

// wave is a harmonic of the radius around a standing fruit: n ridges, the first at phase.
type wave struct {
	n                int
	amplitude, phase float64 // amplitude / mean radius; rad
}

// leanHarmonics are the harmonics of the radius that a smooth standing body has: off its middle, oval, leaning.
const leanHarmonics = 3

// scallops returns the harmonics of the outline's radius, laid flat at the upright body's middle, that ribs may be. Only
// the fruit's own edge counts, so that no stalk passes for a rib. known: only that number.
func scallops(m *model, v *View, known int) []wave {
	lo, hi := fewestRibs, mostRibs
	if known > 0 {
		lo, hi = known, known
	}
	r, a := radii(m, v)
	const n0 = 1 + 2*leanHarmonics
	if len(r) < 4*n0 {
		return nil
	}
	x, y := mat.NewDense(len(r), n0+2, nil), mat.NewVecDense(len(r), r)
	for i, a := range a {
		x.Set(i, 0, 1)
		for k := 1; k <= leanHarmonics; k++ {
			s, c := math.Sincos(float64(k) * a)
			x.Set(i, 2*k-1, c)
			x.Set(i, 2*k, s)
		}
	}
	var all []wave
	for n := lo; n <= hi; n++ {
		for i, a := range a {
			s, c := math.Sincos(float64(n) * a)
			x.Set(i, n0, c)
			x.Set(i, n0+1, s)
		}
		var p mat.VecDense
		if p.SolveVec(x, y) == nil {
			c, s := p.AtVec(n0), p.AtVec(n0+1)
			all = append(all, wave{n, math.Hypot(c, s) / p.AtVec(0), math.Atan2(s, c)})
		}
	}
	return all
}

// radii returns distance, mm, and direction, rad, about the upright body's axis of the fruit's own edge, laid flat at
// the body's middle.
func radii(m *model, v *View) (r, a []float64) {
	pts := geom.Resample(v.Outline, planPoints)
	for i, e := range nearestEdges(v, pts) {
		if e != geom.EdgeFree {
			continue
		}
		p, ok := v.Camera.OnPlane(pts[i], m.fr.o.Z)
		if !ok {
			continue
		}
		d := p.Sub(m.fr.o)
		x, y := d.Dot(m.fr.n), d.Dot(m.fr.b)
		r, a = append(r, math.Hypot(x, y)), append(a, math.Atan2(y, x))
	}
	return r, a
}

// standingRibs fits ribbed standing bodies, begun from the scallops of the flat outline at several heights, and returns
// the best when it fits clearly better than the smooth one. A smooth body leans into the scallops and takes a height
// that has little to do with the fruit's.
func (t *task) standingRibs(flat *plan, smooth *model, main, known int) *model {
	if known < 0 || known == 0 && t.loss < ribbedLoss {
		return nil
	}
	round := flat.stand()
	eye := t.eyes[0]
	whole := t.thin()
	var all []candidate
	for _, w := range scallops(round, &t.views[main], known) {
		p := append(append([]float64(nil), round.p...), math.Min(2*w.amplitude, 0.8*deepest), w.phase)
		var high []candidate
		for _, tall := range talls {
			m := newModel(p, round.nq, round.prof.rho0*(1+w.amplitude), w.n)
			m.stretch(eye, tall*2*round.prof.rho0)
			if c := t.descend(m, ribSteps); !math.IsNaN(c) {
				high = append(high, candidate{m, c})
			}
		}
		slices.SortFunc(high, byCost)
		for _, h := range high[:min(len(high), heightsKept)] {
			h.m.turnRibs()
			if c := t.descend(h.m, ribSteps); !math.IsNaN(c) {
				all = append(all, candidate{h.m, c + ribOdds(w.n)})
			}
		}
	}
	t.rays = whole
	slices.SortFunc(all, byCost)
	all = all[:min(len(all), standingKept)]
	for i := range all {
		all[i].m.turnRibs()
		t.descend(all[i].m, 20)
	}
	return t.ribsIf(t.cheapest(all), smooth)
}

// cheapest returns the body that costs least, its number of ribs counted in, at the robust scale of the one that
// follows the outline most closely; nil without any.
func (t *task) cheapest(all []candidate) *model {
	scale := math.Inf(1)
	costs := func() []float64 {
		c := make([]float64, len(all))
		for i := range all {
			m := all[i].m
			t.forget()
			c[i] = t.cost(m, make([]float64, len(m.p))) + ribOdds(m.ribs)
			scale = math.Min(scale, t.spread())
		}
		return c
	}
	t.robust = 1
	costs()
	t.robust = math.Max(1, scale)
	var best *model
	least := math.Inf(1)
	for i, c := range costs() {
		if c < least {
			best, least = all[i].m, c
		}
	}
	return best
}

// stand makes a round standing body of the flat outline, its stem end up.
func (p *plan) stand() *model {
	m := p.begin(0)
	r := 0.0
	for i, a := range p.pts {
		b := p.pts[(i+1)%len(p.pts)]
		r += a.Sub(p.mid).Cross(b.Sub(p.mid)).Z / 2
	}
	m.prof.rho0 = math.Sqrt(math.Abs(r) / math.Pi)
	m.p[pX], m.p[pY], m.p[pZ] = p.mid.X, p.mid.Y, p.z
	m.p[pRise] = -math.Pi / 2
	m.p[pLen] = 2 * p.z
	for k := 0; k < m.nq; k++ {
		m.p[pProfile+k] = 0
	}
	m.p[pCap0], m.p[pCap1] = math.Log(0.49), math.Log(0.49)
	m.update()
	return m
}

// stretch gives a standing body another height, mm; its middle moves along the line of sight from the eye, and its radii
// with the distance, so that it looks alike from there.
func (m *model) stretch(eye geom.Vec3, height float64) {
	nearer := (eye.Z - height/2) / (eye.Z - m.p[pZ])
	m.p[pX] = eye.X + (m.p[pX]-eye.X)*nearer
	m.p[pY] = eye.Y + (m.p[pY]-eye.Y)*nearer
	m.p[pZ], m.p[pLen] = height/2, height
	for k := 0; k < m.nq; k++ {
		m.p[pProfile+k] += math.Log(nearer)
	}
	m.update()
}
