package segment

import (
	"math"
	"slices"

	"offtype/measure/geom"
)

// stalkLimit is the stalk probability that counts as stalk.
const stalkLimit = 0.5

// weakStalk is the limit for fruit that have no stalk by the first: their best one counts when
// its strongest cell reaches half as much again.
const weakStalk = 0.18

// findStalks gives each region its stalk: the connected stalk cells that touch it most (its stem
// heat weighing in), completed by their own colours, and taken out of the region. A region keeps
// its greatest stalk. The result maps region numbers to cells.
func (g *regions) findStalks(m *Maps, own *ownColours) map[int32][]int {
	clear := func(i int) bool {
		return m.Stalk[i] > stalkLimit && (g.label[i] == 0 || m.Stalk[i] > m.Body[i])
	}
	by := map[int32][]int{}
	g.stalkParts(m, func(i int) bool {
		// Well inside a region, less will do: a fruit that stands, with its stalk before it.
		return clear(i) || (g.label[i] != 0 && g.depth[i] >= 3 && m.Stalk[i] > 0.4 && m.Stalk[i] > 0.6*m.Body[i])
	}, func(to *region, cells []int) {
		if g.touchesTable(m, cells) {
			cells = slices.DeleteFunc(cells, func(i int) bool { return !clear(i) })
		}
		if len(cells) >= 4 && len(cells) > len(by[to.id]) {
			by[to.id] = cells
		}
	})
	weak, best := map[int32][]int{}, map[int32]float32{}
	g.stalkParts(m, func(i int) bool { return m.Stalk[i] > weakStalk && g.label[i] == 0 }, func(to *region, cells []int) {
		top, heat := float32(0), float32(0)
		for _, i := range cells {
			top, heat = max(top, m.Stalk[i]), max(heat, m.Stem[i])
			g.each4(i, func(j int) { heat = max(heat, m.Stem[j]) })
		}
		if by[to.id] == nil && top > 1.5*weakStalk && len(cells) >= 5 && top+heat > best[to.id] {
			weak[to.id], best[to.id] = cells, top+heat
		}
	})
	for _, r := range g.regions {
		cells := by[r.id]
		if cells == nil || g.within(r, cells) {
			if front := g.frontStalk(m, r, own); front != nil {
				cells = front
			}
		}
		if cells == nil {
			cells = weak[r.id]
		}
		if len(cells) > 0 {
			if !g.touchesTable(m, cells) {
				cells = g.trimStalk(m, r, cells, own)
			}
			cells = g.growStalk(m, r, cells, own)
			for _, i := range cells {
				g.label[i] = 0
			}
			rest := g.restOfStalk(r, cells)
			for _, i := range rest {
				g.label[i] = 0
			}
			by[r.id] = append(cells, rest...)
		}
	}
	if len(by) > 0 {
		g.keepLargestParts(m)
	}
	return by
}

// stalkParts calls found for each connected part of the cells that is selects, with the region
// that it touches most. Parts that touch none, or that are half as large as it, are passed over.
func (g *regions) stalkParts(m *Maps, is func(i int) bool, found func(to *region, cells []int)) {
	seen := make([]bool, len(g.label))
	for s := range seen {
		if seen[s] || m.Block[s] || !is(s) {
			continue
		}
		cells := g.gather(nil, s, func(j int) bool { return !seen[j] && !m.Block[j] && is(j) }, func(j int) { seen[j] = true })
		touch := map[int32]float64{}
		for _, i := range cells {
			g.each4(i, func(j int) {
				if !m.Block[j] && is(j) {
					return
				}
				if l := g.label[j]; l != 0 {
					touch[l] += 0.1 + float64(m.Stem[j])
					return
				}
				g.each4(j, func(q int) {
					if l := g.label[q]; l != 0 && !is(q) {
						touch[l] += 0.03 + 0.3*float64(m.Stem[q])
					}
				})
			})
		}
		var to *region
		top := 0.0
		for _, r := range g.regions { // fixed order
			if t := touch[r.id]; t > top && r.reject == "" {
				to, top = r, t
			}
		}
		if to != nil && 2*len(cells) < to.cells {
			found(to, cells)
		}
	}
}

