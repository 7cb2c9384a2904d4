package segment

import (
	"fmt"
	"math"
	"slices"
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
	box    box     // the cells' range when last measured
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
	g.fillHoles(fg, m)
	g.depth = distances(fg, m.W, m.H)
	g.seed(m, fg)
	g.measure(m)
	g.join(m)
	g.flood(m, fg)
	g.measure(m)
	g.join(m)
	g.keepLargestParts(m)
	g.shed(m, own)
	g.grow(m, own)
	g.fill()
	g.measure(m)
	for _, r := range g.regions {
		r.reject = g.judge(m, r, opt)
	}
	return g
}

// seed labels the body cells without a seam or the ridge of a faint one: each takes the vote peak nearest to its own vote,
// and each connected part of one peak becomes a region of its own.
func (g *regions) seed(m *Maps, fg []bool) {
	peaks := votePeaks(m, fg)
	near := make([]int32, len(fg))
	for i := range fg {
		if !fg[i] || m.Seam[i] > 0.5 || m.ridge(i) || len(peaks) == 0 {
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
	n := int32(0)
	var part []int
	for s := range near {
		if near[s] == 0 || g.label[s] != 0 {
			continue
		}
		n++
		part = g.gather(part, s, func(j int) bool { return near[j] == near[s] && g.label[j] == 0 }, func(j int) { g.label[j] = n })
	}
}

// ridge reports whether the seam probability at cell i, though low, is a line's: clearly greater than three cells to
// both sides, and no less than next to it. Where fruit lie close together the network is often unsure of a seam but not
// of its place.
func (m *Maps) ridge(i int) bool {
	v := m.Seam[i]
	x, y := i%m.W, i/m.W
	if v < ridgeLow || x < ridgeReach || y < ridgeReach || x >= m.W-ridgeReach || y >= m.H-ridgeReach {
		return false
	}
	for _, step := range [...]int{1, m.W, m.W + 1, m.W - 1} {
		a, b := i-ridgeReach*step, i+ridgeReach*step
		if max(m.Seam[a], m.Seam[b]) < ridgeFall*v && v >= max(m.Seam[i-step], m.Seam[i+step]) {
			return true
		}
	}
	return false
}

const (
	ridgeLow   = 0.04 // least seam probability of a ridge
	ridgeReach = 3    // cells to each side
	ridgeFall  = 0.5  // to which share of the ridge's it has fallen there
)

// gather lists cell s and what hangs together with it by 4-neighbours that free says yes to; took is
// told of each, and free must say no to it from then on. The list reuses the array of cells.
func (g *regions) gather(cells []int, s int, free func(j int) bool, took func(j int)) []int {
	cells = append(cells[:0], s)
	took(s)
	for k := 0; k < len(cells); k++ {
		g.each4(cells[k], func(j int) {
			if free(j) {
				took(j)
				cells = append(cells, j)
			}
		})
	}
	return cells
}

// each4 calls f for the 4-neighbours of cell i.
func (g *regions) each4(i int, f func(j int)) {
	x := i % g.w
	if x > 0 {
		f(i - 1)
	}
	if x < g.w-1 {
		f(i + 1)
	}
	if i >= g.w {
		f(i - g.w)
	}
	if i < g.w*(g.h-1) {
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
	by := make([]*region, slices.Max(g.label)+1)
	for i, l := range g.label {
		if l == 0 {
			continue
		}
		r := by[l]
		if r == nil {
			r = &region{id: l, box: box{g.w, g.h, -1, -1}}
			by[l] = r
		}
		x, y := float64(i%g.w), float64(i/g.w)
		r.cells++
		r.box = r.box.with(i%g.w, i/g.w)
		r.cx += x
		r.cy += y
		r.vx += x + float64(m.DX[i])
		r.vy += y + float64(m.DY[i])
		r.body += float64(m.Body[i])
		r.wide = max(r.wide, float64(g.depth[i]))
	}
	g.regions = g.regions[:0]
	for _, r := range by {
		if r == nil {
			continue
		}
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

// judge says why a region is not a fruit, or "".
func (g *regions) judge(m *Maps, r *region, opt Options) string {
	share := float64(r.cells) / (float64(m.W) * float64(m.H))
	if r.cells < 16 || share < opt.MinAreaShare {
		return fmt.Sprintf("too small: %.3f %% of the photo", 100*share)
	}
	if r.body < 0.6 {
		return fmt.Sprintf("not clearly a fruit: mean probability %.2f", r.body)
	}
	var shape moments
	g.each(r, func(i int) { shape.add(float64(i%g.w)-r.cx, float64(i/g.w)-r.cy) })
	if long := shape.elongation(); long > 9 {
		return fmt.Sprintf("too thin: %.1f times as long as wide", long)
	}
	return ""
}

// moments are the second moments of an area about its middle.
type moments struct{ xx, xy, yy float64 }

func (s *moments) add(dx, dy float64) {
	s.xx, s.xy, s.yy = s.xx+dx*dx, s.xy+dx*dy, s.yy+dy*dy
}

// elongation is length / width of the ellipse with the same moments.
func (s *moments) elongation() float64 {
	mean, dif := (s.xx+s.yy)/2, math.Hypot((s.xx-s.yy)/2, s.xy)
	return math.Sqrt((mean + dif) / math.Max(mean-dif, 1e-9))
}
