package body

import (
	"math"
	"math/rand"
	"slices"
	"testing"

	"offtype/measure/geom"
)

// lyingEllipsoid is the exact view of an ellipsoid of rotation, axis along x, straight below the camera:
// both axes are seen 1/√(1 − W/H) too large (derived geometry, as TestEllipsoidBelowTheCamera).
func lyingEllipsoid(l, w, h float64) (v View, stem, tip geom.Px) {
	cam := nadir(h)
	k := 1 / math.Sqrt(1-w/h)
	v = View{Camera: cam, Outline: onTable(&cam, 0, k*l/2, k*w/2), SigmaPx: 0.1}
	return v, cam.Project(geom.Vec3{X: -k * l / 2}), cam.Project(geom.Vec3{X: -k*l/2 - 30})
}

// A flat fruit on its rim with its stalk in sight: the stalk tells the axis although the outline is long
// across it.
func TestStalkBeatsTheLongAxis(t *testing.T) {
	for _, by := range []float64{0, 0.8} {
		v, stem, tip := lyingEllipsoid(80, 165, 1500)
		v.Stem, v.StalkTip, v.StemBy = &stem, &tip, by
		wrong := v.Camera.Project(geom.Vec3{Y: 70}) // a blossom end put at the wrong place without confidence
		v.Blossom, v.BlossomBy = &wrong, 0.35
		b, err := Fit([]View{v}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if b.Pose != Side || math.Abs(b.Length.V-80) > b.Length.U || b.Length.U > 20 {
			t.Errorf("confidence %v: %s, length %v, want 80", by, b.Pose, b.Length)
		}
		if math.Abs(b.Width.V-165) > 1 {
			t.Errorf("confidence %v: width %v, want 165", by, b.Width)
		}
	}
}

// A nearly round fruit without a stalk: either axis may be the length, and U says so.
func TestAxisUnsure(t *testing.T) {
	v, stem, tip := lyingEllipsoid(61, 70, 1000)
	off := v.Camera.Project(geom.Vec3{Y: 30})
	for name, set := range map[string]func(*View){
		"no end":         func(*View) {},
		"weak wrong end": func(v *View) { v.Stem, v.StemBy = &off, 0.35 },
		"weak stalk":     func(v *View) { v.Stem, v.StemBy, v.StalkTip = &off, 0.4, &geom.Px{X: off.X, Y: off.Y - 9} },
	} {
		w := v
		set(&w)
		b, err := Fit([]View{w}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Contains(b.Notes, NoteEnds) {
			t.Errorf("%s: notes %v say nothing of the axis", name, b.Notes)
		}
		if math.Abs(b.Length.V-61) > b.Length.U || math.Abs(b.Width.V-70) > b.Width.U {
			t.Errorf("%s: length %v, width %v do not cover 61 and 70", name, b.Length, b.Width)
		}
		if b.Length.V-b.Length.U > 62 || b.Length.V+b.Length.U < 69 {
			t.Errorf("%s: length %v does not leave both axes open", name, b.Length)
		}
	}
	v.Stem, v.StalkTip, v.StemBy = &stem, &tip, 0.8
	b, err := Fit([]View{v}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if slices.Contains(b.Notes, NoteEnds) || math.Abs(b.Length.V-61) > 1 || b.Length.U > 3 {
		t.Errorf("with a stalk: length %v, notes %v", b.Length, b.Notes)
	}
}

// Standing ellipsoids of several heights, away from the middle of the picture: the width comes from a ring
// whose height only the stalk's place tells.
func TestStandingHeights(t *testing.T) {
	cam := nadir(1200)
	for _, tall := range []float64{0.6, 0.9, 1.4} {
		const w = 120.0
		p := make([]float64, pProfile+knots)
		p[pLen], p[pX], p[pY], p[pZ], p[pRise] = tall*w, 230, -180, tall*w/2, -math.Pi/2
		p[pCap0], p[pCap1] = math.Log(0.5), math.Log(0.5)
		m := newModel(p, knots, w/2, 0)
		stem, _ := m.pole(0)
		at := cam.Project(stem)
		tip := geom.Px{X: at.X + 8, Y: at.Y + 6}
		for _, pose := range []Pose{"", Upright} {
			b, err := Fit([]View{{Camera: cam, Outline: outline(m, &cam), Stem: &at, StemBy: 0.8, StalkTip: &tip}}, Options{Pose: pose})
			if err != nil {
				t.Fatal(err)
			}
			if b.Pose != Upright {
				t.Errorf("%v × %v, pose %q: %s", tall*w, w, pose, b.Pose)
			}
			if d := math.Abs(b.Width.V - w); d > b.Width.U || d > 0.04*w {
				t.Errorf("%v × %v, pose %q: width %v", tall*w, w, pose, b.Width)
			}
		}
	}
}

// A flat fruit that stands is told from one that lies at a slant too, where its top is seen near the rim; its width
// is found within U.
func TestStandingFlatAtASlant(t *testing.T) {
	const w, tall = 170.0, 105.0
	p := make([]float64, pProfile+knots)
	p[pLen], p[pZ], p[pRise] = tall, tall/2, -math.Pi/2
	p[pCap0], p[pCap1] = math.Log(0.5), math.Log(0.5)
	m := newModel(p, knots, w/2, 0)
	for _, tilt := range []float64{0.4, 0.75, 0.8} {
		cam := tilted(1200, tilt)
		stem, _ := m.pole(0)
		at, tip := cam.Project(stem), cam.Project(stem.Add(geom.Vec3{X: 4, Z: 25}))
		b, err := Fit([]View{{Camera: cam, Outline: outline(m, &cam), Stem: &at, StemBy: 0.9, StalkTip: &tip, SigmaPx: 0.3}}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if b.Pose != Upright || math.Abs(b.Width.V-w) > b.Width.U {
			t.Errorf("tilt %v: %s, width %v, want %v", tilt, b.Pose, b.Width, w)
		}
	}
}

// A stalk that lies on another fruit's side is no stalk: where every body along it fits badly, other axes are tried.
func TestStalkOfAnother(t *testing.T) {
	m := short()
	cam := testCamera()
	side, _ := m.centre(0.7)
	at := cam.Project(side.Add(m.across(0.7).Scale(48)))
	tip := cam.Project(side.Add(m.across(0.7).Scale(80)))
	b, err := Fit([]View{{Camera: cam, Outline: outline(m, &cam), Stem: &at, StemBy: 0.9, StalkTip: &tip, SigmaPx: 0.3}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	want := m.traits()
	if math.Abs(b.Width.V/want[qWidth]-1) > 0.01 || math.Abs(b.Length.V/want[qLength]-1) > 0.03 || b.ResidualPx > 0.5 {
		t.Errorf("length %v, width %v, residual %.2f px; want %.1f and %.1f", b.Length, b.Width, b.ResidualPx, want[qLength], want[qWidth])
	}
}

// short is a pear little longer than wide.
func short() *model {
	base := bulb()
	p := append([]float64(nil), base.p...)
	p[pLen] = 135
	m := newModel(p, knots, 55, 0)
	m.p[pRise] = m.rest().rise
	m.update()
	z, _ := m.lowest()
	m.p[pZ] -= z
	m.update()
	return m
}

// The derivatives of ends and of the lowest point against central differences.
func TestPlaceGradients(t *testing.T) {
	base := bulb()
	bent := newModel(append(append([]float64(nil), base.p...), 0.2, 0.15, 0.1, 0.05, 0.02), knots, 55, 0)
	bent.p[pRoll] = 0.1
	bent.update()
	g := geom.Vec3{X: 0.6, Y: -0.3, Z: 0.5}
	for name, m := range map[string]*model{"straight": base, "bent": bent} {
		for _, at := range []float64{0, 0.08, 0.4, 0.9, 1} {
			for what, f := range map[string]struct {
				value func(*model) float64
				grad  func([]float64)
			}{
				"centre": {func(w *model) float64 { c, _ := w.centre(at); return c.Dot(g) }, func(row []float64) { m.centreGrad(at, g, row) }},
				"lowest": {func(w *model) float64 { return w.lowestAt(at) }, func(row []float64) { m.lowestGrad(at, 1, row) }},
			} {
				if what == "lowest" && (at == 0 || at == 1) {
					continue // the radius has no derivative at the tips
				}
				row := make([]float64, len(m.p))
				f.grad(row)
				w := m.clone()
				for i := range m.p {
					const h = 1e-5
					w.p[i] = m.p[i] + h
					w.update()
					hi := f.value(w)
					w.p[i] = m.p[i] - h
					w.update()
					num := (hi - f.value(w)) / (2 * h)
					w.p[i] = m.p[i]
					w.update()
					if math.Abs(num-row[i]) > 0.02*math.Max(2, math.Abs(num)) {
						t.Errorf("%s, %s at %v, parameter %d: %.4g, differences give %.4g", name, what, at, i, row[i], num)
					}
				}
			}
		}
	}
}

// roughLong is an ellipsoid of 175 × 118 mm whose outline has 34 random waves of 0.15 px: 0.9 px in all.
func roughLong(seed int64) (v View, stem, tip geom.Px) {
	const rough = 0.15
	v, stem, tip = lyingEllipsoid(175, 118, 1000)
	v.SigmaPx = 0.5
	mid := geom.Centroid(v.Outline)
	rng := rand.New(rand.NewSource(seed))
	var wave [40][2]float64
	for k := 6; k < len(wave); k++ {
		wave[k] = [2]float64{rough * rng.NormFloat64(), rough * rng.NormFloat64()}
	}
	for i, p := range v.Outline {
		d := p.Sub(mid)
		a := math.Atan2(d.Y, d.X)
		off := 0.0
		for k, c := range wave {
			sn, cs := math.Sincos(float64(k) * a)
			off += c[0]*sn + c[1]*cs
		}
		v.Outline[i] = p.Add(d.Scale(off / d.Norm()))
	}
	return v, stem, tip
}

// A long fruit with its stalk at the end and an outline rough enough to fit badly along any axis: the axis stays that of
// both, and none across is thought of. Without a stalk one across (115 mm) may be: U takes it in,
// but at most twice over.
func TestRoughLongAxis(t *testing.T) {
	for seed := range int64(12) {
		v, stem, tip := roughLong(seed)
		plain, err := Fit([]View{v}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(plain.Length.V-175) > 4 || plain.Length.U > 2*(175-115) {
			t.Errorf("seed %d: length %v without a stalk, want 175", seed, plain.Length)
		}
		v.Stem, v.StalkTip, v.StemBy = &stem, &tip, 0.95
		b, err := Fit([]View{v}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(b.Length.V-175) > 4 || b.Length.U > 12 || slices.Contains(b.Notes, NoteEnds) {
			t.Errorf("seed %d: length %v, notes %v, want 175", seed, b.Length, b.Notes)
		}
	}
}