// touchesTable tells a stalk that leaves its fruit's outline from one that lies all before it.
func (g *regions) touchesTable(m *Maps, cells []int) bool {
	n := 0
	for _, i := range cells {
		g.each4(i, func(j int) {
			if g.label[j] == 0 && m.Stalk[j] < 0.3 && m.Body[j] < 0.4 {
				n++
			}
		})
	}
	return n >= 3
}

// strange is the distance from a fruit's colours beyond which a cell is no skin of it.
const strange = 10

// bodyColours are the colours of region r away from its rim and its stalk.
func (g *regions) bodyColours(m *Maps, r *region, own *ownColours) palette {
	var body []feature
	for y := r.box.y0; y <= r.box.y1; y++ {
		for x := r.box.x0; x <= r.box.x1; x++ {
			if i := y*g.w + x; g.label[i] == r.id && g.depth[i] > 1.5 && m.Stalk[i] < 0.06 {
				body = append(body, own.cell[i])
			}
		}
	}
	return newPalette(thin(body, 500), 6)
}

// trimStalk gives the cells of a stalk that stands before region r back to it where they have its
// colours. A stalk of the fruit's own colour stays as it is.
func (g *regions) trimStalk(m *Maps, r *region, cells []int, own *ownColours) []int {
	if own == nil {
		return cells
	}
	fruit := g.bodyColours(m, r, own)
	if len(fruit) == 0 {
		return cells
	}
	var keep, back []int
	for _, i := range cells {
		if fruit.distance(own.cell[i]) < strange {
			back = append(back, i)
		} else {
			keep = append(keep, i)
		}
	}
	if len(keep) < 4 || 5*len(keep) < len(cells) {
		return cells
	}
	for _, i := range back {
		g.label[i] = r.id
	}
	return keep
}

// frontStalk looks for a stalk that stands before region r, pointing at the camera: there the
// network sees body and stalk at once. What counts is a patch well inside, faintly stalk to the
// network and with stem heat, whose colour the rest of the fruit does not have.
func (g *regions) frontStalk(m *Maps, r *region, own *ownColours) []int {
	const faint, heat = 0.08, 0.12
	if own == nil || r.reject != "" {
		return nil
	}
	fruit := g.bodyColours(m, r, own)
	in := map[int]bool{}
	for y := r.box.y0; y <= r.box.y1; y++ {
		for x := r.box.x0; x <= r.box.x1; x++ {
			i := y*g.w + x
			if g.label[i] == r.id && g.depth[i] >= 2 && m.Stalk[i] > faint {
				in[i] = true
			}
		}
	}
	if len(in) < 4 || len(fruit) == 0 {
		return nil
	}
	var best []int
	for y := r.box.y0; y <= r.box.y1; y++ {
		for x := r.box.x0; x <= r.box.x1; x++ {
			s := y*g.w + x
			if !in[s] || fruit.distance(own.cell[s]) < strange {
				continue
			}
			part := g.gather(nil, s, func(j int) bool { return in[j] && fruit.distance(own.cell[j]) >= strange }, func(j int) { delete(in, j) })
			top := float32(0)
			for _, i := range part {
				top = max(top, m.Stem[i])
				g.each4(i, func(j int) { top = max(top, m.Stem[j]) })
			}
			if len(part) > len(best) && top > heat && 12*len(part) < r.cells {
				best = part
			}
		}
	}
	if len(best) < 4 {
		return nil
	}
	return best
}

// within says whether most of the cells lie well inside region r.
func (g *regions) within(r *region, cells []int) bool {
	n := 0
	for _, i := range cells {
		if g.label[i] == r.id && g.depth[i] >= 3 {
			n++
		}
	}
	return 2*n > len(cells)
}

