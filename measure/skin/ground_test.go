package skin_test

import (
	"slices"
	"testing"

	"offtype/measure/geom"
	"offtype/measure/skin"
)

// TestOtherLight: a shadow over part of the table is told from the table itself, and so is a card that lies in one; a
// card on a sheet of its own says nothing, and an even table has no fruit in other light.
func TestOtherLight(t *testing.T) {
	l := load(t, "dev-1-planks-overhead")
	for _, c := range l.s.Cards {
		var q []geom.Px
		for _, p := range c.CornersPx {
			q = append(q, geom.Px{X: p[0], Y: p[1]})
		}
		l.in.Quads = append(l.in.Quads, q)
	}
	card := geom.Centroid(l.in.Quads[0])
	middle := float64(l.im.W) / 2
	if card.X > middle {
		t.Fatal("the card lies at the right")
	}
	near := func(p geom.Px) bool { return p.Sub(card).Norm() < 420 }
	dim := func(lin [3]float64, k float64) [3]float64 { return [3]float64{k * lin[0], k * lin[1], k * lin[2]} }
	right := func(c geom.Px) bool { return c.X > middle }
	for _, c := range []struct {
		name  string
		light func(p geom.Px, lin [3]float64) [3]float64
		other func(c geom.Px) bool // of a fruit's middle
	}{
		{"even", func(_ geom.Px, lin [3]float64) [3]float64 { return lin }, func(geom.Px) bool { return false }},
		{"half in the shade", func(p geom.Px, lin [3]float64) [3]float64 {
			if right(p) {
				return dim(lin, 0.25)
			}
			return lin
		}, right},
		{"card in the shade", func(p geom.Px, lin [3]float64) [3]float64 {
			if near(p) {
				return dim(lin, 0.22)
			}
			return lin
		}, func(geom.Px) bool { return true }},
		{"card on dark cloth", func(p geom.Px, lin [3]float64) [3]float64 {
			if near(p) && !geom.Contains(l.in.Quads[0], p) {
				return dim(lin, 0.3)
			}
			return lin
		}, func(geom.Px) bool { return false }},
	} {
		ph, _ := l.remake(t, c.light)
		for i, r := range skin.Measure(&ph, skin.DefaultOptions()) {
			at := geom.Centroid(ph.Fruits[i].Outline)
			if want := c.other(at); r.OtherLight != want || slices.Contains(r.Notes, "other-light") != want {
				t.Errorf("%s: fruit at %.0f, %.0f in other light: %v %v, want %v", c.name, at.X, at.Y, r.OtherLight, r.Notes, want)
			}
		}
	}
}
