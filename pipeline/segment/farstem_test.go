package segment

import (
	"math"
	"testing"

	"offtype/measure/geom"
)

// TestFarStem: a fruit whose blossom end is seen gets a stem end where there is faint stem heat, but not too close by,
// not on a neighbour, and never a sure one; a fruit that has a stem end, or no clear blossom end, is left as it is.
func TestFarStem(t *testing.T) {
	const w, h, cell, radius = 60, 60, 2.0, 20 // cells, px a cell, cells
	at := func(x, y int) geom.Px { return geom.Px{X: (float64(x)+0.5)*cell - 0.5, Y: (float64(y)+0.5)*cell - 0.5} }
	type spot struct {
		x, y int
		heat float32
	}
	has := at(30, 12)
	for _, c := range []struct {
		name      string
		spots     []spot
		blossomBy float64
		stem      *geom.Px
		want      *spot
	}{
		{"across from the blossom end", []spot{{14, 30, 0.15}}, 0.6, nil, &spot{x: 14, y: 30}},
		{"as hot as a stem end in plain sight", []spot{{14, 30, 0.9}}, 0.6, nil, &spot{x: 14, y: 30}},
		{"hotter heat at the blossom end does not count", []spot{{46, 30, 0.5}, {30, 47, 0.12}}, 0.6, nil, &spot{x: 30, y: 47}},
		{"too faint", []spot{{14, 30, 0.08}}, 0.6, nil, nil},
		{"on a neighbour", []spot{{5, 5, 0.9}}, 0.6, nil, nil},
		{"blossom end in doubt", []spot{{14, 30, 0.15}}, 0.3, nil, nil},
		{"a stem end is there", []spot{{14, 30, 0.15}}, 0.6, &has, &spot{x: 30, y: 12}},
	} {
		m := &Maps{W: w, H: h, Cell: cell, Stem: make([]float32, w*h), Bloss: make([]float32, w*h)}
		g := &regions{w: w, h: h, label: make([]int32, w*h)}
		for i := range g.label {
			switch x, y := i%w, i/w; {
			case math.Hypot(float64(x-30), float64(y-30)) <= radius:
				g.label[i] = 1
			case x < 10 && y < 10:
				g.label[i] = 2
			}
		}
		for _, s := range c.spots {
			m.Stem[s.y*w+s.x] = s.heat
		}
		m.Bloss[30*w+47] = float32(c.blossomBy)
		blossom := at(47, 30)
		f := Fruit{Outline: oval(radius*cell, radius*cell), Blossom: &blossom, BlossomBy: c.blossomBy, StemBase: c.stem}
		if c.stem != nil {
			f.StemBy = 0.9
		}
		(&candidate{reg: &region{id: 1}, grid: g}).farStem(m, &f)
		if (f.StemBase != nil) != (c.want != nil) {
			t.Errorf("%s: stem end found: %v", c.name, f.StemBase != nil)
			continue
		}
		if f.StemBase == nil {
			continue
		}
		if d := f.StemBase.Sub(at(c.want.x, c.want.y)).Norm(); d > cell {
			t.Errorf("%s: stem end %.1f px off", c.name, d)
		}
		if c.stem == nil && !(f.StemBy > 0 && f.StemBy <= farStemSure) {
			t.Errorf("%s: sure by %.2f", c.name, f.StemBy)
		}
	}
}
