package body

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"offtype/measure/camera"
	"offtype/measure/geom"
)

// scalloped is the picture of a ribbed body: of the projected surface the point farthest from the middle in each
// direction.
func scalloped(m *model, cam *camera.Camera) []geom.Px {
	const bins = 720
	mid, _ := m.centre(0.5)
	c := cam.Project(mid)
	far := make([]float64, bins)
	out := make([]geom.Px, bins)
	for i := 0; i <= 400; i++ {
		t := 0.5 - 0.5*math.Cos(math.Pi*float64(i)/400)
		o, tan := m.centre(t)
		n := m.across(t)
		up := tan.Cross(n)
		for k := 0; k < 1440; k++ {
			sn, cs := math.Sincos(2 * math.Pi * float64(k) / 1440)
			g, _, _ := m.rib(cs, sn)
			r := m.prof.radius(t) * g
			p := cam.Project(o.Add(n.Scale(r * cs)).Add(up.Scale(r * sn)))
			d := p.Sub(c)
			b := int((math.Atan2(d.Y, d.X)/(2*math.Pi) + 0.5) * bins)
			if b = min(max(b, 0), bins-1); d.Norm() > far[b] {
				far[b], out[b] = d.Norm(), p
			}
		}
	}
	return out
}

// ribbed is a body of 10 ribs of 0.09 on the table, seen at a slant.
func ribbed() (*model, camera.Camera) {
	base := bulb()
	m := newModel(append(append([]float64(nil), base.p...), 0.09, 0.4), knots, 55, 10)
	return m, tilted(1100, 0.5)
}

// Ribs come back from a slanted view, where a smooth body leans into the scallops: their number, and the length
// within 4 % (the tips lie at a slant of 30° and more).
func TestRibsAtASlant(t *testing.T) {
	truth, cam := ribbed()
	p0, _ := truth.pole(0)
	stem := cam.Project(p0)
	b, err := Fit([]View{{Camera: cam, Outline: scalloped(truth, &cam), Stem: &stem, SigmaPx: 0.3}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if b.Ribs != 10 {
		t.Errorf("%d ribs, want 10", b.Ribs)
	}
	want := truth.traits()
	if e := b.Length.V/want[qLength] - 1; math.Abs(e) > 0.04 {
		t.Errorf("length %.1f, want %.1f", b.Length.V, want[qLength])
	}
}

// The search for ribs must not hang on the last digits of the outline: their number comes back from every one of ten
// outlines that differ by noise of 0.1 px.
func TestRibsUnderNoise(t *testing.T) {
	truth, cam := ribbed()
	clean := scalloped(truth, &cam)
	p0, _ := truth.pole(0)
	stem := cam.Project(p0)
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range 10 {
		px := slices.Clone(clean)
		for k := range px {
			px[k] = px[k].Add(geom.Px{X: rng.NormFloat64(), Y: rng.NormFloat64()}.Scale(0.1))
		}
		b, err := Fit([]View{{Camera: cam, Outline: px, Stem: &stem, SigmaPx: 0.3}}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if b.Ribs != truth.ribs {
			t.Errorf("outline %d: %d ribs, want %d", i, b.Ribs, truth.ribs)
		}
	}
}

// Ribs whose fits have no cost that is a number, as a standing fruit on brown paper had, are none. The thinned
// outline of the search is sound, so that numbers of ribs are found; one ray that it skips is not.
func TestRibsWithoutACost(t *testing.T) {
	truth, cam := ribbed()
	views := []View{{Camera: cam, Outline: scalloped(truth, &cam), SigmaPx: 0.3}}
	task := newTask(views)
	task.rays = rays(&views[0], 0, 140)
	smooth := bulb()
	if m := task.tryRibs(smooth.clone(), 10); m == nil || m.ribs != 10 {
		t.Fatal("sound rays: the ribs are not found, so the test says nothing")
	}
	task.rays[1].sigma = math.NaN()
	if m := task.tryRibs(smooth.clone(), 10); m != nil {
		t.Errorf("%d ribs without a cost", m.ribs)
	}
}

// Ridges where furrows should be: turned by half a rib, the ridges stay as high and the furrows come as deep.
func TestTurnRibs(t *testing.T) {
	base := bulb()
	m := newModel(append(append([]float64(nil), base.p...), -0.06, 0.4), knots, 55, 10)
	radius := func(th float64) float64 {
		sn, cs := math.Sincos(th)
		g, _, _ := m.rib(cs, sn)
		return m.prof.radius(0.5) * g
	}
	ridge := (0.4 + math.Pi) / 10
	high := radius(ridge)
	if !m.turnRibs() {
		t.Fatal("not turned")
	}
	if got := radius(ridge); math.Abs(got-high) > 1e-9*high {
		t.Errorf("ridge at %.3f mm, was %.3f", got, high)
	}
	if got, want := radius(0.04), high*(1-0.06); math.Abs(got-want) > 1e-9*high {
		t.Errorf("furrow at %.3f mm, want %.3f", got, want)
	}
	if m.turnRibs() {
		t.Error("turned twice")
	}
}
