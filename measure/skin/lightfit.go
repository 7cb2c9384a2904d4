package skin

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"

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
		p := &l.lamps[i]
		for j := range all {
			t := &all[j]
			below := t.q.place
			below.Z = 0
			t.lm[i], t.lg[i], t.lu[i] = p.matt(t.q.n, t.q.place, l.about), p.gloss(t.q, l.about), p.matt(geom.Vec3{Z: 1}, below, l.about)
		}
	}
}

// under fills what depends on the light, of which the lamps stand where aim saw them: light.table, matt and gloss.
func (t *lit) under(l *light) {
	t.fresn = fresnel(l.f0, t.q.facing)
	t.c = [3]float64{1, 1, 1}
	if len(l.lamps) > 0 {
		t.c = l.up
	}
	t.e, t.s = sumsOf(&l.mattL, &t.fn), sumsOf(&l.glossL, &t.fr)
	for k := range t.s {
		t.s[k] = max(0, t.s[k])
	}
	for i := range l.lamps {
		for k, p := range l.lamps[i].power {
			t.c[k] += t.lu[i] * p
			t.e[k] += t.lm[i] * p
			t.s[k] += t.lg[i] * p
		}
	}
	for k, c := range t.q.c {
		if len(l.lamps) > 0 {
			t.c[k] = max(0.05, t.c[k])
		}
		t.c[k] *= c
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
		l.solve(all)
		l.solveShine(all)
	}
	return l
}

// gather lists the pixels that tell the light, with the colours of their parts, found anew or not.
func gather(skins []*patchwork, l *light, all []lit, anew bool) []lit {
	parts := 0
	for _, s := range skins {
		if len(s.px) < 40 {
			continue
		}
		if anew {
			s.unshade(l)
			s.split()
		}
		n := len(all)
		all = append(all, s.toLight(l)...)
		for i := n; i < len(all); i++ {
			all[i].part += parts
		}
		parts += s.parts
	}
	return all
}

// toLight picks up to lightN pixels of a fruit with the colour of their part.
func (s *patchwork) toLight(l *light) []lit {
	base := s.partColours(l)
	stride := float64(len(s.px)) / lightN
	if stride < 1 {
		stride = 1
	}
	out := make([]lit, 0, lightN+1)
	for f := 0.0; int(f) < len(s.px); f += stride {
		q := &s.px[int(f)]
		if q.part < 0 || q.cut || q.n.Z < -0.1 || q.facing < litFacing {
			continue
		}
		out = append(out, lit{q: q, fn: phi(q.n), fr: phi(q.refl), part: q.part, base: base[q.part], w: 1})
	}
	// Every fruit counts as about 60 independent pixels.
	w := math.Sqrt(60 / math.Max(60, float64(len(out))))
	for i := range out {
		out[i].w = w
	}
	return out
}

// normals are the normal equations of the light: n grey terms, then the deviations of the three channels from them.
type normals struct {
	n int
	a []float64 // (4·n)², the upper triangle
	g []float64
}

// add adds w·(row·x − y)² with the entries of row at the places from `at` on.
func (m *normals) add(row []float64, at int, y, w float64) {
	g := m.g[at:][:len(row)]
	for i, v := range row {
		v *= w
		g[i] += v * y
		a := m.a[(at+i)*4*m.n+at:][:len(row)]
		for j := i; j < len(row); j++ {
			a[j] += v * row[j]
		}
	}
}

// spread takes the equations of each channel, which are gathered in the channel's own block, to the grey terms.
func (m *normals) spread() {
	n := m.n
	for k := n; k < 4*n; k += n {
		for i := 0; i < n; i++ {
			m.g[i] += m.g[k+i]
			for j := 0; j < n; j++ {
				v := m.a[(k+min(i, j))*4*n+k+max(i, j)]
				m.a[i*4*n+k+j] += v
				if j >= i {
					m.a[i*4*n+j] += v
				}
			}
		}
	}
}

// solve fits the light to the pixels with their parts' colours given.
func (l *light) solve(all []lit) {
	n := nSH + len(l.lamps)
	m := normals{n, make([]float64, 16*n*n), make([]float64, 4*n)}
	var rowOf, matt, gloss [nSH + mostLamps]float64
	row := rowOf[:n]
	own := make([]ownColour, 3*partsOf(all))
	for i := range all {
		t := &all[i]
		t.under(l)
		for j := range nSH {
			matt[j], gloss[j] = mattOf[j]*t.fn[j], t.fresn*glossOf[j]*t.fr[j]
		}
		for j := range l.lamps {
			matt[nSH+j], gloss[nSH+j] = t.lm[j], t.fresn*t.lg[j]
		}
		for k := 0; k < 3; k++ {
			w := t.weight(k)
			for j := range row {
				row[j] = t.base[k]*matt[j] + gloss[j]
			}
			m.add(row, (k+1)*n, t.c[k], w)
			own[3*t.part+k].add(row, t.e[k], t.c[k], w)
		}
	}
	for i := range own {
		if o := &own[i]; o.ee > 0 {
			m.add(o.er[:n], (i%3+1)*n, o.ec, -1/o.ee)
		}
	}
	m.spread()
	for j := 0; j < n; j++ {
		mean, sd := 0.0, priorLamp
		if j < nSH {
			mean, sd = priorMean[j], priorSD[j]
			if len(l.lamps) > 0 {
				mean, sd = dimMean[j], dimSD[j]
			}
		}
		m.add([]float64{1}, j, mean, 1/(sd*sd))
		for k := 1; k <= 3; k++ {
			m.add([]float64{1}, k*n+j, 0, 1/(priorTint*priorTint))
		}
	}
	up := phi(geom.Vec3{Z: 1})
	for j := range nSH {
		row[j] = mattOf[j] * up[j]
	}
	for j := range l.lamps {
		row[nSH+j] = l.lamps[j].matt(geom.Vec3{Z: 1}, l.about, l.about)
	}
	m.add(row, 0, 1, 1e8)
	for k := 1; k < 4; k++ {
		m.add(row, k*n, 0, 1e8)
	}
	var ch mat.Cholesky
	if !ch.Factorize(mat.NewSymDense(4*n, m.a)) {
		return
	}
	var x mat.VecDense
	_ = ch.SolveVecTo(&x, mat.NewVecDense(4*n, m.g)) // the card's constraint makes the condition large on purpose
	for k := 0; k < 3; k++ {
		for j := 0; j < nSH; j++ {
			l.l[j][k] = x.AtVec(j) + x.AtVec((k+1)*n+j)
		}
		for j := range l.lamps {
			l.lamps[j].power[k] = x.AtVec(nSH+j) + x.AtVec((k+1)*n+nSH+j)
		}
	}
	l.prepare()
}

// ownColour gathers what a part's own colour, free in each channel, takes out of the equations of the light.
type ownColour struct {
	ee, ec float64
	er     [nSH + mostLamps]float64
}

func (o *ownColour) add(row []float64, e, c, w float64) {
	o.ee += w * e * e
	o.ec += w * e * c
	for j, v := range row {
		o.er[j] += w * e * v
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

// solveShine fits f0: within a part the colour is free, so only what shine changes across it counts.
func (l *light) solveShine(all []lit) {
	type key struct{ base [3]float64 }
	groups := map[key][]*lit{}
	var order []key
	for i := range all {
		all[i].under(l)
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
