package body

import (
	"cmp"
	"math"
	"slices"

	"offtype/measure/geom"
)

// talls are the heights / widths from which a standing body is fitted.
var talls = [...]float64{0.5, 0.8, 1.15, 1.6}

// numbersTried is how many numbers of ribs of a standing fruit are fitted: of six on one
// table the true one was first for five and third for one.
const numbersTried = 4

// wave is a harmonic of the radius around a standing fruit: n ridges, the first at phase.
type wave struct {
	n                int
	amplitude, phase float64 // amplitude / mean radius; rad
}

// scallops returns the harmonics of the flat outline's radius about the upright body's axis that ribs may be, the
// greatest first. known: only that number.
func scallops(m *model, flat *plan, known int) []wave {
	lo, hi := fewestRibs, mostRibs
	if known > 0 {
		lo, hi = known, known
	}
	c, s := make([]float64, hi+1), make([]float64, hi+1)
	sum := 0.0
	for i, p := range flat.pts {
		q := flat.pts[(i+1)%len(flat.pts)]
		d, e := p.Add(q).Scale(0.5).Sub(flat.mid), q.Sub(p)
		x, y := d.Dot(m.fr.n), d.Dot(m.fr.b)
		r := math.Hypot(x, y)
		if r == 0 {
			continue
		}
		turn := math.Abs(x*e.Dot(m.fr.b)-y*e.Dot(m.fr.n)) / (r * r) // the angle that the step subtends
		a := math.Atan2(y, x)
		sum += r * turn
		for n := lo; n <= hi; n++ {
			sn, cn := math.Sincos(float64(n) * a)
			c[n] += r * turn * cn
			s[n] += r * turn * sn
		}
	}
	var all []wave
	for n := lo; n <= hi && sum > 0; n++ {
		all = append(all, wave{n, 2 * math.Hypot(c[n], s[n]) / sum, math.Atan2(s[n], c[n])})
	}
	slices.SortFunc(all, func(a, b wave) int { return cmp.Compare(b.amplitude, a.amplitude) })
	return all[:min(len(all), numbersTried)]
}

// standingRibs fits ribbed standing bodies, begun from the scallops of the flat outline at several heights, and returns
// the best when it fits clearly better than the smooth one. A smooth body leans into the scallops and takes a height
// that has little to do with the fruit's.
func (t *task) standingRibs(flat *plan, smooth *model, known int) *model {
	if known < 0 || known == 0 && t.loss < ribbedLoss {
		return nil
	}
	round := flat.stand()
	eye := t.eyes[0]
	var all []*model
	for _, w := range scallops(round, flat, known) {
		p := append(append([]float64(nil), round.p...), math.Min(2*w.amplitude, 0.8*deepest), w.phase)
		for _, tall := range talls {
			m := newModel(p, round.nq, round.prof.rho0*(1+w.amplitude), w.n)
			m.stretch(eye, tall*2*round.prof.rho0)
			if c := t.descend(m, 20); !math.IsNaN(c) {
				all = append(all, m)
			}
		}
	}
	return t.ribsIf(t.cheapest(all), smooth)
}

// cheapest returns the body that costs least, its number of ribs counted in, at the robust scale of the one that
// follows the outline most closely; nil without any.
func (t *task) cheapest(all []*model) *model {
	scale := math.Inf(1)
	costs := func() []float64 {
		c := make([]float64, len(all))
		for i, m := range all {
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
			best, least = all[i], c
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
