package segment

import (
	"math"

	"offtype/measure/geom"
)

// contactCost writes the cost of each row where a neighbour touches: the boundary runs along the
// dark valley between two fruit or along a step of colour, near the network's seam.
func (c *candidate) contactCost(b *band, m *Maps, i int, line, nor []geom.Px, first, last int, cost []float32) {
	rows := b.rows()
	light := make([]float64, rows)
	for t := -2; t <= 2; t++ {
		v := b.v[3*rows*((i+t+b.n)%b.n):][:3*rows]
		for r := range light {
			light[r] += (0.3*float64(v[3*r]) + 0.6*float64(v[3*r+1]) + 0.1*float64(v[3*r+2])) / 5
		}
	}
	lum := func(r int) float64 { return light[min(max(r, 0), rows-1)] }
	for r := first; r <= last; r++ {
		mid := (lum(r-1) + lum(r) + lum(r+1)) / 3
		valley := math.Min(lum(r-8), lum(r+8)) - mid
		step := math.Abs(lum(r-4) - lum(r+4))
		d := b.offset(r)
		seam := m.at(m.Seam, line[i].Add(nor[i].Scale(d)))
		d /= 0.5 * m.Cell
		cost[r] = float32(-0.15*clamp(valley, 0, 20) - 0.05*math.Min(step, 20) - 1.5*seam + math.Min(d*d, 8))
	}
}

// settleContacts lets two fruit that touch share one line: contact points closer than 4 px to the
// neighbour's outline move half-way to it.
func settleContacts(cand []*candidate) {
	by := map[int32]*candidate{}
	for _, c := range cand {
		by[c.reg.id] = c
	}
	moved := make([][]geom.Px, len(cand))
	for k, c := range cand {
		moved[k] = append([]geom.Px(nil), c.line...)
		for i, p := range c.line {
			if c.edge[i] != geom.EdgeContact {
				continue
			}
			o := by[c.other[i]]
			if o == nil {
				continue
			}
			if q, d := nearestOn(o.line, p); d < 4 {
				moved[k][i] = p.Add(q).Scale(0.5)
			}
		}
	}
	for k, c := range cand {
		c.line = moved[k]
	}
}

// nearestOn returns the point of the closed line nearest to p, and its distance.
func nearestOn(line []geom.Px, p geom.Px) (geom.Px, float64) {
	best, at := math.Inf(1), p
	for i, a := range line {
		b := line[(i+1)%len(line)]
		d := b.Sub(a)
		t := 0.0
		if l := d.Dot(d); l > 0 {
			t = clamp(p.Sub(a).Dot(d)/l, 0, 1)
		}
		q := a.Add(d.Scale(t))
		if e := q.Sub(p).Norm(); e < best {
			best, at = e, q
		}
	}
	return at, best
}
