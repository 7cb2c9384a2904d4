package segment

import "testing"

// oneRegion is a map of w × h cells with one round region of radius r about its middle, green, on
// brown table; stalk and seam are empty.
func oneRegion(w, h int, r float64) (*Maps, *regions, *ownColours) {
	n := w * h
	m := &Maps{W: w, H: h, Cell: 2, Body: make([]float32, n), Stalk: make([]float32, n), Seam: make([]float32, n), Mid: make([]float32, n), DX: make([]float32, n), DY: make([]float32, n), Stem: make([]float32, n), Bloss: make([]float32, n), Block: make([]bool, n)}
	g := &regions{w: w, h: h, label: make([]int32, n)}
	own := &ownColours{cell: make([]feature, n)}
	fg := make([]bool, n)
	for i := range n {
		x, y := float64(i%w-w/2), float64(i/w-h/2)
		own.cell[i] = featureOf([]float32{150, 110, 70})
		if x*x+y*y < r*r {
			g.label[i], fg[i], m.Body[i] = 1, true, 0.95
			own.cell[i] = featureOf([]float32{40, 90, 45})
		}
	}
	own.table = newPalette([]feature{own.cell[0], own.cell[0], own.cell[0], own.cell[0], own.cell[0], own.cell[0], own.cell[0], own.cell[0]}, 1)
	g.depth = distances(fg, w, h)
	g.measure(m)
	return m, g, own
}

// TestFrontStalk: a patch inside with a colour of its own, faintly stalk and with stem heat, is the
// stalk; without heat, or in the fruit's own colour, it is skin.
func TestFrontStalk(t *testing.T) {
	for _, c := range []struct {
		name   string
		colour []float32
		heat   float32
		want   int
	}{
		{"stalk of the table's colour", []float32{150, 110, 70}, 0.4, 16},
		{"no stem heat", []float32{150, 110, 70}, 0.02, 0},
		{"the fruit's own colour", []float32{40, 90, 45}, 0.4, 0},
	} {
		m, g, own := oneRegion(80, 80, 30)
		for y := 44; y < 48; y++ {
			for x := 38; x < 42; x++ {
				i := y*80 + x
				m.Stalk[i], m.Stem[i], own.cell[i] = 0.2, c.heat, featureOf(c.colour)
			}
		}
		if got := g.frontStalk(m, g.regions[0], own); len(got) != c.want {
			t.Errorf("%s: %d cells, want %d", c.name, len(got), c.want)
		}
	}
}

// TestTrimStalk: of a patch twice too large only the cells of another colour than the fruit stay.
func TestTrimStalk(t *testing.T) {
	m, g, own := oneRegion(80, 80, 30)
	var cells []int
	for y := 40; y < 44; y++ {
		for x := 36; x < 44; x++ {
			i := y*80 + x
			m.Stalk[i] = 0.8
			cells = append(cells, i)
			if x < 40 {
				own.cell[i] = featureOf([]float32{170, 150, 110})
			}
		}
	}
	if got := g.trimStalk(m, g.regions[0], cells, own); len(got) != 16 {
		t.Errorf("%d cells stay, want 16", len(got))
	}
}

// TestSeamInside: a clear seam across a region counts with its length; one along its rim does not.
func TestSeamInside(t *testing.T) {
	m, g, _ := oneRegion(80, 80, 30)
	c := &candidate{reg: g.regions[0], grid: g}
	if v := c.seamInside(m); v != 0 {
		t.Errorf("no seam: %.1f cells", v)
	}
	for y := 20; y < 60; y++ {
		for x := 39; x < 42; x++ {
			m.Seam[y*80+x] = 0.9
		}
	}
	if v := c.seamInside(m); v < 35 || v > 50 {
		t.Errorf("seam of 40 cells: %.1f", v)
	}
	rim, gr, _ := oneRegion(80, 80, 30)
	for i, l := range gr.label {
		if l == 1 && gr.depth[i] < 2 {
			rim.Seam[i] = 0.9
		}
	}
	if v := (&candidate{reg: gr.regions[0], grid: gr}).seamInside(rim); v > 5 {
		t.Errorf("seam along the rim: %.1f cells", v)
	}
}

// TestPieceOf: only a small, doubtful outline that clings to a large one, or to its stalk, is its piece.
func TestPieceOf(t *testing.T) {
	m := &Maps{Cell: 2}
	big := &candidate{reg: &region{id: 1}, line: circleLine(100, 100, 60, 200), stalk: circleLine(100, 30, 8, 30)}
	for _, c := range []struct {
		name       string
		x, y       float64
		confidence float64
		piece      bool
	}{
		{"at the fruit", 170, 100, 0.3, true},
		{"at its stalk", 115, 24, 0.3, true},
		{"a clear fruit", 170, 100, 0.8, false},
		{"apart", 200, 100, 0.3, false},
	} {
		small := &candidate{reg: &region{id: 2}, line: circleLine(c.x, c.y, 10, 40)}
		f := Fruit{Outline: small.line, Confidence: c.confidence}
		if why := small.pieceOf([]*candidate{big, small}, m, f, DefaultOptions()); (why != "") != c.piece {
			t.Errorf("%s: %q", c.name, why)
		}
	}
}
