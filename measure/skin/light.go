package skin

import (
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
	up            [3]float64      // the smooth terms' matt light on the table (prepare)

	lamps []lamp    // what is too small for the smooth terms
	about geom.Vec3 // where on the table the lamps' power is told
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
	lightN    = 100  // pixels a fruit that the light is fitted to: 60 are independent; 300 give no better colours (290 rendered fruit)
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
	l.up = sums(&l.mattL, geom.Vec3{Z: 1})
}

// sums returns Σ c·φ(d) of each channel.
func sums(c *[3][nSH]float64, d geom.Vec3) (e [3]float64) {
	f := phi(d)
	return sumsOf(c, &f)
}

// sumsOf is sums with φ known.
func sumsOf(c *[3][nSH]float64, f *[nSH]float64) (e [3]float64) {
	for k := range e {
		t := &c[k]
		e[k] = (t[0] + t[1]*f[1] + t[2]*f[2] + t[3]*f[3]) + (t[4]*f[4] + t[5]*f[5]) + (t[6]*f[6] + t[7]*f[7] + t[8]*f[8])
	}
	return e
}

// matt returns E(n) of each channel at a place, at least 0.05.
func (l *light) matt(n, at geom.Vec3) [3]float64 {
	e := sums(&l.mattL, n)
	for i := range l.lamps {
		m := l.lamps[i].matt(n, at, l.about)
		for k := range e {
			e[k] += m * l.lamps[i].power[k]
		}
	}
	for k := range e {
		e[k] = max(0.05, e[k])
	}
	return e
}

// fresnel is Schlick's approximation.
func fresnel(f0, cos float64) float64 {
	d := 1 - cos
	return f0 + (1-f0)*(d*d)*(d*d)*d*0.5
}

// view is a light with what is the same for all pixels.
type view struct {
	*light
	beams [mostLamps]beam
	known bool // every sample's own is that under this light (unshade)
}

func (l *light) view() *view {
	v := &view{light: l}
	for i := range l.lamps {
		v.beams[i] = l.lamps[i].over(l.about)
	}
	return v
}

// own returns the reflectance that pixel q shows: light.matt and table and the shine taken out.
func (l *view) own(q *pixel) colour.RGB {
	if l.known {
		return q.own
	}
	e, s, u := sums(&l.mattL, q.n), sums(&l.glossL, q.refl), [3]float64{1, 1, 1}
	for k := range s {
		s[k] = max(0, s[k])
	}
	if len(l.lamps) > 0 {
		u = l.up
		for i := range l.lamps {
			b := &l.beams[i]
			matt, gloss, table := b.on(q)
			for k, p := range b.power {
				e[k] += matt * p
				s[k] += gloss * p
				u[k] += table * p
			}
		}
		for k := range u {
			u[k] = max(0.05, u[k])
		}
	}
	f := fresnel(l.f0, q.facing)
	var o colour.RGB
	for k := range o {
		c := q.c[k] * u[k]
		o[k] = (c - min(f*s[k], 0.7*max(0, c))) / max(0.05, e[k])
	}
	return o
}

// unshade fills own and lab of every sample. The view returned knows them, until the samples change.
func (s *patchwork) unshade(l *light) *view {
	v := l.view()
	for i := range s.px {
		q := &s.px[i]
		q.own = v.own(q)
		o := q.own
		for k := range o {
			o[k] = max(1e-4, o[k])
		}
		q.lab = o.Lab()
	}
	v.known = true
	return v
}

// lum is the luminance of linear sRGB.
func lum(c [3]float64) float64 { return 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2] }
