package segment

import "slices"

// fillHoles adds the table areas that are wholly inside fruit: a fruit has no holes, but stripes and
// patches can look like table. Areas with cells of seams or cards, and large ones, stay.
func (g *regions) fillHoles(fg []bool, m *Maps) {
	seen := make([]bool, len(fg))
	var area []int
	most := m.W * m.H / 100
	for s := range fg {
		if fg[s] || seen[s] {
			continue
		}
		open := false
		area = g.gather(area, s, func(j int) bool { return !fg[j] && !seen[j] }, func(j int) {
			seen[j] = true
			x, y := j%m.W, j/m.W
			open = open || x == 0 || y == 0 || x == m.W-1 || y == m.H-1 || m.Block[j] || m.Stalk[j] > 0.5
		})
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
	sweep := func(row, last []float32) { // last: the row before, nil: none
		for x, v := range row {
			if v == 0 {
				continue
			}
			if x > 0 {
				v = min(v, row[x-1]+1)
			}
			if last != nil {
				v = min(v, last[x]+1)
				if x > 0 {
					v = min(v, last[x-1]+diag)
				}
				if x+1 < len(row) {
					v = min(v, last[x+1]+diag)
				}
			}
			row[x] = v
		}
	}
	for range 2 { // the second time from the other end
		var last []float32
		for y := range h {
			row := d[y*w : (y+1)*w]
			sweep(row, last)
			last = row
		}
		slices.Reverse(d)
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
	var cells []int
	for s, l := range g.label {
		if l == 0 || part[s] != 0 {
			continue
		}
		n := int32(len(size))
		cells = g.gather(cells, s, func(j int) bool { return g.label[j] == l && part[j] == 0 }, func(j int) { part[j] = n })
		size = append(size, len(cells))
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
			if x := i % g.w; x > 0 && x < g.w-1 && i >= g.w && i+g.w < len(old) &&
				old[i-1]|old[i+1]|old[i-g.w]|old[i+g.w] == 0 {
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
