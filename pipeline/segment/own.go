package segment

import (
	"math"
	"slices"
)

// recolour lets the photo's own colours speak: the colours of the cells that the network is sure
// are table, and of those it is sure are fruit, shift the doubtful cells' body probability. Colours
// that both have (tan fruit on planks) say nothing. Cells that the network is sure of hardly move.
//
// It returns what it learnt for grow, or nil when the photo has too little of either.
func (m *Maps) recolour(im Image, opt Options) *ownColours {
	if opt.OwnColours <= 0 {
		return nil
	}
	f := m.cellColours(im)
	fruit, table := make([]feature, 0, len(f)/4), make([]feature, 0, len(f))
	for i, p := range m.Body {
		switch {
		case m.Block[i] || m.Stalk[i] > 0.3:
		case p > 0.9:
			fruit = append(fruit, f[i])
		case p < 0.05:
			table = append(table, f[i])
		}
	}
	const enough = 60
	if len(fruit) < enough || len(table) < enough {
		return nil
	}
	in, out := newPalette(thin(fruit, 3000), 14), newPalette(thin(table, 3000), 14)
	if len(in) == 0 || len(out) == 0 {
		return nil
	}
	const sure = 0.002 // the colours would not move such a cell by a quarter of a logit
	doubtful := func(i int) bool {
		return m.Body[i] > sure && m.Body[i] < 1-sure && !m.Block[i] && m.Stalk[i] <= 0.5
	}
	llr := make([]float32, len(f))
	for i := range f {
		if m.near(i, doubtful) {
			llr[i] = float32(clamp(float64(out.shaded(f[i])-in.distance(f[i]))/2, -4, 4))
		}
	}
	llr = boxBlur(llr, m.W, m.H, 1)
	said := slices.Clone(m.Body)
	for i, p := range m.Body {
		if !doubtful(i) {
			continue
		}
		q := clamp(float64(p), 1e-4, 1-1e-4)
		doubt := 4 * q * (1 - q) // 1 at p = 0.5, 0.36 at 0.1 or 0.9, 0.04 at 0.01
		m.Body[i] = sigmoid(float32(math.Log(q/(1-q)) + opt.OwnColours*math.Sqrt(doubt)*float64(llr[i])))
	}
	return &ownColours{f, said, out, usual(thin(table, 3000), out)}
}

// near reports whether cell i or one of the eight about it is so.
func (m *Maps) near(i int, so func(i int) bool) bool {
	x, y := i%m.W, i/m.W
	for yy := max(0, y-1); yy <= min(m.H-1, y+1); yy++ {
		for xx := max(0, x-1); xx <= min(m.W-1, x+1); xx++ {
			if so(yy*m.W + xx) {
				return true
			}
		}
	}
	return false
}

// ownColours are the cells' colours, what the network said of their body, and the table's palette; usual is the
// distance to the palette that nineteen of twenty table cells stay below.
type ownColours struct {
	cell  []feature
	said  []float32
	table palette
	usual float32
}

// usual returns the distance to the palette that 95 % of the samples stay below.
func usual(s []feature, p palette) float32 {
	d := make([]float32, len(s))
	for i, f := range s {
		d[i] = p.distance(f)
	}
	slices.Sort(d)
	return d[len(d)*19/20]
}

// tableShare returns the share of a region's cells whose colour the table has, 0 without colours.
func (own *ownColours) tableShare(g *regions, r *region) float64 {
	if own == nil {
		return 0
	}
	n := 0
	g.each(r, func(i int) {
		if own.table.distance(own.cell[i]) <= own.usual {
			n++
		}
	})
	return float64(n) / float64(max(r.cells, 1))
}

// grow adds to each region the cells next to it that have its own colours, not the table's, and
// that the network at least half-way allows: the tip of a neck that it lost. A region that would
// gain more than two fifths has colours of the table and stays as it was.
func (g *regions) grow(m *Maps, own *ownColours) {
	if own == nil {
		return
	}
	for _, r := range g.regions {
		if r.cells < speck || r.body < 0.6 {
			continue
		}
		in := g.innerPalette(r, own, 1.5)
		if len(in) == 0 {
			continue
		}
		for _, i := range g.reach(m, r, own, in) {
			g.label[i] = r.id
		}
	}
}

// A cell that shed takes off is body to the network by less than nearlySure, and farther from the table's colours in the
// shade than is usual by at most alikeTable of its distance to the fruit's inner colours. Of the cells at the rims of fruit
// on 30 rendered tables that had none of the fruit's inner colours, 85 % of those within both limits lay off the fruit, 52 %
// of the others: ground spots and pale skin beside a dark stripe are unlike a fruit's inner colours too.
const (
	nearlySure = 0.9
	alikeTable = 0.1
)

