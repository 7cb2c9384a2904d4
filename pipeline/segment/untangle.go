package segment

import (
	"math"

	"offtype/measure/geom"
)

// untangle cuts the small loops that a closed line makes where it crosses itself within a stretch
// of reach points. The marks of the points that stay stay with them.
func (c *candidate) untangle(reach int) {
	n := len(c.line)
	reach = min(reach, n/3)
	longest := 0.0
	for i, p := range c.line {
		longest = math.Max(longest, c.line[(i+1)%n].Sub(p).Norm())
	}
	far2 := 4.1 * longest * longest
	drop := make([]bool, n)
	moved := map[int]geom.Px{}
	for i := 0; i < n; i++ {
		if drop[i] {
			continue
		}
		a, b := c.line[i], c.line[(i+1)%n]
		for k := reach; k >= 2; k-- { // the widest loop first
			j := (i + k) % n
			if d := c.line[j].Sub(a); d.Dot(d) > far2 { // too far apart to cross
				continue
			}
			p, ok := crossing(a, b, c.line[j], c.line[(j+1)%n])
			if !ok {
				continue
			}
			for t := 1; t <= k; t++ {
				drop[(i+t)%n] = true
			}
			last := (i + k) % n // one point stays, at the crossing
			drop[last], moved[last] = false, p
			break
		}
	}
	if len(moved) == 0 {
		return
	}
	var line []geom.Px
	var edge []geom.Edge
	var other []int32
	var sigma []float64
	for i := range n {
		if drop[i] {
			continue
		}
		p := c.line[i]
		if q, ok := moved[i]; ok {
			p = q
		}
		line, edge = append(line, p), append(edge, c.edge[i])
		other, sigma = append(other, c.other[i]), append(sigma, c.sigma[i])
	}
	if len(line) >= 8 {
		c.line, c.edge, c.other, c.sigma = line, edge, other, sigma
	}
}

// crossing returns where the segments a–b and p–q cross, both ends left out.
func crossing(a, b, p, q geom.Px) (geom.Px, bool) {
	d, e := b.Sub(a), q.Sub(p)
	det := d.Cross(e)
	if det == 0 {
		return geom.Px{}, false
	}
	s, t := p.Sub(a).Cross(e)/det, p.Sub(a).Cross(d)/det
	if s <= 0 || s >= 1 || t <= 0 || t >= 1 {
		return geom.Px{}, false
	}
	return a.Add(d.Scale(s)), true
}
