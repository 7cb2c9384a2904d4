package segment

import (
	"cmp"
	"math"
	"slices"
)

// A fruit of 60 px in a photo seen at 1024 px is four places wide where the networks decide what is fruit, and a pale one
// on straw, or a dark one on black mesh, is then often a mere hint to both. Seen twice as large it is as plain as any
// other. So where they leave hints of something small, the second network looks once more, closer. The figures below are
// right counts of 176 composed real pictures (docs/real-pictures.md): 163 without this look, 173 with it; those of other
// settings were taken while the pieces of sure fruit (hints) were still looked at.
const (
	magnified   = 2    // scale of the closer look, times that of the whole photo: at 1.5 four pictures less are right, at 2.5 two
	hint        = 0.03 // body probability, of either network, that is one; 0.02 and 0.05 do as well
	hintCells   = 16   // least size of a place with hints
	around      = 16   // cells about a place that the network sees too: with 8 two pictures less are right, with 24 four
	magnifySide = 128  // cells, largest window: a fruit that fills more is large enough as it is; with 96 one picture less is right
	magnifyStep = 8    // cells, windows are multiples of this: 32 px of the network's input
	// magnifySpare is what the closer looks at one photo may cost, as a share of one look at the whole. Half as much, or
	// twice as much, gives one picture less.
	magnifySpare = 0.5
	// sharpest is the least size of a cell of the closer look, photo px (photos of 820 px and more): enlarged farther there is
	// only blur to see, and a photo of 512 px got fruit of pencils.
	sharpest = 0.8
	// magnifyWeight is the weight of the closer look against what was said before. Alone (1) it takes marks of wood and
	// bits of straw for fruit: 165 right; 0.6 gives 170, 0.85 as much as this.
	magnifyWeight = 0.75
)

// window is a square of side cells with its first cell at x, y.
type window struct{ x, y, side int }

// magnify has net look closer at the small places of which the maps m and those of the second network, s, hold hints, and
// blends what it says into the bodies of m, their seams and their votes. Fruit of which m is sure stay as they are, and
// so does a photo with too few px for a closer look.
func (m *Maps) magnify(im Image, s *Maps, net Net) error {
	if m.Cell < magnified*sharpest {
		return nil
	}
	sure := m.fromSure(sureCells)
	for _, w := range m.windows(m.hints(s, sure)) {
		near, err := m.enlarged(im, net, w)
		if err != nil {
			return err
		}
		m.blend(near, w, sure)
	}
	return nil
}

// hints returns the ranges of the cells that hang together in which m or s sees a body at least faintly, those that hold
// most body first. Not those that count themselves to a sure fruit: a tip, a stalk; without the rest of the fruit in view
// less is made of them. sure is each cell's distance to the nearest sure fruit, cells.
func (m *Maps) hints(s *Maps, sure []float32) []box {
	top := make([]float32, len(m.Body))
	for i := range top {
		if sure[i] > wonderEdge && m.Stalk[i] < 0.3 && !m.Block[i] {
			top[i] = max(m.Body[i], s.Body[i])
		}
	}
	type place struct {
		box
		body float64
	}
	var all []place
	var part []int
	g := &regions{w: m.W, h: m.H}
	seen := make([]bool, len(top))
	for i, v := range top {
		if v <= hint || seen[i] {
			continue
		}
		p, known := place{box: box{m.W, m.H, -1, -1}}, 0.0
		part = g.gather(part, i, func(j int) bool { return top[j] > hint && !seen[j] }, func(j int) { seen[j] = true })
		for _, j := range part {
			p.body += float64(top[j])
			p.box = p.box.with(j%m.W, j/m.W)
			if m.votesFor(j, sure) {
				known += float64(top[j])
			}
		}
		if len(part) >= hintCells && 2*known < p.body {
			all = append(all, p)
		}
	}
	slices.SortStableFunc(all, func(a, b place) int { return cmp.Compare(b.body, a.body) })
	out := make([]box, len(all))
	for i, p := range all {
		out[i] = p.box
	}
	return out
}

