package skin

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"

	"offtype/measure/colour"
	"offtype/measure/geom"
)

// light is the light of a photo as a function of direction: nine smooth terms (spherical harmonics up to
// order 2) a channel, in units of the light on the card.
//
// A matt surface of normal n gets E(n) = Σ matt_l·L·φ(n), which is 1 for a surface facing up like the card. Shine
// shows the light from the mirrored direction, blurred: S(r) = Σ gloss_l·L·φ(r), times the surface's reflectance at
// normal incidence f0 and Schlick's rise towards grazing view.
//
// Source of the factors 1, 2/3, 1/4: Ramamoorthi & Hanrahan 2001 (from memory), relative to π. The gloss factors
// are those of a half-gloss lobe (own choice).
type light struct {
	l  [nSH][3]float64
	f0 float64

	mattL, glossL [3][nSH]float64 // the terms with their factors, channel by channel (prepare)
}

const nSH = 9

var (
	mattOf  = [nSH]float64{1, 2. / 3, 2. / 3, 2. / 3, .25, .25, .25, .25, .25}
	glossOf = [nSH]float64{1, .85, .85, .85, .6, .6, .6, .6, .6}
)

// phi returns the nine terms at unit direction d.
func phi(d geom.Vec3) [nSH]float64 {
	return [nSH]float64{1, d.X, d.Y, d.Z, d.X * d.Y, d.Y * d.Z, d.X * d.Z, d.X*d.X - d.Y*d.Y, 3*d.Z*d.Z - 1}
}

// Priors: a bright upper and a dimmer lower half, without a side; sky and table may differ in colour a little.
var (
	priorMean = [nSH]float64{.65, 0, 0, .52, 0, 0, 0, 0, 0}
	priorSD   = [nSH]float64{.15, .35, .35, .25, .2, .2, .2, .2, .15}
)

const (
	priorTint = 0.12   // SD of a channel's terms about the grey ones
	priorF0   = 0.0145 // wax on rind: 2–4 % at normal incidence (from memory), of which a half is blurred away or meets dark sky
	sdF0      = 0.002
	relNoise  = 0.06 // relative SD of a pixel about the model: mottling, bumps
	lightN    = 300  // pixels a fruit that the light is fitted to
)

// flat is the light before anything is known: as on the card, everywhere.
func flat() *light {
	l := &light{f0: priorF0}
	for i, v := range priorMean {
		l.l[i] = [3]float64{v, v, v}
	}
	l.prepare()
	return l
}

// prepare follows a change of the terms.
func (l *light) prepare() {
	for i := range l.l {
		for k, v := range l.l[i] {
			l.mattL[k][i], l.glossL[k][i] = mattOf[i]*v, glossOf[i]*v
		}
	}
}

// sums returns Σ c·φ(d) of each channel.
func sums(c *[3][nSH]float64, d geom.Vec3) (e [3]float64) {
	f := phi(d)
	for k := range e {
		t := &c[k]
		e[k] = (t[0] + t[1]*f[1] + t[2]*f[2] + t[3]*f[3]) + (t[4]*f[4] + t[5]*f[5]) + (t[6]*f[6] + t[7]*f[7] + t[8]*f[8])
	}
	return e
}

// matt returns E(n) of each channel, at least 0.05; gloss returns S(r), at least 0.
func (l *light) matt(n geom.Vec3) [3]float64 {
	e := sums(&l.mattL, n)
	for k := range e {
		e[k] = max(0.05, e[k])
	}
	return e
}

func (l *light) gloss(r geom.Vec3, facing float64) [3]float64 {
	e := sums(&l.glossL, r)
	q := fresnel(l.f0, facing)
	for k := range e {
		e[k] = q * max(0, e[k])
	}
	return e
}

// fresnel is Schlick's approximation.
func fresnel(f0, cos float64) float64 {
	d := 1 - cos
	return f0 + (1-f0)*(d*d)*(d*d)*d*0.5
}

// own returns the reflectance that pixel q shows under l.
func (l *light) own(q *pixel) colour.RGB {
	e, s := l.matt(q.n), l.gloss(q.refl, q.facing)
	var o colour.RGB
	for k := range o {
		o[k] = (q.c[k] - min(s[k], 0.7*max(0, q.c[k]))) / e[k]
	}
	return o
}

// unshade fills own and lab of every sample.
func (s *patchwork) unshade(l *light) {
	for i := range s.px {
		q := &s.px[i]
		q.own = l.own(q)
		o := q.own
		for k := range o {
			o[k] = max(1e-4, o[k])
		}
		q.lab = o.Lab()
	}
}

// lit is a pixel in the fit of the light.
type lit struct {
	q      *pixel
	fn, fr [nSH]float64
	base   [3]float64 // reflectance of its part
	w      float64
	e, s   [3]float64 // matt and gloss under the present light
	fresn  float64
}

// under fills what depends on the light.
func (t *lit) under(l *light) {
	t.e, t.s, t.fresn = l.matt(t.q.n), l.gloss(t.q.refl, t.q.facing), fresnel(l.f0, t.q.facing)
}

