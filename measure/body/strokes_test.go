package body

import (
	"math"
	"math/rand"
	"testing"

	"offtype/measure/camera"
	"offtype/measure/geom"
)

// drawn returns the strokes that lines on a body show a camera: closed form of the surface, both ends of a short piece
// projected. across: along the rings (bands) in place of the meridians. Directions err by sd rad.
func drawn(m *model, cam *camera.Camera, lines int, across bool, sd float64, rng *rand.Rand) []geom.Stroke {
	point := func(t, th float64) geom.Vec3 {
		o, tan := m.centre(t)
		n := m.across(t)
		sn, cs := math.Sincos(th)
		g := 1.0
		if m.ribs > 0 {
			g, _, _ = m.rib(cs, sn)
		}
		r := m.prof.radius(t) * g
		return o.Add(n.Scale(r * cs)).Add(tan.Cross(n).Scale(r * sn))
	}
	var out []geom.Stroke
	for k := range lines {
		th := 2 * math.Pi * (float64(k) + 0.37) / float64(lines)
		for i := 1; i < 12; i++ {
			t := float64(i) / 12
			const h = 1e-3
			p := point(t, th)
			dt, dth := point(t+h, th).Sub(p), point(t, th+h).Sub(p)
			n := dt.Cross(dth).Unit()
			if n.Dot(p.Sub(m.fr.o)) < 0 {
				n = n.Scale(-1)
			}
			if n.Dot(cam.Centre().Sub(p).Unit()) < 0.35 {
				continue
			}
			if across {
				dt = dth
			}
			a := cam.Project(p)
			d := cam.Project(p.Add(dt)).Sub(a)
			out = append(out, geom.Stroke{At: a, Dir: math.Atan2(d.Y, d.X) + sd*rng.NormFloat64(), Sigma: sd})
		}
	}
	return out
}

// gradTol is how far a derivative may lie off the differences, next to gradScale (rad a mm or rad): the second derivative of
// the tabled profile has steps.
const (
	gradTol   = 0.06
	gradScale = 0.2
)

// The derivatives of aside agree with central differences, on bodies with and without ribs.
func TestAsideGradient(t *testing.T) {
	smooth := bulb()
	lined, cam := ribbed()
	for _, m := range []*model{smooth, lined} {
		v := View{Camera: cam, Strokes: drawn(m, &cam, 14, false, 0.2, rand.New(rand.NewSource(1)))}
		row := make([]float64, len(m.p))
		for _, y := range strokesOf([]View{v}) {
			if !m.meet(&y) {
				t.Fatal("a stroke drawn on the body passes by it")
			}
			if _, facing := m.aside(&y); facing < 0.4 {
				continue
			}
			m.meet(&y)
			m.asideGrad(&y, 1, row)
			for j := range m.p {
				h := 1e-4
				if j < pYaw || j == pLen {
					h = 1e-2
				}
				at := func(d float64) float64 {
					w := m.clone()
					w.p[j] += d
					w.update()
					z := y
					w.meet(&z)
					w.meet(&z) // to the skin itself
					a, _ := w.aside(&z)
					return a
				}
				want := (at(h) - at(-h)) / (2 * h)
				if math.Abs(row[j]-want) > gradTol*(gradScale+math.Abs(want)) {
					t.Errorf("ribs %d, parameter %d at t %.2f: %.5f, differences say %.5f", m.ribs, j, y.seen.t, row[j], want)
				}
			}
		}
	}
}

// acorn is a blunt fruit that lies 10° off the tilt at which it would rest, seen at a slant: its outline leaves the axis
// open.
func acorn() (*model, camera.Camera) {
	p := make([]float64, pProfile+knots)
	p[pLen], p[pYaw], p[pRise] = 120, 4, 0.1
	p[pCap0], p[pCap1] = math.Log(0.15), math.Log(0.12)
	for k := range knots {
		x := float64(k-1) / (knots - 3)
		p[pProfile+k] = -1.1 * math.Pow(x-0.38, 2)
	}
	m := newModel(p, knots, 58, 0)
	z, _ := m.lowest()
	m.p[pZ] -= z
	m.update()
	return m, tilted(1150, 0.5)
}

