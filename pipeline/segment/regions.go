package segment

import (
	"fmt"
	"math"
	"sort"

	"offtype/measure/geom"
)

// region is one candidate fruit on the map grid.
type region struct {
	id     int32 // its number in regions.label, from 1
	cells  int
	cx, cy float64 // mean of the cells, map coordinates
	vx, vy float64 // mean of their votes for the fruit's centre
	body   float64 // mean body probability
	spread float64 // RMS of the votes about their mean / equivalent radius
	wide   float64 // greatest distance of a cell to the table, cells
	reject string
}

func (r *region) radius() float64 { return math.Sqrt(float64(r.cells) / math.Pi) }

func (r *region) reason() string { return r.reject }

// regions holds the labelled grid: label 0 is table, otherwise regions[i].id.
type regions struct {
	w, h    int
	label   []int32
	depth   []float32 // distance of each body cell to the nearest table cell, cells
	regions []*region
}

// findRegions turns the maps into one region a fruit: cells above the body limit, seams taken
// out, are grouped by where their centre votes point; neighbouring groups that vote for the same
// centre are joined again; what is too small, too thin or too faint is marked as rejected.
func findRegions(m *Maps, own *ownColours, opt Options) *regions {
	g := &regions{w: m.W, h: m.H, label: make([]int32, m.W*m.H)}
	fg := make([]bool, len(g.label))
	for i := range fg {
		fg[i] = float64(m.Body[i]) > opt.BodyLimit
	}
	fillHoles(fg, m)
	g.depth = distances(fg, m.W, m.H)
	g.seed(m, fg)
	g.measure(m)
	g.join(m)
	g.flood(m, fg)
	g.measure(m)
	g.join(m)
	g.keepLargestParts(m)
	g.grow(m, own)
	g.fill()
	g.measure(m)
	for _, r := range g.regions {
		r.reject = g.judge(m, r, opt)
	}
	return g
}

// fillHoles adds the table areas that are wholly inside fruit: a fruit has no holes, but stripes and
// patches can look like table. Areas with cells of seams or cards, and large ones, stay.
func fillHoles(fg []bool, m *Maps) {
	seen := make([]bool, len(fg))
	var stack, area []int
	most := m.W * m.H / 100
	for s := range fg {
		if fg[s] || seen[s] {
			continue
		}
		seen[s] = true
		stack, area = append(stack[:0], s), area[:0]
		open := false
		for len(stack) > 0 {
			i := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			area = append(area, i)
			x, y := i%m.W, i/m.W
			open = open || x == 0 || y == 0 || x == m.W-1 || y == m.H-1 || m.Block[i] || m.Stalk[i] > 0.5
			for _, j := range [4]int{i - 1, i + 1, i - m.W, i + m.W} {
				if j < 0 || j >= len(fg) || (j == i-1 && x == 0) || (j == i+1 && x == m.W-1) {
					continue
				}
				if !fg[j] && !seen[j] {
					seen[j] = true
					stack = append(stack, j)
				}
			}
		}
		if !open && len(area) <= most {
			var low float32
			for _, i := range area {
				low += m.Body[i]
			}
			// Three fruit around a clear piece of table make a hole too: the map knows it for table.
			if len(area) < 30 || low/float32(len(area)) > 0.15 {
				for _, i := range area {
					fg[i] = true
				}
			}
		}
	}
}

// seed labels the seam-free body cells: each takes the vote peak nearest to its own vote, and each
// connected part of one peak becomes a region of its own.
func (g *regions) seed(m *Maps, fg []bool) {
	peaks := votePeaks(m, fg)
	near := make([]int32, len(fg))
	for i := range fg {
		if !fg[i] || m.Seam[i] > 0.5 || len(peaks) == 0 {
			continue
		}
		x, y := float64(i%g.w)+float64(m.DX[i]), float64(i/g.w)+float64(m.DY[i])
		best, bd := 0, math.Inf(1)
		for k, p := range peaks {
			if d := (p.X-x)*(p.X-x) + (p.Y-y)*(p.Y-y); d < bd {
				best, bd = k, d
			}
		}
		near[i] = int32(best + 1)
	}
	var stack []int
	n := int32(0)
	for s := range near {
		if near[s] == 0 || g.label[s] != 0 {
			continue
		}
		n++
		g.label[s] = n
		stack = append(stack[:0], s)
		for len(stack) > 0 {
			i := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			g.each4(i, func(j int) {
				if near[j] == near[s] && g.label[j] == 0 {
					g.label[j] = n
					stack = append(stack, j)
				}
			})
		}
	}
}

// each4 calls f for the 4-neighbours of cell i.
func (g *regions) each4(i int, f func(j int)) {
	x, y := i%g.w, i/g.w
	if x > 0 {
		f(i - 1)
	}
	if x < g.w-1 {
		f(i + 1)
	}
	if y > 0 {
		f(i - g.w)
	}
	if y < g.h-1 {
		f(i + g.w)
	}
}

