package segment

import (
	"math"
	"sort"
)

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

// Seam probabilities along a border from which on it is a hint of a seam, and as good as one.
const faintSeam, clearSeam = 0.1, 0.6

// join merges neighbouring regions that name the same centre. Two fruit side by side name centres that lie as far apart as
// the regions do, whatever their shape; parts of one fruit name nearly the same place. A seam between them, if only a
// faint one, or a waist where they meet, asks for closer agreement: on 45 rendered photos no two parts of a fruit had a
// seam of more than 0.07 between them, but for the arms of a curled one, and no two fruit one of less than 0.26; parts of
// real ones had up to 0.32, those of fruit less than 25 px wide down to 0.1.
func (g *regions) join(m *Maps) {
	for range len(g.regions) {
		by := map[int32]*region{}
		for _, r := range g.regions {
			by[r.id] = r
		}
		best, cost := border{}, 1.0
		for _, b := range g.borders(m, 4) {
			p, q := by[b.a], by[b.b]
			ratio := math.Hypot(q.vx-p.vx, q.vy-p.vy) / math.Max(1, math.Hypot(q.cx-p.cx, q.cy-p.cy))
			seam := b.seam / float64(b.n)
			open := ramp(b.wide/math.Max(1, math.Min(p.wide, q.wide)), 0.55, 0.95)
			near := 0.04 + 0.16*(1-ramp(seam, 0.6, 0.85)) // a fruit bent round another names a centre near its own
			// Nothing parts them, neither seam nor waist: the ends of a curled fruit, which name centres far apart.
			whole := 0.8 * ramp(-seam, -0.12, -0.06) * ramp(open, 0.55, 0.7)
			if c := ratio / (near + 0.9*(1-ramp(seam, faintSeam, clearSeam))*open + whole); c < cost {
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
