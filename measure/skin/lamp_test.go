package skin_test

import (
	"math"
	"testing"

	"offtype/measure/colour"
	"offtype/measure/geom"
	"offtype/measure/skin"
)

// room is the light of a room with one bulb: the bulb's falls off with distance and slant, an eighth comes from all sides.
type room struct {
	bulb, card, eye geom.Vec3
}

const (
	around = 0.125 // of the light on the card
	waxy   = 0.02  // reflectance of wax at normal incidence
	lobe   = 30.0  // exponent of the highlight
)

// bare is the bulb's light on a surface.
func (r *room) bare(at, n geom.Vec3) float64 {
	d := r.bulb.Sub(at)
	return math.Max(0, n.Dot(d.Unit())) / d.Dot(d)
}

// on is the light on a surface over that on the card.
func (r *room) on(at, n geom.Vec3) float64 {
	return around*(0.6+0.4*n.Z) + (1-around)*r.bare(at, n)/r.bare(r.card, geom.Vec3{Z: 1})
}

// shine is the light that waxy skin mirrors towards the eye (Blinn's lobe, normalised), and of the room.
func (r *room) shine(at, n geom.Vec3) float64 {
	d := r.bulb.Sub(at)
	h := d.Unit().Add(r.eye.Sub(at).Unit()).Unit()
	l := (lobe + 2) / 8 * math.Pow(math.Max(0, n.Dot(h)), lobe) * r.bare(at, n) / r.bare(r.card, geom.Vec3{Z: 1})
	return waxy * (around + (1-around)*l)
}

// tops returns the light, as the photo shows it, of each fruit where it faces up.
func (l *loaded) tops() (out [][3]float64) {
	for _, f := range l.in.Fruits {
		lo, hi := geom.Bounds(f.Outline)
		var v [3][]float64
		for y := math.Ceil(lo.Y); y < hi.Y; y += 3 {
			for x := math.Ceil(lo.X); x < hi.X; x += 3 {
				if _, _, _, n, ok := f.Surface(geom.Px{X: x, Y: y}); ok && n.Z > 0.95 {
					for k := range v {
						v[k] = append(v[k], colour.Linear(float64(l.im.Pix[3*(int(y)*l.im.W+int(x))+k])/255))
					}
				}
			}
		}
		out = append(out, [3]float64{quantile(v[0], .5), quantile(v[1], .5), quantile(v[2], .5)})
	}
	return out
}

// paper returns the light, as the photo shows it, of the card's paper.
func (l *loaded) paper() (out [3]float64) {
	for _, s := range l.s.Samples(l.im) {
		if s.Kind == colour.Paper {
			for k := range out {
				out[k] = math.Max(out[k], colour.Linear(s.RGB[k]/255))
			}
		}
	}
	return out
}

// TestNearLamp paints the fruit of scenes anew as a bulb 1.9 m above the middle of the table would show them, with the
// card towards a corner. The light on the fruit is up to half as much again as on the card, though the slope seen on the
// card promises more; dark fruit carry a highlight brighter than their skin.
func TestNearLamp(t *testing.T) {
	if testing.Short() {
		t.Skip("measures photos several times")
	}
	const aim, most = 2.6, 4.0 // ΔE00, median and worst; with smooth light alone and the slope seen on the card 2.8 and 4.4
	var all []float64
	for _, name := range []string{"dev-4-touching-mesh", "demo-2025-table-2"} {
		l := load(t, name)
		before := skin.Measure(&l.in, skin.DefaultOptions())
		own, paper := l.tops(), l.paper()
		owner := map[int]int{}
		var mid geom.Vec3
		for i, f := range l.s.Fruits {
			owner[f.Label] = i
			mid = mid.Add(l.s.World(f.StemMM).Scale(1 / float64(len(l.s.Fruits))))
		}
		r := room{bulb: geom.Vec3{X: mid.X + 150, Y: mid.Y + 100, Z: 1900}, card: l.in.Cards[0], eye: l.in.Camera}
		ph, _ := l.remake(t, func(p geom.Px, v [3]float64) [3]float64 {
			at, _ := l.s.Camera.OnPlane(p, 0)
			k := r.on(at, geom.Vec3{Z: 1})
			c := [3]float64{k * v[0], k * v[1], k * v[2]}
			if i, ok := owner[int(l.s.Labels.GrayAt(int(p.X), int(p.Y)).Y)]; ok {
				if _, _, q, n, ok := l.in.Fruits[i].Surface(p); ok {
					for j := range c {
						c[j] = own[i][j]*r.on(q, n) + paper[j]*r.shine(q, n)
					}
				}
			}
			for j, w := range [3]float64{0.7, 0.6, 0.45} { // a warm bulb, with room above the card's white
				c[j] *= w
			}
			return c
		})
		var d []float64
		for i, m := range skin.Measure(&ph, skin.DefaultOptions()) {
			d = append(d, colour.DeltaE2000(m.Main, before[i].Main))
			if d[i] > 2 {
				t.Logf("%s fruit %d: %.1f ± %.1f, under the sky %.1f, ΔE00 %.1f", name, i, m.Main, m.MainU, before[i].Main, d[i])
			}
		}
		t.Logf("%s: ΔE00 median %.2f, worst %.2f", name, quantile(d, .5), quantile(d, 1))
		all = append(all, d...)
	}
	if m := quantile(all, .5); !(m <= aim) {
		t.Errorf("median ΔE00 %.2f, aim %.2f", m, aim)
	}
	if m := quantile(all, 1); !(m <= most) {
		t.Errorf("worst ΔE00 %.2f, aim %.2f", m, most)
	}
}
