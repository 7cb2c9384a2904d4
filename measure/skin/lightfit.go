package skin

import (
	"math"
	"sort"

	"offtype/measure/geom"
)

// lit is a pixel in the fit of the light.
type lit struct {
	q      *pixel
	fn, fr [nSH]float64
	lm, lg [mostLamps]float64 // the lamps' terms for power 1: matt and gloss (aim)
	lu     [mostLamps]float64 // and matt on the table below
	part   int                // number of its part among all of the photo
	base   [3]float64         // reflectance of its part
	w      float64
	e, s   [3]float64 // matt and gloss under the present light
	fresn  float64
	c      [3]float64 // of the pixel, by the light of the table at l.about
}

// aim fills what depends on where the lamps stand.
func aim(all []lit, l *light) {
	for i := range l.lamps {
		aimOne(all, l, i)
	}
}

// aimOne is aim for lamp i.
func aimOne(all []lit, l *light, i int) {
	b := l.lamps[i].over(l.about)
	for j := range all {
		t := &all[j]
		t.lm[i], t.lg[i], t.lu[i] = b.on(t.q)
	}
}

// see fills what depends on the light, of which the lamps stand where aim saw them.
func (l *light) see(all []lit) {
	for i := range all {
		all[i].under(l)
	}
}

// under is see for one pixel: light.table, matt and gloss.
func (t *lit) under(l *light) {
	t.fresn = fresnel(l.f0, t.q.facing)
	t.c = t.q.c
	t.e, t.s = sumsOf(&l.mattL, &t.fn), sumsOf(&l.glossL, &t.fr)
	if len(l.lamps) == 0 {
		for k := range t.e {
			t.e[k] = max(0.05, t.e[k])
			t.s[k] = t.fresn * max(0, t.s[k])
		}
		return
	}
	c := l.up
	for k := range t.s {
		t.s[k] = max(0, t.s[k])
	}
	for i := range l.lamps {
		p := &l.lamps[i].power
		for k := range p {
			c[k] += t.lu[i] * p[k]
			t.e[k] += t.lm[i] * p[k]
			t.s[k] += t.lg[i] * p[k]
		}
	}
	for k := range c {
		t.c[k] *= max(0.05, c[k])
		t.e[k] = max(0.05, t.e[k])
		t.s[k] *= t.fresn
	}
}

// fitLight estimates the light from all fruit of a photo by alternating three linear steps, rounds times from l: the
// colour of each part of each fruit, the light, and the strength of shine. The parts are found again every other round.
func fitLight(skins []*patchwork, l *light, rounds int) *light {
	all := make([]lit, 0, lightN*len(skins))
	for it := 0; it < rounds; it++ {
		all = all[:0]
		all = gather(skins, l, all, it%2 == 0)
		if len(all) < 60 {
			return l
		}
		aim(all, l)
		l.see(all)
		l.solve(all)
		l.see(all)
		l.solveShine(all)
	}
	return l
}

// gather lists the pixels that tell the light, with the colours of their parts, found anew or not.
func gather(skins []*patchwork, l *light, all []lit, anew bool) []lit {
	if all == nil {
		all = make([]lit, 0, (lightN+1)*len(skins))
	}
	parts, fixed := 0, l.view()
	for _, s := range skins {
		if len(s.px) < leastLit {
			continue
		}
		v := fixed
		if anew {
			v = s.unshade(l)
			s.split()
		}
		n := len(all)
		all = s.toLight(v, all)
		for i := n; i < len(all); i++ {
			all[i].part += parts
		}
		parts += s.parts
	}
	return all
}

// resplit finds the parts anew, of the fruit that gather takes.
func resplit(skins []*patchwork, l *light) {
	for _, s := range skins {
		if len(s.px) >= leastLit {
			s.unshade(l)
			s.split()
		}
	}
}

// leastLit: fruit with fewer samples say nothing of the light.
const leastLit = 40

// toLight adds up to lightN pixels of a fruit with the colour of their part.
func (s *patchwork) toLight(l *view, all []lit) []lit {
	base := s.partColours(l)
	stride := float64(len(s.px)) / lightN
	if stride < 1 {
		stride = 1
	}
	n := len(all)
	for f := 0.0; int(f) < len(s.px); f += stride {
		q := &s.px[int(f)]
		if q.part < 0 || q.cut || q.n.Z < -0.1 || q.facing < litFacing {
			continue
		}
		all = append(all, lit{q: q, fn: phi(q.n), fr: phi(q.refl), part: q.part, base: base[q.part], w: 1})
	}
	// Every fruit counts as about 60 independent pixels.
	w := math.Sqrt(60 / math.Max(60, float64(len(all)-n)))
	for i := n; i < len(all); i++ {
		all[i].w = w
	}
	return all
}