// votePeaks returns the places (map coordinates) that many cells name as their fruit's centre.
func votePeaks(m *Maps, fg []bool) []geom.Px {
	acc := make([]float32, m.W*m.H)
	for i, in := range fg {
		if !in {
			continue
		}
		x := int(math.Round(float64(i%m.W) + float64(m.DX[i])))
		y := int(math.Round(float64(i/m.W) + float64(m.DY[i])))
		if x >= 0 && y >= 0 && x < m.W && y < m.H {
			acc[y*m.W+x] += 1 - m.Seam[i]
		}
	}
	for range 2 {
		acc = boxBlur(acc, m.W, m.H, 2)
	}
	const reach = 4
	var out []geom.Px
	for y := range m.H {
		for x := range m.W {
			v := acc[y*m.W+x]
			if v < 0.02 {
				continue
			}
			top := true
			for yy := max(0, y-reach); yy <= min(m.H-1, y+reach) && top; yy++ {
				for xx := max(0, x-reach); xx <= min(m.W-1, x+reach); xx++ {
					u := acc[yy*m.W+xx]
					if u > v || (u == v && (yy < y || (yy == y && xx < x))) {
						top = false
						break
					}
				}
			}
			if top {
				out = append(out, geom.Px{X: float64(x), Y: float64(y)})
			}
		}
	}
	return out
}

// boxBlur averages over (2r+1)² cells; outside counts as 0.
func boxBlur(a []float32, w, h, r int) []float32 {
	t, o := make([]float32, len(a)), make([]float32, len(a))
	k := 1 / float32(2*r+1)
	line := func(src, dst []float32, n, from, step int) {
		s := float32(0)
		for i := -r; i < n; i++ {
			if i+r < n {
				s += src[from+(i+r)*step]
			}
			if i-r-1 >= 0 {
				s -= src[from+(i-r-1)*step]
			}
			if i >= 0 {
				dst[from+i*step] = s * k
			}
		}
	}
	for y := range h {
		line(a, t, w, y*w, 1)
	}
	for x := range w {
		line(t, o, h, x, w)
	}
	return o
}

// measure rebuilds the list of regions from the labels.
func (g *regions) measure(m *Maps) {
	by := map[int32]*region{}
	for i, l := range g.label {
		if l == 0 {
			continue
		}
		r := by[l]
		if r == nil {
			r = &region{id: l}
			by[l] = r
		}
		x, y := float64(i%g.w), float64(i/g.w)
		r.cells++
		r.cx += x
		r.cy += y
		r.vx += x + float64(m.DX[i])
		r.vy += y + float64(m.DY[i])
		r.body += float64(m.Body[i])
		r.wide = max(r.wide, float64(g.depth[i]))
	}
	g.regions = g.regions[:0]
	for _, r := range by {
		n := float64(r.cells)
		r.cx, r.cy, r.vx, r.vy, r.body = r.cx/n, r.cy/n, r.vx/n, r.vy/n, r.body/n
		g.regions = append(g.regions, r)
	}
	for i, l := range g.label {
		if l != 0 {
			r := by[l]
			dx, dy := float64(i%g.w)+float64(m.DX[i])-r.vx, float64(i/g.w)+float64(m.DY[i])-r.vy
			r.spread += dx*dx + dy*dy
		}
	}
	for _, r := range g.regions {
		r.spread = math.Sqrt(r.spread/float64(r.cells)) / r.radius()
	}
	sort.Slice(g.regions, func(i, j int) bool { return g.regions[i].id < g.regions[j].id })
}

// border is what two neighbouring regions share.
type border struct {
	a, b int32
	n    int     // cell pairs
	seam float64 // sum of the seam probability along it
	wide float64 // greatest distance to the table along it, cells
}

// borders lists the pairs of regions at most reach cells apart, in a fixed order.
func (g *regions) borders(m *Maps, reach int) []border {
	by := map[[2]int32]*border{}
	for i, l := range g.label {
		if l == 0 {
			continue
		}
		x, y := i%g.w, i/g.w
		for _, st := range [2][2]int{{1, 0}, {0, 1}} {
			top := m.Seam[i]
			for k := 1; k <= reach; k++ {
				xx, yy := x+k*st[0], y+k*st[1]
				if xx >= g.w || yy >= g.h {
					break
				}
				j := yy*g.w + xx
				top = max(top, m.Seam[j])
				if m.Body[j] < 0.3 || g.label[j] == l {
					break
				}
				if o := g.label[j]; o != 0 {
					key := [2]int32{min(l, o), max(l, o)}
					b := by[key]
					if b == nil {
						b = &border{a: key[0], b: key[1]}
						by[key] = b
					}
					b.n++
					b.seam += float64(top)
					b.wide = max(b.wide, float64(g.depth[i]))
					break
				}
			}
		}
	}
	out := make([]border, 0, len(by))
	for _, b := range by {
		out = append(out, *b)
	}
	sort.Slice(out, func(i, j int) bool {
		return out[i].a < out[j].a || (out[i].a == out[j].a && out[i].b < out[j].b)
	})
	return out
}

