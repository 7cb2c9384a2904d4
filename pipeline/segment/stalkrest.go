package segment

import (
	"cmp"
	"math"
	"slices"

	"offtype/measure/geom"
)

// Where a stalk and its fruit look alike the network often tells only a part of it as stalk: a splinter of its
// flank, or its end. The rest then stands out of the fruit's region as wide as the stalk, until the shoulder.
const (
	restThin     = 0.35 // half the width of stalk and rest / the fruit's greatest depth, at most
	restWider    = 1.35 // width of the rest / width of the stalk, at most
	restShoulder = 1.9  // width of the fruit beyond the shoulder / width of the stalk, at least
	restReach    = 0.35 // length within which the shoulder comes / width of the stalk
	restLength   = 3.5  // length of the rest / width of the stalk, at most
	restLeast    = 0.38 // area of a rest / square of the stalk's width, at least: flares at the foot of a stalk are less
	restNews     = 0.4  // area of a rest / area of the stalk that was known, at least
	restDisc     = 1.2  // radius of the disc that finds the shoulders / width of the stalk
	restInner    = 0.45 // the same / width of the fruit beyond the shoulder, at most
)

// restOfStalk returns the cells of region r that carry on its stalk towards the fruit with the stalk's width, up to where
// the fruit is much wider at once; none where it widens slowly, as a pointed end does, or where the stalk stands
// before it.
func (g *regions) restOfStalk(r *region, stalk []int) []int {
	across := g.acrossStalk(r, stalk)
	last := -1 // that has stalk
	var widths []float64
	for k := range across {
		if across[k].stalk > 0 {
			last = k
			widths = append(widths, across[k].width())
		}
	}
	if last < 1 {
		return nil
	}
	wide := median(widths)
	end := last + 1
	for end < len(across) && across[end].width() <= restWider*wide {
		end++
	}
	if wide > 2*restThin*r.wide || end == len(across) || float64(end-last-1) > restLength*wide {
		return nil
	}
	shoulder := across[min(end+int(math.Ceil(restReach*wide)), len(across)-1)].width()
	if shoulder < restShoulder*wide {
		return nil
	}
	var seeds []int
	for k := range across[:end] {
		if across[k].width() <= restWider*wide {
			seeds = append(seeds, across[k].cells...)
		}
	}
	rest := slices.DeleteFunc(g.beyondDisc(r, stalk, seeds, math.Min(restDisc*wide, restInner*shoulder)), func(i int) bool { return g.label[i] != r.id })
	area := float64(len(rest))
	if area < restLeast*wide*wide || area > restLength*wide*wide || area < restNews*float64(len(stalk)) {
		return nil
	}
	return rest
}

// beyondDisc returns which cells of a stalk and its region hang together with the seeds and cannot be reached by
// a disc of the given radius, cells, that rolls inside both.
func (g *regions) beyondDisc(r *region, stalk, seeds []int, radius float64) []int {
	b := r.box
	for _, i := range stalk {
		b = b.with(i%g.w, i/g.w)
	}
	b = box{b.x0 - 1, b.y0 - 1, b.x1 + 1, b.y1 + 1} // with table all around
	w, h := b.x1-b.x0+1, b.y1-b.y0+1
	at := func(i int) int { return (i/g.w-b.y0)*w + i%g.w - b.x0 }
	both := make([]bool, w*h)
	g.each(r, func(i int) { both[at(i)] = true })
	for _, i := range stalk {
		both[at(i)] = true
	}
	centres := make([]bool, w*h) // of the disc; the distances to them are those within what is not
	for k, d := range distances(both, w, h) {
		centres[k] = float64(d) < radius
	}
	far := distances(centres, w, h)
	var out []int
	seen := make([]bool, w*h)
	for _, s := range seeds {
		if seen[at(s)] {
			continue
		}
		out = append(out, g.gather(nil, s, func(j int) bool { return !seen[at(j)] && both[at(j)] && float64(far[at(j)]) >= radius }, func(j int) { seen[at(j)] = true })...)
	}
	return out
}

// slice is what hangs together across a stalk's axis, a cell of it long.
type slice struct {
	cells  []int
	lo, hi float64 // their range across the axis, cells
	stalk  int     // how many are stalk
}

func (s *slice) width() float64 { return s.hi - s.lo + 1 }

// place is where a cell lies across a stalk's axis, cells.
type place struct {
	cell   int
	across float64
}

// acrossStalk cuts a stalk and its region into slices across the line from the one's middle to the other's, from the
// stalk's first cell on. Each hangs together with the one before.
func (g *regions) acrossStalk(r *region, stalk []int) []slice {
	in := make(map[int]bool, len(stalk))
	for _, i := range stalk {
		in[i] = true
	}
	rows := g.stalkRows(r, stalk)
	var out []slice
	for k := 0; len(rows[k]) > 0; k++ {
		row := rows[k]
		slices.SortFunc(row, func(a, b place) int { return cmp.Compare(a.across, b.across) })
		var best slice
		for a := 0; a < len(row); {
			b := a + 1
			for b < len(row) && row[b].across-row[b-1].across < 1.8 { // cells on a diagonal lie 1.4 apart
				b++
			}
			s := newSlice(row[a:b], in)
			if (k == 0 || s.meets(&out[k-1])) && (s.stalk > best.stalk || s.stalk == best.stalk && len(s.cells) > len(best.cells)) {
				best = s
			}
			a = b
		}
		if len(best.cells) == 0 {
			break
		}
		out = append(out, best)
	}
	return out
}

// stalkRows sorts the cells of a stalk and, around it, of its region by how far along its axis they lie.
func (g *regions) stalkRows(r *region, stalk []int) map[int][]place {
	var mid geom.Px
	for _, i := range stalk {
		mid = mid.Add(g.cell(i).Scale(1 / float64(len(stalk))))
	}
	axis := geom.Px{X: r.cx, Y: r.cy}.Sub(mid)
	if axis.Norm() < 1 {
		return nil
	}
	axis = axis.Scale(1 / axis.Norm())
	first := math.Inf(1)
	for _, i := range stalk {
		first = math.Min(first, g.cell(i).Sub(mid).Dot(axis))
	}
	rows := map[int][]place{}
	put := func(i int) {
		p := g.cell(i).Sub(mid)
		if t := p.Dot(axis) - first; t >= 0 {
			k := int(t + 0.5)
			rows[k] = append(rows[k], place{i, axis.Cross(p)})
		}
	}
	g.each(r, put)
	for _, i := range stalk {
		put(i)
	}
	return rows
}

// cell is where cell i lies on the map.
func (g *regions) cell(i int) geom.Px { return geom.Px{X: float64(i % g.w), Y: float64(i / g.w)} }

func newSlice(row []place, stalk map[int]bool) slice {
	s := slice{lo: row[0].across, hi: row[len(row)-1].across}
	for _, p := range row {
		s.cells = append(s.cells, p.cell)
		if stalk[p.cell] {
			s.stalk++
		}
	}
	return s
}

// meets reports whether a slice touches the one before.
func (s *slice) meets(before *slice) bool { return s.lo < before.hi+1.5 && s.hi > before.lo-1.5 }