// solve fits the light to the pixels, which it has seen, with their parts' colours given.
func (l *light) solve(all []lit) {
	m := normals{n: nSH + len(l.lamps)}
	own := make([]ownColour, 3*partsOf(all))
	var matt, gloss, row terms
	for i := range all {
		t := &all[i]
		for j := range nSH {
			matt[j], gloss[j] = mattOf[j]*t.fn[j], t.fresn*glossOf[j]*t.fr[j]
		}
		for j := range l.lamps {
			matt[nSH+j], gloss[nSH+j] = t.lm[j], t.fresn*t.lg[j]
		}
		for k := range t.base {
			w := t.weight(k)
			for j := range m.n {
				row[j] = t.base[k]*matt[j] + gloss[j]
			}
			m.add(k, &row, t.c[k], w)
			own[3*t.part+k].add(m.n, &row, t.e[k], t.c[k], w)
		}
	}
	for i := range own {
		if o := &own[i]; o.ee > 0 {
			m.add(i%3, &o.er, o.ec, -1/o.ee)
		}
	}
	l.take(&m)
}

// take sets the light to what solves the equations; it stays when nothing does.
func (l *light) take(m *normals) {
	p := prior{tint: priorTint}
	up := phi(geom.Vec3{Z: 1})
	for j := range nSH {
		p.mean[j], p.sd[j], p.up[j] = priorMean[j], priorSD[j], mattOf[j]*up[j]
		if len(l.lamps) > 0 {
			p.mean[j], p.sd[j] = dimMean[j], dimSD[j]
		}
	}
	for j := range l.lamps {
		p.sd[nSH+j], p.up[nSH+j] = priorLamp, l.lamps[j].matt(geom.Vec3{Z: 1}, l.about, l.about)
	}
	x, ok := m.solve(&p)
	if !ok {
		return
	}
	for k := range x {
		for j := range nSH {
			l.l[j][k] = x[k][j]
		}
		for j := range l.lamps {
			l.lamps[j].power[k] = x[k][nSH+j]
		}
	}
	l.prepare()
}

// ownColour gathers what a part's own colour, free in each channel, takes out of the equations of the light.
type ownColour struct {
	ee, ec float64
	er     terms
}

func (o *ownColour) add(n int, row *terms, e, c, w float64) {
	o.ee += w * e * e
	o.ec += w * e * c
	for j := range min(n, mostTerms) {
		o.er[j] += w * e * row[j]
	}
}

// residual is what the model leaves of channel k of a pixel.
func (t *lit) residual(k int) float64 { return t.c[k] - t.base[k]*t.e[k] - t.s[k] }

// partsOf is the number of parts that the pixels belong to.
func partsOf(all []lit) int {
	n := 0
	for i := range all {
		n = max(n, all[i].part+1)
	}
	return n
}

// spreadOf is the standard deviation of channel k of a pixel about the model.
func (t *lit) spreadOf(k int) float64 { return relNoise * (max(0, t.base[k])*t.e[k] + 0.02) }

// weight is that of channel k of a pixel in the fit (Huber).
func (t *lit) weight(k int) float64 {
	sd := t.spreadOf(k)
	w := t.w * t.w / (sd * sd)
	if r := math.Abs(t.residual(k)) / sd; r > huber {
		w *= huber / r
	}
	return w
}

// huber: residuals above it, in standard deviations, count by their size, not its square.
const huber = 1.5

// solveShine fits f0 to pixels that have been seen: within a part the colour is free, so only what shine changes across it counts.
func (l *light) solveShine(all []lit) {
	type key struct{ base [3]float64 }
	groups := map[key][]*lit{}
	var order []key
	for i := range all {
		k := key{all[i].base}
		if groups[k] == nil {
			order = append(order, k)
		}
		groups[k] = append(groups[k], &all[i])
	}
	sort.SliceStable(order, func(i, j int) bool { return order[i].base[0] < order[j].base[0] })
	num, den := priorF0/(sdF0*sdF0), 1/(sdF0*sdF0)
	for _, k := range order {
		for c := 0; c < 3; c++ {
			// regress c on E and S/f0 with weights; keep the part of S that E does not explain
			var ee, es, ec, ss, sc float64
			for _, t := range groups[k] {
				e := t.e[c]
				s := t.s[c] / t.fresn
				extra := (t.fresn - l.f0) * s
				y := t.c[c] - extra
				sd := 3 * relNoise * (max(0, t.base[c])*e + 0.02)
				w := t.w * t.w / (sd * sd)
				if r := math.Abs(t.c[c]-t.base[c]*e-l.f0*s-extra) / sd; r > 0.5 {
					w *= 0.5 / r
				}
				ee, es, ec, ss, sc = ee+w*e*e, es+w*e*s, ec+w*e*y, ss+w*s*s, sc+w*s*y
			}
			if ee <= 0 {
				continue
			}
			num += sc - es*ec/ee
			den += ss - es*es/ee
		}
	}
	l.f0 = math.Max(0, math.Min(0.06, num/den))
}
