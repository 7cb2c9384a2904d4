package segment

import (
	"math"

	"offtype/measure/geom"
)

// candidate is a region on its way to become a Fruit.
type candidate struct {
	reg        *region
	grid       *regions
	coarse     []geom.Px // outline from the maps, evenly spaced
	line       []geom.Px // current outline, evenly spaced
	edge       []geom.Edge
	other      []int32   // region beyond a contact point, 0 elsewhere
	sigma      []float64 // px, across the outline, for each point
	step       float64   // edge contrast in units of the noise, median along free points
	bad        float64   // share of free points without a usable edge
	gap        float64   // longest stretch without a usable edge over the root of the area
	moved      float64   // RMS distance between coarse and refined outline, cells
	stalk      []geom.Px
	stalkCells []int
	stalkTop   float64 // highest stalk probability of its cells
	// stalkBefore: the stalk stands before the body, whose outline runs round both
	stalkBefore bool
	stem        heatPoint
	bloss       heatPoint
	cut         bool

	blur int       // one more than the index of the edge's blur in tools, 0: not known yet
	bias []float64 // of the edge fit, px, by stretches of the outline; nil: not known yet

	inside  palette   // the fruit's colours
	outside []palette // the table's, by sector along the outline
}

// newCandidate traces a region; nil when its outline cannot be drawn.
func newCandidate(im Image, m *Maps, g *regions, r *region) *candidate {
	line := m.traceRegion(g, r, im)
	if len(line) < 8 {
		return nil
	}
	c := &candidate{reg: r, grid: g}
	c.coarse = evenly(line, outlineStep(m))
	c.line = c.coarse
	c.stem = heatPeak(m, g, r.id, m.Stem, geom.Px{}, 0)
	c.bloss = heatPeak(m, g, r.id, m.Bloss, geom.Px{}, 0)
	return c
}

// outlineStep is the distance of neighbouring outline points, px: a fifth of a cell, at least 1.
func outlineStep(m *Maps) float64 { return math.Max(1, m.Cell/5) }

func evenly(line []geom.Px, step float64) []geom.Px {
	return geom.Resample(line, max(24, int(math.Round(geom.Perimeter(line)/step))))
}

// mark says for each point of the current line what lies beyond it.
func (c *candidate) mark(im Image, m *Maps, g *regions) {
	n := len(c.line)
	c.edge, c.other, c.sigma = make([]geom.Edge, n), make([]int32, n), make([]float64, n)
	nor := normals(c.line)
	c.cut = false
	for i, p := range c.line {
		if onFrame(p, im, 0.75) {
			c.edge[i], c.cut = geom.EdgeFrame, true
			continue
		}
		for _, k := range [3]float64{0.8, 1.3, 1.8} {
			q := p.Add(nor[i].Scale(k * m.Cell))
			if l := g.at(m, q); l != 0 && l != c.reg.id {
				c.edge[i], c.other[i] = geom.EdgeContact, l
				break
			}
		}
	}
	c.markStalk(m, nor)
	closeGaps(c.edge, geom.EdgeStalk, int(3*m.Cell/outlineStep(m)))
	closeGaps(c.edge, geom.EdgeContact, int(2*m.Cell/outlineStep(m)))
}

// markStalk marks the points beyond which the fruit's own stalk lies.
func (c *candidate) markStalk(m *Maps, nor []geom.Px) {
	if len(c.stalkCells) == 0 {
		return
	}
	in := map[[2]int]bool{}
	for _, i := range c.stalkCells {
		in[[2]int{i % m.W, i / m.W}] = true
	}
	for i, p := range c.line {
		for _, k := range [2]float64{0.8, 1.3} {
			x, y := m.toMap(p.Add(nor[i].Scale(k * m.Cell)))
			if c.edge[i] == geom.EdgeFree && in[[2]int{int(math.Round(x)), int(math.Round(y))}] {
				c.edge[i] = geom.EdgeStalk
			}
		}
	}
}

// at returns the region at photo point p, 0 for table.
func (g *regions) at(m *Maps, p geom.Px) int32 {
	x, y := m.toMap(p)
	xi, yi := int(math.Round(x)), int(math.Round(y))
	if xi < 0 || yi < 0 || xi >= g.w || yi >= g.h {
		return 0
	}
	return g.label[yi*g.w+xi]
}

func onFrame(p geom.Px, im Image, tol float64) bool {
	return p.X < tol-0.5 || p.Y < tol-0.5 || p.X > float64(im.Width)-0.5-tol || p.Y > float64(im.Height)-0.5-tol
}

// closeGaps gives runs of at most most free points between two points of kind k the same kind.
func closeGaps(e []geom.Edge, k geom.Edge, most int) {
	n := len(e)
	for i := range e {
		if e[i] != k || e[(i+1)%n] != geom.EdgeFree {
			continue
		}
		j := 1
		for j <= most && e[(i+j)%n] == geom.EdgeFree {
			j++
		}
		if j <= most && e[(i+j)%n] == k {
			for t := 1; t < j; t++ {
				e[(i+t)%n] = k
			}
		}
	}
}

// fruit turns the candidate into a Fruit.
func (c *candidate) fruit(im Image, m *Maps, opt Options) Fruit {
	f := Fruit{Outline: c.line, Edge: c.edge, Stalk: c.stalk, CutByFrame: c.cut}
	s, n := 0.0, 0
	contact := 0
	for i, e := range c.edge {
		switch e {
		case geom.EdgeFree:
			s += c.sigma[i] * c.sigma[i]
			n++
		case geom.EdgeContact:
			contact++
		}
	}
	if n > 0 {
		f.SigmaPx = math.Sqrt(s / float64(n))
	}
	c.ends(m, &f)
	c.notes(im, m, contact, &f)
	f.Confidence = c.confidence(m)
	return f
}

// weakEdge is the share of free points without a usable edge from which an outline is noted for it.
const weakEdge = 0.25

// notes sets the short codes that docs/outlines.md explains.
func (c *candidate) notes(im Image, m *Maps, contact int, f *Fruit) {
	add := func(when bool, code string) {
		if when {
			f.Notes = append(f.Notes, code)
		}
	}
	lo, hi := geom.Bounds(c.line)
	margin := 0.01 * float64(max(im.Width, im.Height))
	near := lo.X < margin || lo.Y < margin || hi.X > float64(im.Width)-1-margin || hi.Y > float64(im.Height)-1-margin
	share := float64(contact) / float64(len(c.line))
	add(c.cut, "cut")
	add(!c.cut && near, "near-edge")
	add(share > 0.02, "touches")
	add(share > 0.3, "partly-hidden")
	add(c.bad > weakEdge, "weak-edge")
	add(f.StemBase != nil && f.StemBy < 0.5, "stem-unsure")
}
