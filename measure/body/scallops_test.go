package body

import (
	"fmt"
	"math"
	"testing"

	"offtype/measure/geom"
)

// Ribbed fruit that stand away from the middle of the picture: their scallops tell how high they are, and so how wide.
// A smooth body that leans into the scallops was up to a tenth off.
func TestStandingRibbed(t *testing.T) {
	const w = 166.0
	for i, c := range []struct {
		tall, x, y, tilt float64
		ribs             int
		depth, phase     float64
	}{
		{0.55, -440, 370, 0.15, 10, 0.09, 0.3},
		{0.55, 470, 370, 0.15, 10, 0.09, 1.9},
		{0.6, 300, -250, 0.4, 11, 0.08, 0.9},
		{0.95, -430, 130, 0.15, 12, 0.05, 4.0},
		{0.9, 380, 300, 0.2, 9, 0.07, 2.5},
		{0.7, 20, 30, 0.05, 10, 0.1, 5.1},
	} {
		t.Run(fmt.Sprint(i), func(t *testing.T) {
			cam := tilted(1150, c.tilt)
			p := make([]float64, pProfile+knots, pProfile+knots+2)
			p[pLen], p[pX], p[pY], p[pZ], p[pRise] = c.tall*w, c.x, c.y, c.tall*w/2, -math.Pi/2
			p[pCap0], p[pCap1] = math.Log(0.5), math.Log(0.5)
			m := newModel(append(p, c.depth, c.phase), knots, w/2, c.ribs)
			stem, _ := m.pole(0)
			at, tip := cam.Project(stem), cam.Project(stem.Add(geom.Vec3{X: 4, Z: 25}))
			b, err := Fit([]View{{Camera: cam, Outline: scalloped(m, &cam), Stem: &at, StemBy: 0.9, StalkTip: &tip, SigmaPx: 0.3}}, Options{})
			if err != nil {
				t.Fatal(err)
			}
			if b.Pose != Upright || b.Ribs != c.ribs {
				t.Errorf("%s with %d ribs, want upright with %d", b.Pose, b.Ribs, c.ribs)
			}
			if d := math.Abs(b.Width.V - w); d > b.Width.U || d > 0.03*w {
				t.Errorf("width %v, want %v", b.Width, w)
			}
		})
	}
}

// A standing fruit seen at a slant of 30°: its stalk stands before the far rim, and the outline runs around it. The
// stalk's base is deep inside all the same, and the outline beside it tells the ribs.
func TestStandingBehindItsStalk(t *testing.T) {
	for _, c := range []struct {
		tall, depth float64
		ribs        int
	}{{1.1, 0.11, 10}, {0.94, 0.05, 9}} {
		const w = 125.0
		cam := tilted(1150, 0.42)
		p := make([]float64, pProfile+knots, pProfile+knots+2)
		p[pLen], p[pX], p[pY], p[pZ], p[pRise] = c.tall*w, 60, 150, c.tall*w/2, -math.Pi/2
		p[pCap0], p[pCap1] = math.Log(0.45), math.Log(0.5)
		m := newModel(append(p, c.depth, 0.7), knots, w/2, c.ribs)
		stem, _ := m.pole(0)
		at, tip := cam.Project(stem), cam.Project(stem.Add(geom.Vec3{Z: 30}))
		v := View{Camera: cam, Outline: scalloped(m, &cam), Stem: &at, StemBy: 0.9, StalkTip: &tip, SigmaPx: 0.3}
		v.Edge = make([]geom.Edge, len(v.Outline))
		along := tip.Sub(at).Scale(1 / tip.Sub(at).Norm())
		hidden := 0
		for i, q := range v.Outline {
			if d := q.Sub(at); d.Dot(along) > 0 && math.Abs(d.Cross(along)) < 14 {
				v.Outline[i], v.Edge[i] = at.Add(d.Scale(0.3)), geom.EdgeStalk
				hidden++
			}
		}
		if hidden < 5 {
			t.Fatalf("%d points behind the stalk", hidden)
		}
		b, err := Fit([]View{v}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if b.Pose != Upright || b.Ribs != c.ribs || math.Abs(b.Width.V-w) > 0.03*w {
			t.Errorf("%s, %d ribs, width %.1f; want upright, %d, %.0f", b.Pose, b.Ribs, b.Width.V, c.ribs, w)
		}
	}
}
