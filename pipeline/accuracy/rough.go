package accuracy

import (
	"math"
	"math/rand"
	"strings"

	"offtype/measure/body"
	"offtype/measure/geom"
)

// waves is smooth noise in space: four octaves of six plane waves each, about 0.37 in standard deviation.
type waves struct {
	k     [4][6]geom.Vec3
	phase [4][6]float64
}

func newWaves(r *rand.Rand, scale float64) *waves {
	w := &waves{}
	for o := range w.k {
		f := scale * math.Pow(1.9, float64(o))
		for i := range w.k[o] {
			w.k[o][i] = geom.Vec3{X: f * r.NormFloat64(), Y: f * r.NormFloat64(), Z: f * r.NormFloat64()}
			w.phase[o][i] = 2 * math.Pi * r.Float64()
		}
	}
	return w
}

func (w *waves) at(p geom.Vec3) float64 {
	v := 0.0
	for o := range w.k {
		s := 0.0
		for i := range w.k[o] {
			s += math.Sin(p.Dot(w.k[o][i]) + w.phase[o][i])
		}
		v += s / 6 / math.Pow(1.6, float64(o))
	}
	return v
}

// skin is what makes a surface uneven: bumps of a warty fruit, mm, and slow unevenness relative to the radius.
type skin struct {
	warts, wobble float64
	small, slow   *waves
}

// randomSkin draws an uneven surface; one fruit in eight is warty.
func randomSkin(r *rand.Rand) skin {
	s := skin{wobble: 0.02 * r.Float64()}
	s.slow = newWaves(r, 1.0/60)
	if r.Float64() < 0.125 {
		s.warts = 2 + 6*r.Float64()
		s.small = newWaves(r, (0.8+0.8*r.Float64())/10)
	}
	return s
}

// raise returns the radius q at point p of the smooth body with the skin's unevenness.
func (k *skin) raise(p geom.Vec3, q float64) float64 {
	if k.warts > 0 {
		q += k.warts * math.Max(0, k.small.at(p)-0.25) * math.Min(1, q/10)
	}
	if k.wobble > 0 {
		q *= 1 + k.wobble*k.slow.at(p)
	}
	return q
}

// oddShape draws a fruit of the kinds that the smooth ones of randomShape leave out: flat, pointed, blunt, stepped.
func oddShape(r *rand.Rand) (shape, string) {
	s, kind := randomShape(r)
	for _, i := range []int{0, len(s.r) - 1} { // the tips of smooth fruit are slimmer than those of Simulate
		s.r[i] *= 0.86
	}
	switch x := r.Float64(); {
	case x < 0.08: // flat
		s.l = s.w * (0.6 + 0.25*r.Float64())
		kind = "flat"
	case x < 0.45: // pointed at the blossom end
		a := 0.15 + 0.25*r.Float64()
		b := 0.25 + 0.3*r.Float64()
		s.t = []float64{0, b / 2, b, (1 + b) / 2, 0.9, 1}
		s.r = []float64{0.4 + 0.35*r.Float64(), 0.86 + 0.08*r.Float64(), 1, 0.72 + 0.15*r.Float64(), 0.3 + 0.25*r.Float64(), a}
		s.l, kind = s.w*(0.85+1.2*r.Float64()), "pointed"
	case x < 0.6: // blunt cylinders
		e := func() float64 { return 0.55 + 0.3*r.Float64() }
		s.t = []float64{0, 0.15, 0.5, 0.85, 1}
		s.r = []float64{e(), 0.9 + 0.1*r.Float64(), 1, 0.9 + 0.1*r.Float64(), e()}
		s.l, kind = s.w*(1+2.5*r.Float64()), "blunt"
	}
	if s.ribs > 0 && !strings.HasPrefix(kind, "ribbed") {
		kind = "ribbed " + kind
	}
	s.toOne()
	return s, kind
}