// Fit of the acorn from its outline, with strokes.
func fitLined(t *testing.T, m *model, cam camera.Camera, strokes []geom.Stroke) *Body {
	t.Helper()
	b, err := Fit([]View{{Camera: cam, Outline: outline(m, &cam), SigmaPx: 0.5, Strokes: strokes}}, Options{Pose: Side})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// axisOff is the angle between two bodies' axes, degrees: which end is which does not count.
func axisOff(a, b *model) float64 {
	return math.Acos(math.Min(1, math.Abs(a.fr.a.Dot(b.fr.a)))) * 180 / math.Pi
}

const (
	linedAxis = 4.0 // degrees: 45 lines of 5°, three sharing an error, leave 1.3°, the rest's pull 2° more
	linedLong = 3.0 // %
)

// Lines that run from end to end tell the axis and with it the length, which the outline of a blunt fruit leaves open.
func TestLinesTellTheAxis(t *testing.T) {
	m, cam := acorn()
	want := m.traits()[qLength]
	off := func(b *Body) float64 { return 100 * math.Abs(b.Length.V/want-1) }
	plain := fitLined(t, m, cam, nil)
	if axisOff(plain.m, m) < 2*linedAxis {
		t.Fatalf("the outline alone tells the axis to %.1f°: no test", axisOff(plain.m, m))
	}
	for seed := range int64(4) {
		lines := drawn(m, &cam, 12, false, 5*math.Pi/180, rand.New(rand.NewSource(seed)))
		b := fitLined(t, m, cam, lines)
		if len(b.task.strokes) == 0 {
			t.Fatal("the lines were not believed")
		}
		if a := axisOff(b.m, m); a > linedAxis {
			t.Errorf("seed %d: axis off by %.1f°, without lines by %.1f°", seed, a, axisOff(plain.m, m))
		}
		if e := off(b); e > linedLong || e > b.Length.U/want*100 {
			t.Errorf("seed %d: length off by %.2f %%, U %.2f %%, without lines by %.2f %%", seed, e, b.Length.U/want*100, off(plain))
		}
	}
}

// Bands around the fruit and directions of mottle say nothing: the fit is that without them.
func TestOtherLinesAreSilent(t *testing.T) {
	m, cam := acorn()
	plain := fitLined(t, m, cam, nil)
	for name, lines := range map[string][]geom.Stroke{
		"bands":  drawn(m, &cam, 12, true, 0.05, rand.New(rand.NewSource(1))),
		"mottle": drawn(m, &cam, 12, false, 2, rand.New(rand.NewSource(2))),
	} {
		b := fitLined(t, m, cam, lines)
		if len(b.task.strokes) > 0 {
			t.Errorf("%s: believed", name)
		}
		if d := math.Abs(b.Length.V - plain.Length.V); d > 0.02*plain.Length.V {
			t.Errorf("%s: length %.1f, without them %.1f", name, b.Length.V, plain.Length.V)
		}
	}
}

// Bands around a long fruit run along the meridians of a body across it: with an outline too rough to fit well along any axis
// they still do not turn it.
func TestBandsDoNotTurnTheAxis(t *testing.T) {
	for seed := range int64(4) {
		v, stem, tip := roughLong(seed)
		v.Stem, v.StalkTip, v.StemBy = &stem, &tip, 0.95
		m := newModel(append(make([]float64, pProfile), make([]float64, knots)...), knots, 59, 0)
		m.p[pLen], m.p[pZ], m.p[pCap0], m.p[pCap1] = 175, 59, math.Log(0.5), math.Log(0.5)
		m.update()
		v.Strokes = drawn(m, &v.Camera, 14, true, 0.04, rand.New(rand.NewSource(seed)))
		b, err := Fit([]View{v}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if len(v.Strokes) < 40 || len(b.task.strokes) > 0 || math.Abs(b.Length.V-175) > 4 {
			t.Errorf("seed %d: %d of %d bands believed, length %v, want 175", seed, len(b.task.strokes), len(v.Strokes), b.Length)
		}
	}
}
