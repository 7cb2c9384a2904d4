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

// beam is a lamp with what is the same for all places.
type beam struct {
	*lamp
	axis geom.Vec3 // unit, from light.about to it
	d2   float64   // its distance from there, squared
}

// over prepares a lamp whose power is told at about.
func (p *lamp) over(about geom.Vec3) beam {
	a := p.at.Sub(about)
	return beam{p, a.Unit(), a.Dot(a)}
}

// reach returns the unit direction from a place to the lamp, and its light on a surface square to it there over that at
// light.about: the square of the distance, and a lamp that shines at the table like a matt panel.
func (b *beam) reach(at geom.Vec3) (towards geom.Vec3, near float64) {
	if b.far {
		return b.at, 1
	}
	d := b.at.Sub(at)
	d2 := d.Dot(d)
	d = d.Scale(1 / math.Sqrt(d2))
	return d, b.d2 / d2 * math.Sqrt(max(0, b.axis.Dot(d)))
}

// on returns what the lamp gives a pixel for power 1: matt light, shine at reflectance 1, and matt light on the table
// below it.
func (b *beam) on(q *pixel) (matt, gloss, table float64) {
	below := q.place
	below.Z = 0
	d, near := b.reach(q.place)
	down, nearBelow := b.reach(below)
	return max(0, q.n.Dot(d)) * near, near * b.lobe(q, d), max(0, down.Z) * nearBelow
}

// matt is the light on a surface of normal n for power 1.
func (p *lamp) matt(n, at, about geom.Vec3) float64 {
	b := p.over(about)
	d, near := b.reach(at)
	return max(0, n.Dot(d)) * near
}

// lobe is the shine of a pixel lit from direction d with power 1, at reflectance 1 at normal incidence: the lobe of
// Trowbridge and Reitz with Smith's masking, as in Walter et al., Microfacet Models for Refraction through Rough
// Surfaces, EGSR 2007 (from memory).
func (p *lamp) lobe(q *pixel, d geom.Vec3) float64 {
	nl := q.n.Dot(d)
	if nl <= 0 {
		return 0
	}
	// With v = 2·facing·n − refl towards the camera, the half vector is (d + v)/|d + v|, of squared length 2 + 2d·v.
	nh := nl + q.facing
	nh2 := nh * nh / max(1e-12, 2+4*q.facing*nl-2*d.Dot(q.refl))
	a2 := p.alpha * p.alpha
	c := nh2*(a2-1) + 1
	return a2 / (c * c) * masking(nl, a2) * masking(q.facing, a2) / (4 * q.facing)
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
	l.see(all)
	sum := make([]colourSum, partsOf(all))
	for range rounds {
		l.solve(all)
		l.see(all)
		rebase(all, sum)
	}
	return cost(all, math.Inf(1))
}

// colourSum gathers what the pixels of a part say of its colour: w·e·(c − s) and w·e².
type colourSum [2][3]float64

// rebase gives each part the colour that fits best the light that the pixels have seen; sum holds one entry a part, of
// any value.
func rebase(all []lit, sum []colourSum) {
	clear(sum)
	for i := range all {
		t := &all[i]
		s := &sum[t.part]
		for k := range t.base {
			w := t.weight(k) * t.e[k]
			s[0][k] += w * (t.c[k] - t.s[k])
			s[1][k] += w * t.e[k]
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

// cost is half the squared residuals in standard deviations under the light that the pixels have seen, large ones by size
// (Huber); infinite as soon as it reaches limit.
func cost(all []lit, limit float64) float64 {
	v := 0.0
	for i := range all {
		t := &all[i]
		u := 0.0
		for k := range t.base {
			r := math.Abs(t.residual(k)) / t.spreadOf(k)
			if r > huber {
				u += huber * (2*r - huber)
			} else {
				u += r * r
			}
		}
		if v += t.w * t.w * u / 2; v >= limit {
			return math.Inf(1)
		}
	}
	return v
}
