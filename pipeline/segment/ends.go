package segment

import (
	"math"

	"offtype/measure/geom"
)

// heatPoint is the peak of a heat map within a region.
type heatPoint struct {
	p    geom.Px // photo px
	heat float64 // 0–1
}

// heatPeak returns the highest place of a heat map on region id and one cell around it, to a
// fraction of a cell (centre of gravity of the 5 × 5 cells around the peak). Places within clear px
// of photo point from are passed over.
func heatPeak(m *Maps, g *regions, id int32, a []float32, from geom.Px, clear float64) heatPoint {
	best, at := float32(-1), -1
	for i, l := range g.label {
		if l != id {
			continue
		}
		try := func(j int) {
			if (g.label[j] == id || g.label[j] == 0) && a[j] > best && (clear <= 0 || m.toPhoto(float64(j%m.W), float64(j/m.W)).Sub(from).Norm() > clear) {
				best, at = a[j], j
			}
		}
		try(i)
		g.each4(i, func(j int) {
			try(j)
			if g.label[j] == 0 {
				g.each4(j, try)
			}
		})
	}
	if at < 0 {
		return heatPoint{}
	}
	x0, y0 := at%m.W, at/m.W
	var sx, sy, sw float64
	for y := max(0, y0-2); y <= min(m.H-1, y0+2); y++ {
		for x := max(0, x0-2); x <= min(m.W-1, x0+2); x++ {
			if l := g.label[y*m.W+x]; l != id && l != 0 {
				continue
			}
			w := float64(a[y*m.W+x])
			w *= w
			sx, sy, sw = sx+w*float64(x), sy+w*float64(y), sw+w
		}
	}
	if sw <= 0 {
		return heatPoint{}
	}
	return heatPoint{m.toPhoto(sx/sw, sy/sw), float64(best)}
}

// topNear is the highest value of a heat map within four cells of photo point p, on region id and
// on what no fruit holds.
func (g *regions) topNear(m *Maps, id int32, a []float32, p geom.Px) float64 {
	const reach = 4
	xf, yf := m.toMap(p)
	x0, y0 := int(math.Round(xf)), int(math.Round(yf))
	top := float32(0)
	for y := max(0, y0-reach); y <= min(m.H-1, y0+reach); y++ {
		for x := max(0, x0-reach); x <= min(m.W-1, x0+reach); x++ {
			if l := g.label[y*m.W+x]; l == id || l == 0 {
				top = max(top, a[y*m.W+x])
			}
		}
	}
	return float64(top)
}

// stemSure is the probability that the end with heat stem for a stem end and heat blossom for a
// blossom end is the stem end. Logistic in the logarithm of their ratio, fitted to 214 ends that the
// network named on 26 rendered photos that it was not trained on (14 of them wrong).
func stemSure(stem, blossom float64) float64 {
	const faint = 0.05 // heat that means nothing
	q := 3.6*math.Log((stem+faint)/(blossom+faint)) - 0.1
	return math.Min(1/(1+math.Exp(-q)), 0.97)
}

// heatLimit is the least heat of an end that is reported at all.
const heatLimit = 0.25

// ends sets stem base, stalk tip, blossom end and the upright score.
func (c *candidate) ends(m *Maps, f *Fruit) {
	var base []geom.Px
	for i, e := range c.edge {
		if e == geom.EdgeStalk {
			base = append(base, c.line[i])
		}
	}
	stem, sure := c.stem.p, c.stem.heat
	if len(base) >= 3 && len(c.stalk) > 0 {
		// The stalk leaves across the outline: the middle of that stretch is its base.
		var mid geom.Px
		for _, p := range base {
			mid = mid.Add(p.Scale(1 / float64(len(base))))
		}
		near := mid.Sub(stem).Norm() < 5*m.Cell
		weak := c.stalkTop < stalkLimit
		switch {
		case !weak && (near || sure < 0.5):
			stem, sure = mid, 1
		case weak && (near || sure < c.stalkTop):
			stem, sure = mid, math.Max(sure, c.stalkTop)
		case weak: // two faint signs at odds: the stronger one counts
			c.stalk, f.Stalk = nil, nil
		}
	}
	if sure >= heatLimit {
		f.StemBase = &stem
		f.StemBy = stemSure(c.grid.topNear(m, c.reg.id, m.Stem, stem), c.grid.topNear(m, c.reg.id, m.Bloss, stem))
		if len(c.stalk) > 0 {
			tip, far := stem, 0.0
			for _, p := range c.stalk {
				if d := p.Sub(stem).Norm(); d > far {
					tip, far = p, d
				}
			}
			f.StalkTip = &tip
		}
	}
	if c.bloss.heat >= heatLimit {
		b := c.bloss.p
		f.Blossom, f.BlossomBy = &b, c.bloss.heat
	}
	f.oneEnd()
	c.farStem(m, f)
	f.opposite()
	f.UprightScore = uprightScore(f)
}

