package segment

import (
	"testing"

	"offtype/measure/geom"
)

// TestRescue: a lilac fruit on black cloth that the network hardly sees is found and asked about. A
// thing of the same colour that the network is sure is none, or one under a card, is not.
func TestRescue(t *testing.T) {
	const w, h, cell = 640, 480, 4
	inOval := func(x, y int) bool { return 4*(x-180)*(x-180)+9*(y-240)*(y-240) < 4*90*90 }
	inDisc := func(x, y int) bool { return (x-460)*(x-460)+(y-240)*(y-240) < 70*70 }
	find := func(body float32, card bool) *Fruit {
		im := Image{Pix: make([]uint8, 3*w*h), Width: w, Height: h}
		for y := range h {
			for x := range w {
				c := [3]uint8{uint8(28 + (x*7+y*13)%5), 29, 31}
				if inDisc(x, y) {
					c = [3]uint8{220, 130, 40}
				} else if inOval(x, y) {
					c = [3]uint8{170, 125, 175}
				}
				copy(im.Pix[3*(y*w+x):], c[:])
			}
		}
		m := &Maps{W: w / cell, H: h / cell, Cell: cell}
		for _, a := range []*[]float32{&m.Body, &m.Stalk, &m.Seam, &m.Mid, &m.DX, &m.DY, &m.Stem, &m.Bloss} {
			*a = make([]float32, m.W*m.H)
		}
		for i := range m.Body {
			x, y := i%m.W*cell, i/m.W*cell
			switch {
			case inDisc(x, y):
				m.Body[i], m.Mid[i], m.DX[i], m.DY[i] = 0.99, 0.8, float32(460-x)/cell, float32(240-y)/cell
			case inOval(x, y):
				m.Body[i] = body
			}
		}
		var keep [][]geom.Px
		if card {
			keep = [][]geom.Px{{{X: 160, Y: 200}, {X: 200, Y: 200}, {X: 200, Y: 280}, {X: 160, Y: 280}}}
		}
		opt := DefaultOptions()
		res := FromMaps(im, m, keep, opt)
		for i, f := range res.Fruits {
			if geom.Contains(f.Outline, geom.Px{X: 130, Y: 240}) {
				return &res.Fruits[i]
			}
		}
		for _, r := range res.Rejected {
			t.Log("set aside: ", r.Reason)
		}
		return nil
	}
	f := find(0.1, false)
	if f == nil {
		t.Fatal("the faint fruit is not found")
	}
	if f.Confidence >= DefaultOptions().UnsureBelow {
		t.Errorf("the faint fruit has confidence %.2f, wants less than %.2f", f.Confidence, DefaultOptions().UnsureBelow)
	}
	const area = 3.14159 * 90 * 60
	if a := geom.Area(f.Outline); a < 0.97*area || a > 1.03*area {
		t.Errorf("its area is %.0f px, true %.0f", a, area)
	}
	if find(0.0005, false) != nil {
		t.Error("a thing that the network knows for none is counted as a fruit")
	}
	if find(0.1, true) != nil {
		t.Error("a thing under a card is counted as a fruit")
	}
}