// join merges neighbouring regions that name the same centre. Two fruit side by side have centres
// about one sum of radii apart; parts of one fruit name nearly the same place. A seam between
// them, or a waist where they meet, asks for closer agreement.
func (g *regions) join(m *Maps) {
	for range len(g.regions) {
		by := map[int32]*region{}
		for _, r := range g.regions {
			by[r.id] = r
		}
		best, cost := border{}, 1.0
		for _, b := range g.borders(m, 4) {
			p, q := by[b.a], by[b.b]
			ratio := math.Hypot(p.vx-q.vx, p.vy-q.vy) / (p.radius() + q.radius())
			seam := b.seam / float64(b.n)
			open := ramp(b.wide/math.Max(1, math.Min(p.wide, q.wide)), 0.55, 0.95)
			if c := ratio / (0.2 + 0.9*(1-seam)*open); c < cost {
				best, cost = b, c
			}
		}
		if cost >= 1 {
			return
		}
		for i, l := range g.label {
			if l == best.b {
				g.label[i] = best.a
			}
		}
		g.measure(m)
	}
}

// distances returns for each cell inside about how far the nearest cell outside lies (two passes
// with steps 1 and √2; beyond the map nothing counts as outside).
func distances(in []bool, w, h int) []float32 {
	const diag = 1.41421356
	d := make([]float32, len(in))
	for i := range d {
		if in[i] {
			d[i] = float32(w + h)
		}
	}
	pass := func(x, y, sx, sy int) {
		i := y*w + x
		at := func(x, y int, step float32) {
			if x >= 0 && y >= 0 && x < w && y < h {
				d[i] = min(d[i], d[y*w+x]+step)
			}
		}
		at(x-sx, y, 1)
		at(x, y-sy, 1)
		at(x-sx, y-sy, diag)
		at(x+sx, y-sy, diag)
	}
	for y := range h {
		for x := range w {
			pass(x, y, 1, 1)
		}
	}
	for y := h - 1; y >= 0; y-- {
		for x := w - 1; x >= 0; x-- {
			pass(x, y, -1, -1)
		}
	}
	return d
}

// flood gives the body cells left over (the seams) to the nearest region, ring by ring.
func (g *regions) flood(m *Maps, fg []bool) {
	var ring []int
	for i, l := range g.label {
		if l != 0 {
			ring = append(ring, i)
		}
	}
	for len(ring) > 0 {
		var next []int
		for _, i := range ring {
			g.each4(i, func(j int) {
				if fg[j] && g.label[j] == 0 {
					g.label[j] = g.label[i]
					next = append(next, j)
				}
			})
		}
		ring = next
	}
}

// keepLargestParts drops all but the greatest connected part of each region.
func (g *regions) keepLargestParts(m *Maps) {
	part := make([]int32, len(g.label))
	size := []int{0}
	best := map[int32]int32{}
	var stack []int
	for s, l := range g.label {
		if l == 0 || part[s] != 0 {
			continue
		}
		n := int32(len(size))
		size = append(size, 0)
		part[s] = n
		stack = append(stack[:0], s)
		for len(stack) > 0 {
			i := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			size[n]++
			g.each4(i, func(j int) {
				if g.label[j] == l && part[j] == 0 {
					part[j] = n
					stack = append(stack, j)
				}
			})
		}
		if b, ok := best[l]; !ok || size[n] > size[b] {
			best[l] = n
		}
	}
	for i, l := range g.label {
		if l != 0 && part[i] != best[l] {
			g.label[i] = 0
		}
	}
}

// fill evens out each region's rim: a table cell with at least three of four neighbours in one
// region joins it, twice over.
func (g *regions) fill() {
	for range 2 {
		old := append([]int32(nil), g.label...)
		for i, l := range old {
			if l != 0 {
				continue
			}
			var at [4]int32
			n := 0
			g.each4(i, func(j int) { at[n] = old[j]; n++ })
			for _, v := range at {
				k := 0
				for _, u := range at {
					if u == v {
						k++
					}
				}
				if v != 0 && k >= 3 {
					g.label[i] = v
				}
			}
		}
	}
}

// judge says why a region is not a fruit, or "".
func (g *regions) judge(m *Maps, r *region, opt Options) string {
	share := float64(r.cells) / (float64(m.W) * float64(m.H))
	if r.cells < 16 || share < opt.MinAreaShare {
		return fmt.Sprintf("too small: %.3f %% of the photo", 100*share)
	}
	if r.body < 0.6 {
		return fmt.Sprintf("not clearly a fruit: mean probability %.2f", r.body)
	}
	// Elongation from second moments: length / width of the ellipse with the same moments.
	var xx, xy, yy float64
	for i, l := range g.label {
		if l == r.id {
			dx, dy := float64(i%g.w)-r.cx, float64(i/g.w)-r.cy
			xx, xy, yy = xx+dx*dx, xy+dx*dy, yy+dy*dy
		}
	}
	mean, dif := (xx+yy)/2, math.Hypot((xx-yy)/2, xy)
	if long := math.Sqrt((mean + dif) / math.Max(mean-dif, 1e-9)); long > 9 {
		return fmt.Sprintf("too thin: %.1f times as long as wide", long)
	}
	return ""
}
