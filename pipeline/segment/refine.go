package segment

import (
	"math"

	"offtype/measure/geom"
)

// refine moves the outline from the map's accuracy to the photo's: first the most likely closed
// path through the unrolled band, then the edge of each point by a fitted profile.
func (c *candidate) refine(im Image, m *Maps, t *tools, opt Options) {
	reach := opt.BandCells * m.Cell
	line, nor := c.line, normals(c.line)
	b := unroll(im, t.code, line, nor, reach+math.Max(3, 0.7*m.Cell), math.Max(bandStep, m.Cell/8))
	path := c.bestPath(im, b, m, line, nor, reach)
	off := make([]float64, len(path))
	for i, r := range path {
		off[i] = b.offset(r)
	}
	b.release()
	off = whittaker(off, ones(len(off)), 3)
	c.moveTo(line, nor, off)
	c.bias = nil
	c.fitEdges(im, t, math.Inf(1))
	c.fitEdges(im, t, fitAgain)
	c.moved = rmsGap(c.line, c.coarse) / m.Cell
}

// fitAgain is the most that the second fit of the edge moves a point, px: it is there to be finer. Those that it would move
// further go on to another edge nearby, a stripe mostly (25 rendered photos, errors above 2 px summed: 5 % less so, and
// 0.002 px more scatter where all is well).
const fitAgain = 1

func ones(n int) []float64 {
	w := make([]float64, n)
	for i := range w {
		w[i] = 1
	}
	return w
}

// moveTo sets the outline to line + off·normal and spaces it evenly again, keeping the marks.
func (c *candidate) moveTo(line, nor []geom.Px, off []float64) {
	moved := make([]geom.Px, len(line))
	for i, p := range line {
		moved[i] = p
		if c.edge[i] != geom.EdgeFrame {
			moved[i] = p.Add(nor[i].Scale(off[i]))
		}
	}
	c.line = moved
}

// bestPath returns the row of the likeliest edge in each column: the closed path of least cost.
//
// The cost of a row is that of the colours on both sides (how much likelier each is for this fruit
// than for the table near this place), of the step in that likelihood, and of the distance from the
// network's outline; the path pays for turning.
func (c *candidate) bestPath(im Image, b *band, m *Maps, line, nor []geom.Px, reach float64) []int {
	rows := b.rows()
	lead := int(math.Ceil(0.7 * m.Cell / b.step)) // rows beyond this from the line are surely in or out
	contact, skip := make([]bool, b.n), make([]bool, b.n)
	for i, e := range c.edge {
		contact[i] = e == geom.EdgeContact
		skip[i] = e != geom.EdgeFree
	}
	inner := make([]geom.Px, 0, b.n)
	for i := 0; i < b.n; i += 3 {
		inner = append(inner, line[i].Sub(nor[i].Scale(0.8*m.Cell)))
	}
	c.inside = newPalette(insideSamples(im, func(f func(y, x0, x1 int)) {
		FillSpans(inner, im.Width, im.Height, f)
	}, geom.Area(inner), 600), 8)
	sectors := min(16, max(4, b.n/24))
	c.outside = b.outsidePalettes(sectors, b.half+lead, skip, func(i, r int) bool {
		if c.grid == nil { // a stalk
			return false
		}
		l := c.grid.at(m, line[i].Add(nor[i].Scale(b.offset(r))))
		return l != 0 && l != c.reg.id
	})
	stalk, tie := c.stalkColours(im)
	cost := make([]float32, rows*b.n)
	first := max(1, b.half-int(reach/b.step))
	last := min(rows-2, b.half+int(reach/b.step))
	pr := make([]float64, rows)
	for i := range b.n {
		for r := range rows {
			cost[i*rows+r] = 1e6
		}
		out := c.outside[i*sectors/b.n]
		if c.edge[i] == geom.EdgeStalk && stalk != nil {
			out = stalk
		}
		b.likelihood(i, c.inside, out, pr)
		if contact[i] {
			c.contactCost(b, m, i, line, nor, first, last, cost[i*rows:(i+1)*rows])
			continue
		}
		regionCost(pr, b.step, first, last, cost[i*rows:(i+1)*rows])
		weight := 1.0
		if c.edge[i] == geom.EdgeStalk {
			weight = tie
		}
		for r := first; r <= last; r++ {
			d := b.offset(r) / (0.6 * m.Cell)
			cost[i*rows+r] += float32(weight * math.Min(d*d, 8))
		}
		if c.edge[i] == geom.EdgeFrame {
			for r := first; r <= last; r++ {
				cost[i*rows+r] = float32(math.Abs(b.offset(r)))
			}
		}
	}
	return closedPath(cost, b.n, rows, first, last)
}

