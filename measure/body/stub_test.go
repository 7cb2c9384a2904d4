package body

import (
	"math"
	"slices"
	"testing"

	"offtype/measure/geom"
)

// ring is a closed outline: a circle of 100 px with waves of the given number and height, and a bump of half
// width half and height up (px) on its right side.
func ring(waves int, wave, half, up float64) []geom.Px {
	var out []geom.Px
	for i := 0; i < 1200; i++ {
		th := 2 * math.Pi * float64(i) / 1200
		r := 100 + wave*math.Abs(math.Sin(float64(waves)*th/2))
		s, c := math.Sincos(th)
		p := geom.Px{X: r * c, Y: r * s}
		if c > 0 && math.Abs(p.Y) < half {
			p.X += up
		}
		out = append(out, p)
	}
	return out
}

// Closed geometry: a bump 24 px wide and 14 px high is a stub whose foot lies where it was put; a circle, ten
// ribs of a tenth of the radius and a wide bump are none.
func TestFindStub(t *testing.T) {
	s, ok := findStub(ring(0, 0, 12, 14))
	if !ok {
		t.Fatal("no stub found")
	}
	mid := s.a.Add(s.b).Scale(0.5)
	if math.Abs(mid.X-99) > 4 || math.Abs(mid.Y) > 3 || math.Abs(s.a.Sub(s.b).Norm()-24) > 7 {
		t.Errorf("foot from %v to %v, want 24 px around (99, 0)", s.a, s.b)
	}
	for name, o := range map[string][]geom.Px{"circle": ring(0, 0, 0, 0), "ribs": ring(10, 10, 0, 0), "wide": ring(0, 0, 45, 14)} {
		if s, ok := findStub(o); ok {
			t.Errorf("%s: stub at %v", name, s)
		}
	}
	n := 0
	v := View{Outline: ring(0, 0, 12, 14)}
	on := doubtStub(&v)
	for _, p := range v.Outline {
		if on(p) {
			n++
			if p.X < 95 {
				t.Fatalf("%v counts as stub", p)
			}
		}
	}
	if n < 20 || v.Stem == nil {
		t.Errorf("%d points on the stub, stem end %v", n, v.Stem)
	}
	tip := geom.Px{X: 130}
	v = View{Outline: ring(0, 0, 12, 14), Stem: &geom.Px{X: 100}, StalkTip: &tip}
	if doubtStub(&v) != nil {
		t.Error("a stalk that is seen needs no stub")
	}
}

// A bay with the stalk in it is hidden all along; one without it is the fruit's own.
func TestHideBays(t *testing.T) {
	o := ring(0, 0, 20, -15)
	edge := make([]geom.Edge, len(o))
	if got := hideBays(&View{Outline: o, Edge: edge}); got[0] != geom.EdgeFree {
		t.Error("a bay without a stalk is hidden")
	}
	edge[0] = geom.EdgeStalk
	hidden := 0
	for i, e := range hideBays(&View{Outline: o, Edge: edge}) {
		if e == geom.EdgeStalk {
			hidden++
			if math.Abs(o[i].Y) > 24 {
				t.Errorf("%v is hidden", o[i])
			}
		}
	}
	if hidden < 60 {
		t.Errorf("%d points hidden, want the bay of about 76", hidden)
	}
}

// A root that runs out into a slim tip keeps it; a stalk as thin on a round shoulder is cut off.
func TestCutSpurs(t *testing.T) {
	var root, stalk []geom.Px
	for i := 0; i < 400; i++ { // a cone 300 px long and 60 px wide, its foot rounded
		x := 300 * float64(i) / 399
		root = append(root, geom.Px{X: x, Y: -30 * (1 - x/300)})
	}
	for i := 0; i < 400; i++ {
		x := 300 * (1 - float64(i)/399)
		root = append(root, geom.Px{X: x, Y: 30 * (1 - x/300)})
	}
	for i := 1; i < 60; i++ {
		s, c := math.Sincos(math.Pi/2 + math.Pi*float64(i)/60)
		root = append(root, geom.Px{X: 30 * c, Y: 30 * s})
	}
	if out, _ := cutSpurs(root, nil); len(out) != len(root) {
		t.Errorf("%d of %d points of a root are left", len(out), len(root))
	}
	for _, p := range ring(0, 0, 0, 0) { // a circle of 100 px with a stalk of 60 by 8 px
		if p.X > 0 && math.Abs(p.Y) < 4 {
			continue
		}
		stalk = append(stalk, p)
	}
	var out []geom.Px
	for x := 100.0; x < 160; x++ {
		out = append(out, geom.Px{X: x, Y: 4})
	}
	for x := 160.0; x > 100; x-- {
		out = append(out, geom.Px{X: x, Y: -4})
	}
	slices.Reverse(out) // the circle ends below the gap
	stalk = append(stalk, out...)
	left, _ := cutSpurs(stalk, nil)
	for _, p := range left {
		if p.X > 110 {
			t.Fatalf("%v of the stalk is left", p)
		}
	}
}

