package body

import (
	"math"
	"testing"

	"offtype/measure/camera"
	"offtype/measure/geom"
)

// ringContour returns the angles, from e1 towards e2, of the two points of a ring that lie on the
// outline of a solid of revolution seen from camera centre cam; ok is false when the ring has none.
//
// centre: the ring's centre; a: unit axis direction; e1, e2: unit vectors across the axis, e1×e2 = a;
// r: radius, mm; slope: dr/dx along a. With A = e1·(c−C), B = e2·(c−C), D = a·(c−C):
//
//	φ = atan2(B, A) ± arccos((r'·D − r)/√(A² + B²))
//
// which is n·(P − C) = 0 for the surface normal n = cos φ·e1 + sin φ·e2 − r'·a at P = c + r·(cos φ·e1 + sin φ·e2).
func ringContour(cam, centre, a, e1, e2 geom.Vec3, r, slope float64) (phi1, phi2 float64, ok bool) {
	w := centre.Sub(cam)
	A, B, D := e1.Dot(w), e2.Dot(w), a.Dot(w)
	h := math.Hypot(A, B)
	if h == 0 {
		return 0, 0, false
	}
	q := (slope*D - r) / h
	if q < -1 || q > 1 {
		return 0, 0, false
	}
	m, d := math.Atan2(B, A), math.Acos(q)
	return m + d, m - d, true
}

// outline returns the outline of a straight body as cam sees it, from the ring contour's closed form:
// independent of the grazing rays that the fit uses.
func outline(m *model, cam *camera.Camera) []geom.Px {
	var one, two []geom.Px
	const n = 3000
	for i := 1; i < n; i++ {
		s := 0.5 - 0.5*math.Cos(math.Pi*float64(i)/n)
		c, a := m.centre(s)
		e1 := m.across(s)
		e2 := a.Cross(e1)
		r2, d := m.prof.r2(s)
		r := math.Sqrt(r2)
		p1, p2, ok := ringContour(cam.Centre(), c, a, e2, e1.Scale(-1), r, d/(2*r*m.mid.L))
		if !ok {
			continue
		}
		at := func(phi float64) geom.Px {
			sp, cp := math.Sincos(phi)
			return cam.Project(c.Add(e2.Scale(r * cp)).Add(e1.Scale(-r * sp)))
		}
		one, two = append(one, at(p1)), append(two, at(p2))
	}
	for i := len(two) - 1; i >= 0; i-- {
		one = append(one, two[i])
	}
	return one
}

// tilted is a camera that looks at the origin from h mm above it, tilt rad off the vertical.
func tilted(h, tilt float64) camera.Camera {
	c := testCamera()
	s, k := math.Sincos(tilt)
	c.R = [3][3]float64{{1, 0, 0}, {0, -k, s}, {0, -s, -k}}
	at := geom.Vec3{Y: h * math.Tan(tilt), Z: h}
	neg := camera.Camera{R: c.R}
	c.T = neg.ToCamera(at.Scale(-1))
	return c
}