// fitLight estimates the light from all fruit of a photo by alternating three linear steps, rounds times from l: the
// colour of each part of each fruit, the light, and the strength of shine. The parts are found again every other round.
func fitLight(skins []*patchwork, l *light, rounds int) *light {
	all := make([]lit, 0, lightN*len(skins))
	for it := 0; it < rounds; it++ {
		all = all[:0]
		for _, s := range skins {
			if len(s.px) < 40 {
				continue
			}
			if it%2 == 0 {
				s.unshade(l)
				s.split()
			}
			all = append(all, s.toLight(l)...)
		}
		if len(all) < 60 {
			return l
		}
		l.solve(all)
		l.solveShine(all)
	}
	return l
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
		out = append(out, lit{q: q, fn: phi(q.n), fr: phi(q.refl), base: base[q.part], w: 1})
	}
	// Every fruit counts as about 60 independent pixels.
	w := math.Sqrt(60 / math.Max(60, float64(len(out))))
	for i := range out {
		out[i].w = w
	}
	return out
}

// normals are the normal equations of the light: nSH grey terms, then the deviations of the three channels from them.
type normals struct {
	a []float64 // (4·nSH)², the upper triangle
	g []float64
}

const nLight = 4 * nSH

// add adds w·(row·x − y)² with the entries of row at the places from `at` on.
func (m *normals) add(row []float64, at int, y, w float64) {
	for i, v := range row {
		m.g[at+i] += w * v * y
		for j := i; j < len(row); j++ {
			m.a[(at+i)*nLight+at+j] += w * v * row[j]
		}
	}
}

// addBlock is add for a channel's own block.
func (m *normals) addBlock(row *[nSH]float64, at int, y, w float64) {
	g := m.g[at:][:nSH]
	for i, v := range row {
		v *= w
		g[i] += v * y
		a := m.a[(at+i)*nLight+at:][:nSH]
		for j := i; j < nSH; j++ {
			a[j] += v * row[j]
		}
	}
}

// spread takes the equations of each channel, which are gathered in the channel's own block, to the grey terms.
func (m *normals) spread() {
	for k := nSH; k < nLight; k += nSH {
		for i := 0; i < nSH; i++ {
			m.g[i] += m.g[k+i]
			for j := 0; j < nSH; j++ {
				v := m.a[(k+min(i, j))*nLight+k+max(i, j)]
				m.a[i*nLight+k+j] += v
				if j >= i {
					m.a[i*nLight+j] += v
				}
			}
		}
	}
}

// solve fits the light to the pixels with their parts' colours given.
func (l *light) solve(all []lit) {
	m := normals{make([]float64, nLight*nLight), make([]float64, nLight)}
	var row, matt, gloss [nSH]float64
	for i := range all {
		t := &all[i]
		t.under(l)
		for j := range row {
			matt[j], gloss[j] = mattOf[j]*t.fn[j], t.fresn*glossOf[j]*t.fr[j]
		}
		for k := 0; k < 3; k++ {
			sd := relNoise * (max(0, t.base[k])*t.e[k] + 0.02)
			res := (t.q.c[k] - t.base[k]*t.e[k] - t.s[k]) / sd
			w := t.w * t.w / (sd * sd)
			if r := math.Abs(res); r > 1.5 {
				w *= 1.5 / r
			}
			for j := range row {
				row[j] = t.base[k]*matt[j] + gloss[j]
			}
			m.addBlock(&row, (k+1)*nSH, t.q.c[k], w)
		}
	}
	m.spread()
	for j := 0; j < nSH; j++ {
		m.add([]float64{1}, j, priorMean[j], 1/(priorSD[j]*priorSD[j]))
		for k := 1; k <= 3; k++ {
			m.add([]float64{1}, k*nSH+j, 0, 1/(priorTint*priorTint))
		}
	}
	up := phi(geom.Vec3{Z: 1})
	for j := range row {
		row[j] = mattOf[j] * up[j]
	}
	m.add(row[:], 0, 1, 1e8)
	for k := 1; k < 4; k++ {
		m.add(row[:], k*nSH, 0, 1e8)
	}
	var ch mat.Cholesky
	if !ch.Factorize(mat.NewSymDense(nLight, m.a)) {
		return
	}
	var x mat.VecDense
	_ = ch.SolveVecTo(&x, mat.NewVecDense(nLight, m.g)) // the card's constraint makes the condition large on purpose
	for j := 0; j < nSH; j++ {
		for k := 0; k < 3; k++ {
			l.l[j][k] = x.AtVec(j) + x.AtVec((k+1)*nSH+j)
		}
	}
	l.prepare()
}

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
				y := t.q.c[c] - extra
				sd := 3 * relNoise * (max(0, t.base[c])*e + 0.02)
				w := t.w * t.w / (sd * sd)
				if r := math.Abs(t.q.c[c]-t.base[c]*e-l.f0*s-extra) / sd; r > 0.5 {
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