// Where no stalk was told from the table, a notch at a sure stem end is where it hides the rim; one elsewhere is not.
func TestHideBaysUnseenStalk(t *testing.T) {
	o := ring(0, 0, 20, -4)
	v := View{Outline: o, Edge: make([]geom.Edge, len(o)), SigmaPx: 1, Stem: &o[0], StemBy: 0.9}
	if got := hideBays(&v); got[0] != geom.EdgeStalk {
		t.Error("the notch at the stem end counts as the fruit's own edge")
	}
	for name, w := range map[string]View{
		"unsure stem end":  {Outline: o, Edge: v.Edge, SigmaPx: 1, Stem: &o[0], StemBy: 0.3},
		"stem end behind":  {Outline: o, Edge: v.Edge, SigmaPx: 1, Stem: &o[len(o)/2], StemBy: 0.9},
		"notch like noise": {Outline: o, Edge: v.Edge, SigmaPx: 4, Stem: &o[0], StemBy: 0.9},
	} {
		if got := hideBays(&w); got[0] != geom.EdgeFree {
			t.Errorf("%s: the notch is hidden", name)
		}
	}
}

// A stub along a stalk that is clearly seen is no fruit either, and its foot is the stem end; one that is the fruit's own
// edge is left alone.
func TestStubUnderSeenStalk(t *testing.T) {
	end, tip := geom.Px{X: 118}, geom.Px{X: 150}
	o := ring(0, 0, 12, 18)
	edge := make([]geom.Edge, len(o))
	for i, p := range o {
		if p.X > 106 {
			edge[i] = geom.EdgeStalk
		}
	}
	v := View{Outline: o, Edge: edge, Stem: &end, StalkTip: &tip, StemBy: 0.97}
	on := doubtStub(&v)
	if on == nil || !on(geom.Px{X: 117}) || on(geom.Px{X: -100}) {
		t.Fatal("the stub under the stalk counts as fruit")
	}
	if v.Stem.X > 104 || v.StemBy != 0.97 || v.StalkTip == nil {
		t.Errorf("stem end %v by %v, want the foot of the stub, as sure as before", *v.Stem, v.StemBy)
	}
	v = View{Outline: o, Edge: make([]geom.Edge, len(o)), Stem: &end, StalkTip: &tip, StemBy: 0.97}
	if doubtStub(&v) != nil || v.Stem != &end {
		t.Error("a bump that is the fruit's own edge is taken for a stub")
	}
}

// The outline took half of a stalk along: from the stalk's edge to the concave corner it is not the fruit's own.
func TestToCorners(t *testing.T) {
	o := ring(0, 0, 12, 18)
	edge := make([]geom.Edge, len(o))
	foot := 0
	for i, p := range o {
		if p.X > 104 && p.Y > 0 { // one side and half of the cut are known
			edge[i] = geom.EdgeStalk
		}
		if p.X > 104 {
			foot++
		}
	}
	n := 0
	for i, e := range toCorners(o, edge) {
		if e == geom.EdgeStalk {
			n++
			if o[i].X < 90 {
				t.Errorf("%v counts as stalk", o[i])
			}
		} else if o[i].X > 104 {
			t.Errorf("%v counts as fruit", o[i])
		}
	}
	if n > foot+40 {
		t.Errorf("%d points, the stub has %d", n, foot)
	}
	free := make([]geom.Edge, len(o))
	if got := toCorners(o, free); slices.Contains(got, geom.EdgeStalk) {
		t.Error("without a stalk a corner starts one")
	}
}