// shed takes the cells of a deep shadow off each region's rim: the network is not quite sure of
// them, and their colour is the table's in the shade and none of the region's own. A region that
// would lose more than a fifth has a rim of another colour and stays as it was.
func (g *regions) shed(m *Maps, own *ownColours) {
	if own == nil {
		return
	}
	const rings = 4
	for _, r := range g.regions {
		if r.cells < 4*speck || r.body < 0.6 {
			continue
		}
		in := g.innerPalette(r, own, 2.5)
		if len(in) == 0 {
			continue
		}
		var gone []int
		for range rings {
			var rim []int
			g.each(r, func(i int) {
				dark, inner := own.table.shaded(own.cell[i]), in.distance(own.cell[i])
				if own.said[i] < nearlySure && g.atRim(i) && dark-inner < -8 && dark-own.usual < alikeTable*inner {
					rim = append(rim, i)
				}
			})
			for _, i := range rim {
				g.label[i] = 0
			}
			gone = append(gone, rim...)
		}
		if 5*len(gone) > r.cells {
			for _, i := range gone {
				g.label[i] = r.id
			}
		}
	}
}

// innerPalette returns the colours of region r farther than depth cells from its rim.
func (g *regions) innerPalette(r *region, own *ownColours, depth float32) palette {
	inside := make([]feature, 0, r.cells)
	g.each(r, func(i int) {
		if g.depth[i] > depth {
			inside = append(inside, own.cell[i])
		}
	})
	return newPalette(thin(inside, 800), 6)
}

// each calls f for the cells of region r.
func (g *regions) each(r *region, f func(i int)) {
	for y := r.box.y0; y <= r.box.y1; y++ {
		for i := y*g.w + r.box.x0; i <= y*g.w+r.box.x1; i++ {
			if g.label[i] == r.id {
				f(i)
			}
		}
	}
}

// atRim reports whether a neighbour of cell i belongs to no region.
func (g *regions) atRim(i int) (rim bool) {
	g.each4(i, func(j int) { rim = rim || g.label[j] == 0 })
	return rim
}

// reach lists the cells that region r would gain, nil when they are too many.
func (g *regions) reach(m *Maps, r *region, own *ownColours, in palette) []int {
	ratio := func(i int) float64 {
		return clamp(float64(own.table.shaded(own.cell[i])-in.distance(own.cell[i]))/2, -4, 4)
	}
	fits := func(i int) bool {
		if g.label[i] != 0 || m.Block[i] || m.Stalk[i] > 0.4 || m.Seam[i] > 0.6 {
			return false
		}
		q := clamp(float64(m.Body[i]), 1e-4, 1-1e-4)
		s, n := 2*ratio(i), 2.0
		g.each4(i, func(j int) {
			s += ratio(j)
			n++
		})
		return 0.6*math.Log(q/(1-q))+1.3*s/n > 0.8
	}
	var ring, gain []int
	g.each(r, func(i int) {
		if g.atRim(i) {
			ring = append(ring, i)
		}
	})
	most := 2 * r.cells / 5
	seen := map[int]bool{}
	for len(ring) > 0 && len(gain) <= most {
		var next []int
		for _, i := range ring {
			g.each4(i, func(j int) {
				if !seen[j] && g.label[j] == 0 {
					seen[j] = true
					if fits(j) {
						next = append(next, j)
					}
				}
			})
		}
		gain = append(gain, next...)
		ring = next
	}
	if len(gain) > most {
		return nil
	}
	return gain
}

// cellColours returns the colour of each cell: the mean of nine pixels spread over it.
func (m *Maps) cellColours(im Image) []feature {
	out := make([]feature, m.W*m.H)
	thirds := func(cells, size int) []int {
		at := make([]int, 3*cells)
		for i := range at {
			p := (float64(i/3)+0.5)*m.Cell - 0.5 + m.Cell*float64(i%3-1)/3
			at[i] = min(max(int(math.Round(p)), 0), size-1)
		}
		return at
	}
	xs, ys := thirds(m.W, im.Width), thirds(m.H, im.Height)
	for y := range m.H {
		row := out[y*m.W:][:m.W]
		for x := range row {
			var r, g, b int
			for _, py := range ys[3*y:][:3] {
				line := im.Pix[3*py*im.Width:][:3*im.Width]
				for _, px := range xs[3*x:][:3] {
					q := line[3*px:][:3]
					r, g, b = r+int(q[0]), g+int(q[1]), b+int(q[2])
				}
			}
			row[x] = featureOf([]float32{float32(r) / 9, float32(g) / 9, float32(b) / 9})
		}
	}
	return out
}

// thin keeps every k-th so that at most about n stay.
func thin(f []feature, n int) []feature {
	step := max(1, len(f)/n)
	out := make([]feature, 0, n+step)
	for i := step / 2; i < len(f); i += step {
		out = append(out, f[i])
	}
	return out
}
