package segment

import "testing"

// TestShadowIsShed: the deep shadow along a fruit, of which the network is not quite sure, goes; a
// fruit of the shadow's colour keeps its rim, and so does a region that would lose more than a fifth.
func TestShadowIsShed(t *testing.T) {
	const w, h, cell, cx, cy = 640, 480, 4, 300, 240
	disc := func(x, y, cx, cy, r int) bool { return (x-cx)*(x-cx)+(y-cy)*(y-cy) < r*r }
	for _, c := range []struct {
		name                string
		radius, shift, wide int // px: of the fruit, of the shadow's middle, of the shadow beyond the fruit
		fruit               [3]uint8
		sure                float32 // body probability in the shadow
		gone                bool
	}{
		{"orange fruit", 72, 8, 0, [3]uint8{225, 130, 30}, 0.8, true},
		{"the network is sure", 72, 8, 0, [3]uint8{225, 130, 30}, 0.99, false},
		{"fruit of the shadow's colour", 72, 8, 0, [3]uint8{82, 78, 70}, 0.8, false},
		{"more than a fifth", 24, 0, 8, [3]uint8{225, 130, 30}, 0.8, false},
	} {
		im := Image{Pix: make([]uint8, 3*w*h), Width: w, Height: h}
		for y := range h {
			for x := range w {
				k := [3]uint8{205, 196, 176}
				if (x/8+y/8)%2 == 1 {
					k = [3]uint8{196, 188, 170}
				}
				switch {
				case disc(x, y, cx, cy, c.radius):
					k = c.fruit
				case disc(x, y, cx+c.shift, cy, c.radius+c.wide):
					k = [3]uint8{80, 76, 68} // the table with an eighth of the light
				}
				copy(im.Pix[3*(y*w+x):], k[:])
			}
		}
		m := &Maps{W: w / cell, H: h / cell, Cell: cell}
		n := m.W * m.H
		m.Body, m.Stalk, m.Block = make([]float32, n), make([]float32, n), make([]bool, n)
		m.DX, m.DY = make([]float32, n), make([]float32, n)
		g := &regions{w: m.W, h: m.H, label: make([]int32, n)}
		fruit, shadow, crossed := make([]bool, n), make([]bool, n), make([]bool, n)
		for i := range n {
			x, y := cell*(i%m.W)+cell/2, cell*(i/m.W)+cell/2
			fruit[i] = disc(x, y, cx, cy, c.radius)
			shadow[i] = !fruit[i] && disc(x, y, cx+c.shift, cy, c.radius+c.wide)
			for _, d := range [][2]int{{-2, -2}, {1, -2}, {-2, 1}, {1, 1}} { // corners that the fruit covers
				crossed[i] = crossed[i] || disc(x+d[0], y+d[1], cx, cy, c.radius)
			}
			switch {
			case fruit[i]:
				m.Body[i], g.label[i] = 0.99, 1
			case shadow[i]:
				m.Body[i], g.label[i] = c.sure, 1
			}
		}
		own := m.recolour(im, DefaultOptions())
		if own == nil {
			t.Fatalf("%s: no colours were learnt", c.name)
		}
		for i := range n { // recolour has its say on doubtful cells; here shed alone is asked
			if shadow[i] {
				m.Body[i] = c.sure
			}
		}
		in := make([]bool, n)
		for i, l := range g.label {
			in[i] = l != 0
		}
		g.depth = distances(in, m.W, m.H)
		g.measure(m)
		g.shed(m, own)
		lost, left, all := 0, 0, 0
		for i := range n {
			if fruit[i] && g.label[i] == 0 {
				lost++
			}
			if shadow[i] && !crossed[i] {
				all++
				if g.label[i] != 0 {
					left++
				}
			}
		}
		if lost != 0 {
			t.Errorf("%s: %d cells of the fruit itself went", c.name, lost)
		}
		// Cells that the rim of the shadow crosses are half table; those that the fruit's rim crosses are half fruit and
		// may go either way.
		if c.gone && 10*left > all || !c.gone && 5*left < 4*all {
			t.Errorf("%s: %d of %d cells of shadow are left", c.name, left, all)
		}
	}
}