// endSeen is the least sureness of an end that stays when another end is named at the same place:
// which of the two lies there is in doubt, that one does is not.
const endSeen = 0.4

// oneEnd keeps one of two ends that are named at one place: only one can be right. The stem end's
// sureness already weighs what speaks for the blossom end there.
func (f *Fruit) oneEnd() {
	if f.StemBase == nil || f.Blossom == nil || f.StemBase.Sub(*f.Blossom).Norm() >= 0.35*math.Sqrt(geom.Area(f.Outline)) {
		return
	}
	if f.StemBy >= 0.5 || len(f.Stalk) > 0 {
		f.StemBy = math.Max(f.StemBy, endSeen)
		f.Blossom, f.BlossomBy = nil, 0
		return
	}
	f.BlossomBy = math.Max(f.BlossomBy*(1-f.StemBy), math.Min(f.BlossomBy, endSeen))
	f.StemBase, f.StemBy, f.StalkTip = nil, 0, nil
}

// faintStem is the least heat of a stem end far from a blossom end that is seen.
const faintStem = 0.1

// farStemSure is the most that such a stem end is sure: with more, a wrong one turned a slanted round fruit (length off by
// a quarter).
const farStemSure = 0.45

// farStem looks for the stem end of a fruit whose blossom end is seen: it lies elsewhere, mostly on
// the far side, and there less heat will do.
func (c *candidate) farStem(m *Maps, f *Fruit) {
	if f.StemBase != nil || f.Blossom == nil || f.BlossomBy < endSeen {
		return
	}
	p := heatPeak(m, c.grid, c.reg.id, m.Stem, *f.Blossom, 0.5*math.Sqrt(geom.Area(f.Outline)))
	if p.heat < faintStem {
		return
	}
	f.StemBase, f.StemBy = &p.p, math.Min(farStemSure, stemSure(p.heat, c.grid.topNear(m, c.reg.id, m.Bloss, p.p)))
}

// opposite takes away the less sure end of a fruit about as long as wide when its two ends lie on
// its rim and not across from each other: nothing but a bent fruit, which is longer, can be so.
func (f *Fruit) opposite() {
	const round, askew = 1.4, 0.5 // length / width; cosine of the angle between the two ways from the middle
	if f.StemBase == nil || f.Blossom == nil {
		return
	}
	mid := geom.Centroid(f.Outline)
	s, b := f.StemBase.Sub(mid), f.Blossom.Sub(mid)
	rim := 0.35 * math.Sqrt(geom.Area(f.Outline))
	if s.Norm() < rim || b.Norm() < rim || s.X*b.X+s.Y*b.Y < -askew*s.Norm()*b.Norm() || elongation(f.Outline) > round {
		return
	}
	if f.StemBy >= f.BlossomBy {
		f.Blossom, f.BlossomBy = nil, 0
		return
	}
	f.StemBase, f.StemBy, f.StalkTip = nil, 0, nil
}

// elongation is length / width of the ellipse with the moments of the line's points about their middle.
func elongation(line []geom.Px) float64 {
	var s moments
	mid := geom.Centroid(line)
	for _, p := range line {
		s.add(p.X-mid.X, p.Y-mid.Y)
	}
	return s.elongation()
}

// uprightScore is 0 when the visible ends lie on the outline and 1 when one lies in its middle:
// the depth of the deepest sure end inside the outline over the radius of the greatest disc
// that fits around the centroid.
func uprightScore(f *Fruit) float64 {
	deep := func(p geom.Px) float64 {
		if !geom.Contains(f.Outline, p) {
			return 0
		}
		return distToLine(f.Outline, p)
	}
	inner := distToLine(f.Outline, geom.Centroid(f.Outline))
	if inner <= 0 {
		return 0
	}
	s := 0.0
	if f.StemBase != nil && f.StemBy >= endSeen {
		s = deep(*f.StemBase) / inner
	}
	if f.Blossom != nil && f.BlossomBy >= endSeen {
		s = math.Max(s, deep(*f.Blossom)/inner)
	}
	return clamp(s, 0, 1)
}

// distToLine returns the distance from p to the closed line, px.
func distToLine(line []geom.Px, p geom.Px) float64 {
	if len(line) == 0 {
		return math.Inf(1)
	}
	best := math.Inf(1)
	a := line[len(line)-1]
	for _, b := range line {
		dx, dy, px, py := b.X-a.X, b.Y-a.Y, p.X-a.X, p.Y-a.Y
		if l := dx*dx + dy*dy; l > 0 {
			t := clamp((px*dx+py*dy)/l, 0, 1)
			px, py = px-t*dx, py-t*dy
		}
		best = min(best, px*px+py*py)
		a = b
	}
	return math.Sqrt(best)
}
