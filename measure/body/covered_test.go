package body

import (
	"errors"
	"math"
	"testing"

	"offtype/measure/geom"
)

// lain returns the outline of a bulb seen from above with its stem end, the picture's axis from stem to blossom end as
// a unit vector, and how far along it each point lies (0 stem end, 1 blossom end).
func lain(t *testing.T) (v View, along []float64, axis geom.Px, want float64) {
	t.Helper()
	m := bulb()
	cam := tilted(1200, 0.1)
	pts := outline(m, &cam)
	a, _ := m.pole(0)
	b, _ := m.pole(1)
	stem, end := cam.Project(a), cam.Project(b)
	axis = end.Sub(stem)
	long := axis.Norm()
	axis = axis.Scale(1 / long)
	for _, p := range pts {
		along = append(along, p.Sub(stem).Dot(axis)/long)
	}
	return View{Camera: cam, Outline: pts, Edge: make([]geom.Edge, len(pts)), Stem: &stem, StalkTip: &geom.Px{X: stem.X - 40*axis.X, Y: stem.Y - 40*axis.Y}, SigmaPx: 0.3}, along, axis, m.traits()[qLength]
}

// A fruit between two others shows its ends only: that is its length. With its ends covered it is not measured.
func TestOnlyTheEndsAreFree(t *testing.T) {
	v, along, _, want := lain(t)
	for i, s := range along {
		if s > 0.03 && s < 0.96 {
			v.Edge[i] = geom.EdgeContact
		}
	}
	const n = 140
	free := 0
	for _, y := range rays(&v, 0, n) {
		if y.free() {
			free++
		}
	}
	if free >= n/4 {
		t.Fatalf("%d of %d places are free: nothing new", free, n)
	}
	b, err := Fit([]View{v}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if e := math.Abs(b.Length.V - want); e > b.Length.U || e > 0.02*want {
		t.Errorf("length %.1f ± %.1f, want %.1f", b.Length.V, b.Length.U, want)
	}
	for i, s := range along {
		v.Edge[i] = geom.EdgeContact
		if s > 0.4 && s < 0.6 {
			v.Edge[i] = geom.EdgeFree
		}
	}
	if b, err := Fit([]View{v}, Options{}); !errors.Is(err, ErrHidden) {
		t.Errorf("its middle alone gives %v and length %v, want %v", err, b, ErrHidden)
	}
}

// A neighbour lies over the blossom end: how far the body goes on below is not known, and U says so.
func TestCoveredEnd(t *testing.T) {
	v, along, axis, want := lain(t)
	whole, err := Fit([]View{v}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i, p := range v.Outline {
		if over := along[i] - 0.9; over > 0 { // cut off straight
			scale := v.Outline[i].Sub(*v.Stem).Dot(axis) / along[i]
			v.Outline[i] = p.Sub(axis.Scale(over * scale))
			v.Edge[i] = geom.EdgeContact
		}
	}
	b, err := Fit([]View{v}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if e := math.Abs(b.Length.V - want); e > b.Length.U || b.Length.U < 3*whole.Length.U {
		t.Errorf("length %.1f ± %.1f, want %.1f; uncovered ± %.1f", b.Length.V, b.Length.U, want, whole.Length.U)
	}
}