// votesFor reports whether cell i names a place in or at a sure fruit as the centre of its own.
func (m *Maps) votesFor(i int, sure []float32) bool {
	x, y := i%m.W+int(math.Round(float64(m.DX[i]))), i/m.W+int(math.Round(float64(m.DY[i])))
	return sure[clampInt(y, 0, m.H-1)*m.W+clampInt(x, 0, m.W-1)] <= wonderEdge
}

// windows returns the squares to look at for these places, in their order, as many as may be spent on one photo. Places
// too large are left out, and so are those whose middle lies well inside an earlier window.
func (m *Maps) windows(places []box) (out []window) {
	spare := magnifySpare * float64(m.W*m.H)
	for _, b := range places {
		w, ok := m.windowAt(b)
		if !ok || slices.ContainsFunc(out, func(o window) bool { return o.tells(m, (b.x0+b.x1)/2, (b.y0+b.y1)/2) }) {
			continue
		}
		if spare -= w.cost(); spare < 0 {
			break
		}
		out = append(out, w)
	}
	return out
}

// windowAt returns the window around a place, and whether the place is small enough for one.
func (m *Maps) windowAt(b box) (window, bool) {
	side := (b.long() + 2*around + magnifyStep - 1) / magnifyStep * magnifyStep
	x, y := (b.x0+b.x1)/2, (b.y0+b.y1)/2
	return window{clampInt(x-side/2, 0, m.W-side), clampInt(y-side/2, 0, m.H-side), side}, side <= min(magnifySide, m.W, m.H)
}

// cost is what the network does for w, in cells of a look at the whole.
func (w window) cost() float64 { return magnified * magnified * float64(w.side*w.side) }

func clampInt(v, lo, hi int) int { return max(lo, min(hi, v)) }

// tells reports whether cell (x, y) lies in w and not at its rim, where the network sees too little of what is about it.
// The picture's own border is no rim.
func (w window) tells(m *Maps, x, y int) bool {
	inside := func(v, from, size int) bool {
		lo, hi := from+around/2, from+w.side-around/2
		if from == 0 {
			lo = 0
		}
		if from+w.side == size {
			hi = size
		}
		return v >= lo && v < hi
	}
	return inside(x, w.x, m.W) && inside(y, w.y, m.H)
}

// nearMaps are the maps of a part of the photo whose first pixel is (x, y).
type nearMaps struct {
	*Maps
	x, y int
}

// enlarged runs net on the part of the photo under w, made larger.
func (m *Maps) enlarged(im Image, net Net, w window) (nearMaps, error) {
	x, y := int(float64(w.x)*m.Cell), int(float64(w.y)*m.Cell)
	n := min(int(math.Round(float64(w.side)*m.Cell)), im.Width-x, im.Height-y)
	part := Image{make([]uint8, 3*n*n), n, n}
	for k := range n {
		copy(part.Pix[3*n*k:][:3*n], im.Pix[3*((y+k)*im.Width+x):])
	}
	maps, err := runNet(part, net, 2*magnified*w.side) // a cell is two pixels of the input
	return nearMaps{maps, x, y}, err
}

// blend moves m's bodies, seams and votes in w most of the way to what near says, away from sure fruit.
func (m *Maps) blend(near nearMaps, w window, sure []float32) {
	cells := float32(near.Cell / m.Cell) // a vote of near in cells of m
	for y := w.y; y < w.y+w.side; y++ {
		for x := w.x; x < w.x+w.side; x++ {
			i := y*m.W + x
			if sure[i] <= wonderEdge || m.Block[i] || !w.tells(m, x, y) {
				continue
			}
			p := m.toPhoto(float64(x), float64(y))
			p.X, p.Y = p.X-float64(near.x), p.Y-float64(near.y)
			to := func(a []float32, said []float32, unit float32) {
				a[i] += magnifyWeight * (unit*float32(near.at(said, p)) - a[i])
			}
			to(m.Body, near.Body, 1)
			to(m.Seam, near.Seam, 1)
			to(m.Mid, near.Mid, 1)
			to(m.DX, near.DX, cells)
			to(m.DY, near.DY, cells)
		}
	}
}
