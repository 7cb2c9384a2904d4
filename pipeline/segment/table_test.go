package segment

import "testing"

// TestLivelyTableIsNoFruit: a doubtful region that runs out of the picture and has hardly an edge is
// a piece of the table when it has the table's colours, a fruit when it has its own.
func TestLivelyTableIsNoFruit(t *testing.T) {
	const w, h, cell = 640, 480, 4
	motley := [][3]uint8{{90, 60, 30}, {60, 70, 35}, {35, 30, 25}, {120, 85, 50}}
	disc := func(x, y, cx, cy, r int) bool { return (x-cx)*(x-cx)+(y-cy)*(y-cy) < r*r }
	corner := func(ownColour bool) (*candidate, *ownColours) {
		im := Image{Pix: make([]uint8, 3*w*h), Width: w, Height: h}
		for y := range h {
			for x := range w {
				c := motley[(x/8*7+y/8*13+x/8*(y/8))%4]
				if disc(x, y, 420, 240, 70) || ownColour && disc(x, y, 0, 480, 140) {
					c = [3]uint8{220, 160, 40}
				}
				copy(im.Pix[3*(y*w+x):], c[:])
			}
		}
		m := &Maps{W: w / cell, H: h / cell, Cell: cell}
		n := m.W * m.H
		m.Body, m.Stalk, m.Block = make([]float32, n), make([]float32, n), make([]bool, n)
		g := &regions{w: m.W, h: m.H, label: make([]int32, n)}
		r := &region{id: 1, box: box{g.w, g.h, -1, -1}}
		for i := range n {
			x, y := i%m.W, i/m.W
			switch {
			case disc(x*cell, y*cell, 420, 240, 70):
				m.Body[i] = 0.98
			case disc(x*cell, y*cell, 0, 480, 140):
				m.Body[i] = 0.8
				g.label[i], r.box = 1, r.box.with(x, y)
				r.cells++
			}
		}
		return &candidate{reg: r, grid: g, cut: true, bad: 0.5}, m.recolour(im, DefaultOptions())
	}
	opt := DefaultOptions()
	c, own := corner(false)
	doubtful := Fruit{Confidence: 0.3}
	if !c.isTable(doubtful, own, opt) {
		t.Errorf("a piece of the table passes for a fruit; the table has %.2f of its colours", own.tableShare(c.grid, c.reg))
	}
	if c.isTable(Fruit{Confidence: 0.8}, own, opt) {
		t.Error("a sure fruit is taken for table")
	}
	whole := *c
	whole.cut = false
	if whole.isTable(doubtful, own, opt) {
		t.Error("a fruit that lies wholly in the picture is taken for table")
	}
	if c, own := corner(true); c.isTable(doubtful, own, opt) {
		t.Errorf("a fruit of its own colour is taken for table; the table has %.2f of its colours", own.tableShare(c.grid, c.reg))
	}
}