// growStalk adds the cells around a stalk that have its colours rather than the fruit's or the
// table's. A stalk that would more than treble is left as it was.
func (g *regions) growStalk(m *Maps, r *region, cells []int, own *ownColours) []int {
	if own == nil {
		return cells
	}
	var core, body []feature
	for _, i := range cells {
		core = append(core, own.cell[i])
	}
	for i, l := range g.label {
		if l == r.id && g.depth[i] > 1.5 && m.Stalk[i] < 0.15 {
			body = append(body, own.cell[i])
		}
	}
	stalk, fruit := newPalette(core, 3), newPalette(thin(body, 500), 6)
	if len(stalk) == 0 || len(fruit) == 0 {
		return cells
	}
	ratio := func(i int) float32 {
		f := own.cell[i]
		other := fruit.distance(f)
		if g.label[i] != r.id || g.depth[i] < 3 { // well inside there is no table, whatever the colour
			other = min(other, own.table.shaded(f))
		}
		return other - stalk.distance(f)
	}
	have := map[int]bool{}
	for _, i := range cells {
		have[i] = true
	}
	standing := g.within(r, cells)
	grown := slices.Clone(cells)
	most := 3*len(cells) + 8
	for k := 0; k < len(grown) && len(grown) <= most; k++ {
		g.each4(grown[k], func(j int) {
			if have[j] || m.Block[j] || (g.label[j] != 0 && g.label[j] != r.id) {
				return
			}
			if g.label[j] == r.id && (!standing || g.depth[j] < 3) {
				return // along the base the network knows better
			}
			if v := ratio(j); v > 4 && float64(v) > 12-30*float64(m.Stalk[j]) {
				have[j] = true
				grown = append(grown, j)
			}
		})
	}
	if len(grown) > most {
		return cells
	}
	return grown
}

// traceStalk returns the coarse outline of the cells, photo px.
func (m *Maps) traceStalk(cells []int, im Image) []geom.Px {
	in := map[int]bool{}
	b := box{m.W, m.H, -1, -1}
	for _, i := range cells {
		in[i] = true
		b = b.with(i%m.W, i/m.W)
	}
	return m.traceField(func(i int) float32 {
		if in[i] {
			return float32(math.Max(0.75, float64(m.Stalk[i])))
		}
		return min(m.Stalk[i], 0.5)
	}, func(i int) bool { return in[i] }, b, im)
}

// refineStalk moves the stalk's outline to the photo's edge and takes away what it shares with the
// body: along the base both follow one line. A stalk that stands before its fruit (upright fruit)
// stays whole: there it is a hole in the visible body.
func (c *candidate) refineStalk(im Image, m *Maps, g *regions, t *tools, opt Options) {
	if len(c.stalk) < 8 {
		c.stalk = nil
		return
	}
	s := &candidate{reg: &region{id: c.reg.id, cells: max(1, int(geom.Area(c.stalk)/(m.Cell*m.Cell)))}, blur: c.blur}
	s.coarse = evenly(c.stalk, outlineStep(m))
	s.line = s.coarse
	inside := 0
	n := len(s.line)
	s.edge, s.other, s.sigma = make([]geom.Edge, n), make([]int32, n), make([]float64, n)
	for i, p := range s.line {
		switch {
		case onFrame(p, im, 0.75):
			s.edge[i] = geom.EdgeFrame
		case geom.Contains(c.line, p):
			inside++
		case distToLine(c.line, p) < 0.8*m.Cell:
			s.edge[i] = geom.EdgeStalk
		}
	}
	c.stalkBefore = inside > n/2
	if opt.Refine {
		s.refine(im, m, t, opt)
	}
	c.stalk = s.line
	if !c.stalkBefore {
		c.stalk = minus(s.line, c.line)
	}
}

// minus returns the greatest closed piece of a outside b, drawn on half-pixel steps; a itself when
// they do not meet.
func minus(a, b []geom.Px) []geom.Px {
	meet := false
	for _, p := range a {
		meet = meet || geom.Contains(b, p)
	}
	if !meet {
		return a
	}
	const k = 2
	zoom := func(l []geom.Px, lo geom.Px) []geom.Px {
		o := make([]geom.Px, len(l))
		for i, p := range l {
			o[i] = p.Sub(lo).Scale(k)
		}
		return o
	}
	w, h, lo := grid(a)
	w, h = k*w, k*h
	f := make([]float32, w*h)
	FillSpans(zoom(a, lo), w, h, func(y, x0, x1 int) {
		for x := x0; x < x1; x++ {
			f[y*w+x] = 1
		}
	})
	FillSpans(zoom(b, lo), w, h, func(y, x0, x1 int) {
		clear(f[y*w+x0 : y*w+x1])
	})
	line := contour(f, w, h, 0.5)
	if len(line) < 8 {
		return nil
	}
	for i, p := range line {
		line[i] = p.Scale(1. / k).Add(lo)
	}
	return evenly(line, 1)
}
