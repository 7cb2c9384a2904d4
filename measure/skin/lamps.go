package skin

import (
	"math"

	"offtype/measure/geom"
)

// lamp is a small source: a bulb, a window, the sun. The smooth terms of light blur such a source over half the sky, and
// with it its shine over the whole fruit; in truth the shine is a spot, and the skin beside it shows none.
type lamp struct {
	at    geom.Vec3  // place, mm; unit direction when far
	far   bool       // as good as endlessly far: the sun, the brightest part of the sky
	alpha float64    // roughness of the skin, with the size of the lamp
	power [3]float64 // light on a surface square to it at light.about, in units of the light on the card
}

const (
	mostLamps = 2
	priorLamp = 1.0 // SD of a lamp's power
)

// Priors of the smooth terms beside lamps.
var (
	dimMean = [nSH]float64{.2, 0, 0, .1, 0, 0, 0, 0, 0}
	dimSD   = [nSH]float64{.3, .3, .3, .3, .2, .2, .2, .2, .15}
)

// towards is the unit direction from a place to the lamp.
func (p *lamp) towards(at geom.Vec3) geom.Vec3 {
	if p.far {
		return p.at
	}
	return p.at.Sub(at).Unit()
}

// near is the light of a lamp on a surface square to it at a place, over that at another: the square of the distance, and
// a lamp that shines at the table like a matt panel.
func (p *lamp) near(at, about geom.Vec3) float64 {
	if p.far {
		return 1
	}
	a, b := p.at.Sub(about), p.at.Sub(at)
	return a.Dot(a) / b.Dot(b) * math.Sqrt(max(0, a.Unit().Dot(b.Unit())))
}

// matt is the light on a surface of normal n for power 1.
func (p *lamp) matt(n, at, about geom.Vec3) float64 {
	return max(0, n.Dot(p.towards(at))) * p.near(at, about)
}

// gloss is the shine of a pixel for power 1 and reflectance 1 at normal incidence: the lobe of Trowbridge and Reitz with
// Smith's masking, as in Walter et al., Microfacet Models for Refraction through Rough Surfaces, EGSR 2007 (from memory).
func (p *lamp) gloss(q *pixel, about geom.Vec3) float64 {
	d := p.towards(q.place)
	nl := q.n.Dot(d)
	if nl <= 0 {
		return 0
	}
	v := q.n.Scale(2 * q.facing).Sub(q.refl)
	nh := q.n.Dot(d.Add(v).Unit())
	a2 := p.alpha * p.alpha
	c := nh*nh*(a2-1) + 1
	return p.near(q.place, about) * a2 / (c * c) * masking(nl, a2) * masking(q.facing, a2) / (4 * q.facing)
}

func masking(cos, a2 float64) float64 { return 2 * cos / (cos + math.Sqrt(a2+(1-a2)*cos*cos)) }

// table is the light on the table below a place, in units of that at l.about: the calibration has made it 1.
func (l *light) table(at geom.Vec3) [3]float64 {
	if len(l.lamps) == 0 {
		return [3]float64{1, 1, 1}
	}
	at.Z = 0
	return l.matt(geom.Vec3{Z: 1}, at)
}

// isNear reports whether a lamp stands at a known height.
func (l *light) isNear() bool {
	for i := range l.lamps {
		if !l.lamps[i].far {
			return true
		}
	}
	return false
}

func (l *light) clone() *light {
	c := *l
	c.lamps = append([]lamp(nil), l.lamps...)
	return &c
}

// settle fits the light and the colours of the parts by turns; it returns the cost.
func (l *light) settle(all []lit, rounds int) float64 {
	aim(all, l)
	for range rounds {
		l.solve(all)
		l.rebase(all)
	}
	return l.cost(all)
}

// rebase gives each part the colour that fits the light best.
func (l *light) rebase(all []lit) {
	sum := make([][2][3]float64, partsOf(all))
	for i := range all {
		t := &all[i]
		t.under(l)
		for k := range t.base {
			w := t.weight(k)
			sum[t.part][0][k] += w * t.e[k] * (t.c[k] - t.s[k])
			sum[t.part][1][k] += w * t.e[k] * t.e[k]
		}
	}
	for i := range all {
		s := &sum[all[i].part]
		for k := range all[i].base {
			if s[1][k] > 0 {
				all[i].base[k] = s[0][k] / s[1][k]
			}
		}
	}
}

// cost is half the squared residuals in standard deviations, large ones by size (Huber).
func (l *light) cost(all []lit) float64 {
	v := 0.0
	for i := range all {
		t := &all[i]
		t.under(l)
		for k := range t.base {
			r := math.Abs(t.residual(k)) / t.spreadOf(k)
			if r > huber {
				r = math.Sqrt(huber * (2*r - huber))
			}
			v += t.w * t.w * r * r / 2
		}
	}
	return v
}