// SimulateRough is Simulate for fruit of more kinds and uneven surface, with outlines as a network draws them on
// an unfamiliar photo: noise of 0.2 to 0.8 px, here and there a stretch that is off by some px, and a swelling
// beside the stalk. The noise stated is off by a factor of up to 1.6.
func SimulateRough(r *rand.Rand, views int) (Simulated, bool) {
	s, kind := oddShape(r)
	sk := randomSkin(r)
	if sk.warts > 0 {
		kind = "warty " + kind
	}
	s.skin = &sk
	out := Simulated{Kind: kind}
	rings := s.rings(r)
	out.callipers(rings)
	tilt, turn := 38*math.Pi/180*math.Sqrt(r.Float64()), 2*math.Pi*r.Float64()
	for v := 0; v < views; v++ {
		cam := simCamera(r, tilt, turn+float64(v)*2*math.Pi/3)
		view, ok := s.see(r, &cam, rings, &out)
		if !ok {
			return out, false
		}
		roughen(r, &view)
		baseSeen(r, &view, &out)
		out.Views = append(out.Views, view)
	}
	see := out.Stem.Add(out.Blossom).Scale(0.5).Sub(out.Views[0].Camera.Centre()).Unit()
	out.SlantDeg = deg(math.Asin(math.Abs(see.Dot(out.Blossom.Sub(out.Stem).Unit()))))
	return out, true
}

// callipers measures the rings: length along the line between the ends, the widest and the narrowest across it.
func (s *Simulated) callipers(rings [][]geom.Vec3) {
	s.Stem, s.Blossom = mean3(rings[0]), mean3(rings[len(rings)-1])
	ax := s.Blossom.Sub(s.Stem).Unit()
	e1 := ax.Cross(geom.Vec3{X: 0.3, Y: 0.1, Z: 1}).Unit()
	e2 := ax.Cross(e1)
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, ring := range rings {
		for _, p := range ring {
			lo, hi = math.Min(lo, p.Dot(ax)), math.Max(hi, p.Dot(ax))
		}
	}
	s.LengthMM = hi - lo
	s.WidthMM, s.WidthMinMM = 0, math.Inf(1)
	for k := 0; k < 90; k++ {
		sn, cs := math.Sincos(math.Pi * float64(k) / 90)
		d := e1.Scale(cs).Add(e2.Scale(sn))
		a, b := math.Inf(1), math.Inf(-1)
		for _, ring := range rings {
			for _, p := range ring {
				v := p.Dot(d)
				a, b = math.Min(a, v), math.Max(b, v)
			}
		}
		s.WidthMM, s.WidthMinMM = math.Max(s.WidthMM, b-a), math.Min(s.WidthMinMM, b-a)
	}
}

// baseSeen moves the stalk's base to where a finder sees it: the border on the camera's side, before the end that it
// covers, where the end faces the camera but does not point at it.
func baseSeen(r *rand.Rand, v *body.View, s *Simulated) {
	if v.Stem == nil || v.StalkTip == nil {
		return
	}
	out := s.Stem.Sub(s.Blossom).Unit()
	if f := out.Dot(v.Camera.Centre().Sub(s.Stem).Unit()); f < 0.1 || f > 0.5 {
		return
	}
	at := v.Camera.Project(s.Stem)
	dir := at.Sub(v.Camera.Project(s.Stem.Sub(out.Scale(5))))
	mm := s.WidthMM / 2 * (0.04 + 0.05*r.NormFloat64())
	q := v.Stem.Sub(dir.Scale(mm / v.Camera.MMPerPx(s.Stem) / math.Max(dir.Norm(), 1e-9)))
	v.Stem = &q
}

// roughen makes the outline of v as a network draws it on an unfamiliar photo.
func roughen(r *rand.Rand, v *body.View) {
	v.Outline = Smooth(v.Outline, 3+r.Intn(5)) // a network blunts what is sharp
	px := 0.2 + 0.6*r.Float64()*r.Float64()
	noise(v.Outline, Options{NoisePx: px, StepNoise: 10 + r.Intn(40), Rng: r})
	n := len(v.Outline)
	push := func(at, half int, by float64) {
		q := append([]geom.Px(nil), v.Outline...)
		for k := -half; k <= half; k++ {
			i := ((at+k)%n + n) % n
			d := q[(i+3)%n].Sub(q[(i-3+n)%n])
			if l := d.Norm(); l > 0 {
				w := by * (0.5 + 0.5*math.Cos(math.Pi*float64(k)/float64(half+1)))
				v.Outline[i] = q[i].Add(geom.Px{X: d.Y / l, Y: -d.X / l}.Scale(w))
			}
		}
	}
	for range r.Intn(4) { // a shadow taken along, a dark side left out
		push(r.Intn(n), 10+r.Intn(max(1, n/12)), 2*px*r.NormFloat64())
	}
	for i := range v.Edge { // where the stalk begins
		if (v.Edge[i] == geom.EdgeStalk) != (v.Edge[(i+1)%n] == geom.EdgeStalk) {
			push(i, 10+r.Intn(20), (0.6+px)*r.NormFloat64())
		}
	}
	v.SigmaPx = px * math.Exp(0.5*(2*r.Float64()-1))
}