// Fit recovers a necked body from exact outlines seen at several angles. With the tips seen from the
// side the length comes back within 0.5 %; at 25° slant the tips' shape is partly a guess.
func TestFitRecoversABody(t *testing.T) {
	truth := bulb()
	want := truth.traits()
	for _, c := range []struct{ tilt, within float64 }{{0, 0.005}, {0.2, 0.006}, {0.45, 0.02}} {
		cam := tilted(1200, c.tilt)
		if e := cam.TiltDeg()*math.Pi/180 - c.tilt; math.Abs(e) > 1e-9 {
			t.Fatalf("camera tilt %v, want %v", cam.TiltDeg(), c.tilt)
		}
		p0, _ := truth.pole(0)
		stem := cam.Project(p0)
		b, err := Fit([]View{{Camera: cam, Outline: outline(truth, &cam), Stem: &stem, SigmaPx: 0.3}}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if e := b.Length.V/want[qLength] - 1; math.Abs(e) > c.within {
			t.Errorf("tilt %v: length %.2f, want %.2f (%+.2f %%)", c.tilt, b.Length.V, want[qLength], 100*e)
		}
		if e := b.Width.V/want[qWidth] - 1; math.Abs(e) > 0.003 {
			t.Errorf("tilt %v: width %.2f, want %.2f", c.tilt, b.Width.V, want[qWidth])
		}
		if d := b.BroadestAt.V - want[qBroadest]; math.Abs(d) > 0.03 {
			t.Errorf("tilt %v: broadest at %.3f, want %.3f", c.tilt, b.BroadestAt.V, want[qBroadest])
		}
		if b.ResidualPx > 0.2 {
			t.Errorf("tilt %v: residual %.2f px of an exact outline", c.tilt, b.ResidualPx)
		}
	}
}

// A bent middle line comes back: turn within 5°, length along it within 1.5 % (the limits).
func TestFitRecoversABentBody(t *testing.T) {
	base := bulb()
	p := append([]float64(nil), base.p...)
	p[pRise] = 0.08
	truth := newModel(append(p, 0.2, 0.25, 0.1, 0, 0), knots, 55, 0)
	truth.p[pLen] = 320
	truth.update()
	z, _ := truth.lowest()
	truth.p[pZ] -= z
	truth.update()
	want := truth.traits()
	cam := tilted(1300, 0.15)
	p0, _ := truth.pole(0)
	stem := cam.Project(p0)
	b, err := Fit([]View{{Camera: cam, Outline: outline(truth, &cam), Stem: &stem, SigmaPx: 0.3}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if d := b.Bend.V - math.Abs(want[qBend]); math.Abs(d) > 5 {
		t.Errorf("bend %.1f°, want %.1f°", b.Bend.V, want[qBend])
	}
	if e := b.Midline.V/want[qMidline] - 1; math.Abs(e) > 0.015 {
		t.Errorf("middle line %.1f, want %.1f", b.Midline.V, want[qMidline])
	}
	if e := b.Length.V/want[qLength] - 1; math.Abs(e) > 0.015 {
		t.Errorf("length %.1f, want %.1f", b.Length.V, want[qLength])
	}
	if b.Length.V >= b.Midline.V {
		t.Errorf("straight length %.1f is not below the middle line's %.1f", b.Length.V, b.Midline.V)
	}
}

// The hand-made derivatives of G against central differences.
func TestJacobian(t *testing.T) {
	base := bulb()
	bent := newModel(append(append([]float64(nil), base.p...), 0.2, 0.15, 0.1, 0.05, 0.02), knots, 55, 0)
	ribbed := newModel(append(append([]float64(nil), base.p...), 0.08, 0.4), knots, 55, 10)
	for name, m := range map[string]*model{"straight": base, "bent": bent, "ribbed": ribbed} {
		row := make([]float64, len(m.p))
		for _, at := range [][3]float64{{0.05, 12, 9}, {0.3, 25, -20}, {0.5, -30, 14}, {0.75, 5, 54}, {0.97, -20, -15}} {
			c, tan := m.centre(at[0])
			n := m.across(at[0])
			p := c.Add(n.Scale(at[1])).Add(tan.Cross(n).Scale(at[2]))
			s := m.look(p, math.NaN())
			m.jac(p, s, row)
			w := m.clone()
			for i := range m.p {
				const h = 1e-5
				w.p[i] = m.p[i] + h
				w.update()
				hi := w.look(p, math.NaN()).g
				w.p[i] = m.p[i] - h
				w.update()
				lo := w.look(p, math.NaN()).g
				w.p[i] = m.p[i]
				w.update()
				num := (hi - lo) / (2 * h)
				// the tables of profile and middle line are interpolated: their slopes are right to 1 %
				if math.Abs(num-row[i]) > 0.02*math.Max(100, math.Abs(num)) {
					t.Errorf("%s, station %v, parameter %d: %.4g, differences give %.4g", name, at[0], i, row[i], num)
				}
			}
			for k, u := range []geom.Vec3{{X: 1}, {Y: 1}, {Z: 1}} {
				const h = 1e-4
				num := (m.look(p.Add(u.Scale(h)), math.NaN()).g - m.look(p.Sub(u.Scale(h)), math.NaN()).g) / (2 * h)
				if got := s.grad.Dot(u); math.Abs(num-got) > 1e-2*math.Max(10, math.Abs(num)) {
					t.Errorf("%s, station %v: gradient %d is %.4g, differences give %.4g", name, at[0], k, got, num)
				}
			}
		}
	}
}

// A pear rests on belly and neck: hull by hand. Two balls of radius R and r a distance d apart: the
// line under them rises by asin((R − r)/d).
func TestRestOnTwoContacts(t *testing.T) {
	m := bulb()
	s := m.rest()
	if s.sd > 0.01 { // where the centroid may be lies nearly whole on the long edge
		t.Fatalf("the hull's slope varies by %g rad: a necked body rests on two contacts", s.sd)
	}
	// turned by the rise at rest, the lowest points of the neck and of the belly are at one height
	low := func(from, to float64) float64 {
		least := math.Inf(1)
		for v := from; v <= to; v += 0.001 {
			x, _, _, _ := m.mid.at(v)
			least = math.Min(least, x*math.Sin(s.rise)-m.prof.radius(v)*math.Cos(s.rise))
		}
		return least
	}
	if d := low(0, 0.4) - low(0.5, 1); math.Abs(d) > 0.5 { // the mean over the range takes in a little of the belly
		t.Errorf("contacts differ by %.2f mm in height", d)
	}
	if s.rise <= 0 {
		t.Errorf("rise %.1f°: the slim stem end must lie lower", s.rise*180/math.Pi)
	}
}

// Turning the whole table about the vertical, or mirroring it, changes no measure.
func TestInvariance(t *testing.T) {
	truth := bulb()
	cam := tilted(1200, 0.2)
	px := outline(truth, &cam)
	p0, _ := truth.pole(0)
	stem := cam.Project(p0)
	a, err := Fit([]View{{Camera: cam, Outline: px, Stem: &stem}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	turned := cam
	s, c := math.Sincos(1.1)
	for i := range turned.R { // R·Q with Q a turn about Z: the same picture of a turned table
		r := cam.R[i]
		turned.R[i] = [3]float64{c*r[0] + s*r[1], -s*r[0] + c*r[1], r[2]}
	}
	b, err := Fit([]View{{Camera: turned, Outline: px, Stem: &stem}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	back := make([]geom.Px, len(px))
	for i, p := range px {
		back[len(px)-1-i] = p
	}
	d, err := Fit([]View{{Camera: cam, Outline: back, Stem: &stem}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for name, o := range map[string]*Body{"turned table": b, "reversed outline": d} {
		// the minimiser stops at a cost change of 1e-3: 0.1 % is its play
		if e := o.Length.V/a.Length.V - 1; math.Abs(e) > 1e-3 {
			t.Errorf("%s: length %.3f, was %.3f", name, o.Length.V, a.Length.V)
		}
		if e := o.Width.V/a.Width.V - 1; math.Abs(e) > 1e-3 {
			t.Errorf("%s: width %.3f, was %.3f", name, o.Width.V, a.Width.V)
		}
	}
}

// The tabled surface against exact intersections.
func TestSurface(t *testing.T) {
	truth := bulb()
	cam := tilted(1200, 0.25)
	b, err := Fit([]View{{Camera: cam, Outline: outline(truth, &cam)}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	mid := b.Views[0].Midline[10]
	n := 0
	for dy := -60.0; dy <= 60; dy += 3.7 {
		for dx := -60.0; dx <= 60; dx += 3.7 {
			p := geom.Px{X: mid.X + dx, Y: mid.Y + dy}
			s, th, at, norm, ok := b.Surface(&cam, p)
			e := b.hit(&cam, p)
			if ok != e.ok {
				t.Fatalf("%v: tabled %v, exact %v", p, ok, e.ok)
			}
			if !ok {
				continue
			}
			n++
			dth := math.Abs(math.Remainder(th-math.Atan2(e.up, e.eta), 2*math.Pi))
			if at.Sub(e.point).Norm() > 0.3 || math.Abs(s-e.s) > 2e-3 || norm.Dot(e.norm) < 0.999 || dth > 0.02 {
				t.Errorf("%v: tabled s %.4f θ %.3f %v, exact s %.4f θ %.3f %v", p, s, th, at, e.s, math.Atan2(e.up, e.eta), e.point)
			}
			if math.Abs(norm.Norm()-1) > 1e-9 || norm.Dot(cam.Centre().Sub(at)) < 0 {
				t.Errorf("%v: normal %v does not face the camera", p, norm)
			}
			if q := cam.Project(e.point).Sub(p).Norm(); q > 1e-3 {
				t.Errorf("%v: the point projects %.4f px away", p, q)
			}
		}
	}
	if n < 300 {
		t.Errorf("only %d pixels on the body", n)
	}
	if _, _, _, _, ok := b.Surface(&cam, geom.Px{X: 3, Y: 3}); ok {
		t.Error("a far pixel meets the body")
	}
}

func TestBadInput(t *testing.T) {
	cam := testCamera()
	ring := onTable(&cam, 0, 60, 60)
	hidden := make([]geom.Edge, len(ring))
	for i := range hidden {
		hidden[i] = geom.EdgeContact
	}
	below := cam
	below.T.Z = -1200
	nan := append([]geom.Px(nil), ring...)
	nan[7].X = math.NaN()
	for _, c := range []struct {
		name string
		v    []View
	}{
		{"no view", nil},
		{"no outline", []View{{Camera: cam}}},
		{"two points", []View{{Camera: cam, Outline: ring[:2]}}},
		{"not a number", []View{{Camera: cam, Outline: nan}}},
		{"all on one line", []View{{Camera: cam, Outline: make([]geom.Px, 40)}}},
		{"all hidden", []View{{Camera: cam, Outline: ring, Edge: hidden}}},
		{"camera below the table", []View{{Camera: below, Outline: ring}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if b, err := Fit(c.v, Options{}); err == nil {
				t.Errorf("no error, got length %v width %v", b.Length, b.Width)
			}
		})
	}
}

// A standing fruit: diameter given, length empty.
func TestUpright(t *testing.T) {
	cam := nadir(1200)
	k := 1 / math.Sqrt(1-100.0/1200) // ball of 100 mm
	stem := cam.Project(geom.Vec3{Z: 100})
	for _, o := range []Options{{}, {Pose: Upright}} {
		b, err := Fit([]View{{Camera: cam, Outline: onTable(&cam, 0, k*50, k*50), Stem: &stem}}, o)
		if err != nil {
			t.Fatal(err)
		}
		if b.Pose != Upright || !math.IsNaN(b.Length.V) {
			t.Errorf("options %+v: pose %s, length %v", o, b.Pose, b.Length)
		}
		if math.Abs(b.Width.V-100) > b.Width.U+1 {
			t.Errorf("options %+v: width %v, want 100", o, b.Width)
		}
	}
}