// How much the outline is tied to the network's along the stalk's base: where fruit and stalk have each their own colour
// these tell better where the one ends (442 fruit of 46 rendered photos: the length's 95th percentile 2.4 to 2.1 % on the
// scenes, 6.2 to 5.0 and 3.6 to 3.2 % on two further sets; 0.5 does no better, 4 half as well).
const (
	baseTied  = 4
	baseLoose = 1.5
)

// stalkColours returns the colours of the stalk, nil when too few of them are strange to the fruit, and how much the
// outline is tied to the network's along its base.
func (c *candidate) stalkColours(im Image) (stalk palette, tie float64) {
	const enough = 24
	if len(c.stalk) < 8 || len(c.inside) == 0 {
		return nil, baseTied
	}
	all := insideSamples(im, func(f func(y, x0, x1 int)) { FillSpans(c.stalk, im.Width, im.Height, f) }, geom.Area(c.stalk), 300)
	own := make([]feature, 0, len(all))
	for _, v := range all {
		if c.inside.distance(v) >= strange {
			own = append(own, v)
		}
	}
	if len(own) < enough || 2*len(own) < len(all) {
		return nil, baseTied
	}
	return newPalette(own, 4), baseLoose
}

// regionCost writes, for each row, what speaks against the edge lying there; step px lie between rows.
func regionCost(pr []float64, step float64, first, last int, cost []float32) {
	const regionWeight, stepWeight = 0.35, 1.2
	sum := 0.0
	for r := range pr {
		sum += pr[r]
	}
	in := 0.0
	for r := range pr {
		in += pr[r]
		if r < first || r > last {
			continue
		}
		// rows 0..r−1 and half of r inside
		inside := in - pr[r]/2
		fall := (pr[r-1] + pr[max(0, r-2)] + pr[max(0, r-3)] - pr[r+1] - pr[min(len(pr)-1, r+2)] - pr[min(len(pr)-1, r+3)]) / 3
		cost[r] = float32(-regionWeight*step*(2*inside-sum) - stepWeight*math.Max(0, fall))
	}
}

// closedPath finds the least-cost closed path, one row a column, changing by at most two rows.
func closedPath(cost []float32, n, rows, first, last int) []int {
	const turn = 0.5
	run := func(start int, fixed bool, begin int) ([]int, float32) {
		acc := make([]float32, rows)
		from := make([]int8, n*rows)
		for r := range acc {
			acc[r] = cost[begin*rows+r]
			if fixed && r != start {
				acc[r] = 1e9
			}
		}
		next := make([]float32, rows)
		for k := 1; k < n; k++ {
			col := cost[((begin+k)%n)*rows:]
			for r := range next {
				next[r] = 1e9
			}
			for r := first; r <= last; r++ {
				best, bd := float32(1e9), int8(0)
				for d := -2; d <= 2; d++ {
					if q := r + d; q >= first && q <= last {
						if v := acc[q] + turn*float32(d*d); v < best {
							best, bd = v, int8(d)
						}
					}
				}
				next[r] = best + col[r]
				from[k*rows+r] = bd
			}
			acc, next = next, acc
		}
		end, best := first, float32(2e9)
		for r := first; r <= last; r++ {
			v := acc[r]
			if fixed {
				v += turn * float32((r-start)*(r-start))
			}
			if v < best {
				best, end = v, r
			}
		}
		path := make([]int, n)
		for k := n - 1; k >= 0; k-- {
			path[(begin+k)%n] = end
			end += int(from[k*rows+end])
		}
		return path, best
	}
	// An open run shows the row half-way round, far from its loose ends; a second run starts there.
	open, _ := run(0, false, 0)
	begin := n / 2
	path, _ := run(open[begin], true, begin)
	return path
}

// rmsGap returns the RMS distance of a's points from line b, px. Point i of a lies near point i of b.
func rmsGap(a, b []geom.Px) float64 {
	const near = 40 // points to each side
	s, n := 0.0, 0
	for i := 0; i < len(a); i += 4 {
		lo, hi := i-near, i+near
		if lo < 0 || hi > len(b) {
			lo, hi = 0, len(b)
		}
		d := distToLine(b[lo:hi], a[i])
		s += d * d
		n++
	}
	return math.Sqrt(s / math.Max(1, float64(n)))
}
