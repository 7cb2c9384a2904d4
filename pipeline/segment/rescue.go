package segment

import (
	"math"

	"offtype/measure/geom"
)

// A fruit that the network hardly sees although its colour is plainly not the table's gets a body
// from that colour. Leaves, tools and tags have colours of their own too, so the network must at
// least have wondered: its maps are not quite empty there. What comes back is doubtful (rescued body
// probability), so that the fruit is marked as unsure and asked about.
const (
	foreign     = 12    // a cell's distance to the table's colours beyond the usual that makes it foreign
	rescuedBody = 0.75  // body probability that a rescued cell gets
	wondered    = 0.015 // least mean body probability of what is rescued, above twice that of the table
	rescueCells = 150   // least size
)

// rescue raises the body probability of compact areas of foreign colour that hold no fruit yet and
// points their votes at their middle. Areas at the picture's border, at cards and tags, or along a
// fruit (its shadow, its stalk, a leaf of it) are left alone.
func (own *ownColours) rescue(m *Maps, opt Options) {
	if own == nil {
		return
	}
	odd := make([]float32, len(m.Body))
	for i, f := range own.cell {
		if float64(m.Body[i]) <= opt.BodyLimit && !m.Block[i] && m.Stalk[i] < 0.4 && own.table.shaded(f) > own.usual+foreign {
			odd[i] = 1
		}
	}
	odd = boxBlur(odd, m.W, m.H, 1)
	least := wondered + 2*own.tableBody(odd, opt)
	g := &regions{w: m.W, h: m.H}
	seen := make([]bool, len(odd))
	for s, v := range odd {
		if v < 0.5 || seen[s] {
			continue
		}
		area := g.gather(nil, s, func(j int) bool { return odd[j] >= 0.5 && !seen[j] }, func(j int) { seen[j] = true })
		if p, ok := own.oddOne(m, area, least, opt); ok {
			for _, i := range area {
				m.Body[i] = max(m.Body[i], rescuedBody)
				m.DX[i], m.DY[i] = float32(p.X-float64(i%m.W)), float32(p.Y-float64(i/m.W))
			}
		}
	}
}

// tableBody is the mean body probability of the cells that are neither fruit nor of foreign colour.
func (own *ownColours) tableBody(odd []float32, opt Options) float64 {
	sum, n := 0.0, 1
	for i, p := range own.said {
		if odd[i] == 0 && float64(p) <= opt.BodyLimit {
			sum += float64(p)
			n++
		}
	}
	return sum / float64(n)
}

// oddOne says whether an area of foreign cells can be one whole fruit, and where its middle lies
// (map coordinates). least is the mean body probability that it must have.
func (own *ownColours) oddOne(m *Maps, area []int, least float64, opt Options) (geom.Px, bool) {
	n := float64(len(area))
	if len(area) < rescueCells || n > float64(len(m.Body))/10 || n < 2*opt.MinAreaShare*float64(len(m.Body)) {
		return geom.Px{}, false
	}
	var c geom.Px
	body := 0.0
	rim, held := 0, 0
	in := make(map[int]bool, len(area))
	for _, i := range area {
		in[i] = true
	}
	pts := make([]geom.Px, 0, len(area))
	for _, i := range area {
		x, y := i%m.W, i/m.W
		if x < 2 || y < 2 || x >= m.W-2 || y >= m.H-2 {
			return geom.Px{}, false
		}
		p := geom.Px{X: float64(x), Y: float64(y)}
		pts, c = append(pts, p), c.Add(p.Scale(1/n))
		body += float64(own.said[i]) / n
		for _, d := range [4]int{-2, 2, -2 * m.W, 2 * m.W} {
			j := i + d
			if in[j] {
				continue
			}
			rim++
			if m.Block[j] || float64(m.Body[j]) > opt.BodyLimit || m.Stalk[j] > 0.4 {
				held++
			}
		}
	}
	if body < least || 4*held > rim {
		return geom.Px{}, false
	}
	var shape moments
	for _, p := range pts {
		shape.add(p.X-c.X, p.Y-c.Y)
	}
	fill := n / math.Max(geom.Area(geom.Hull(pts)), 1)
	return c, shape.elongation() < 6 && fill > 0.65
}
