package segment

import (
	"fmt"
	"math"

	"offtype/measure/geom"
)

// confidence is the probability-like 0–1 product of what speaks for one whole, rightly outlined
// fruit: how sure the network is inside and how steep its map is at the outline, how clear the
// photo's edge is, how far the edge lies from the network's, and how whole the shape is.
func (c *candidate) confidence(m *Maps) float64 {
	inside := ramp(c.reg.body, 0.65, 0.92)
	agree := 1 - ramp(c.moved, 0.5, 1.4)
	edge := 1 - 0.6*ramp(c.bad, 0.15, 0.7)
	edge *= 1 - 0.6*ramp(c.gap, 0.35, 0.8)
	votes := 1 - 0.7*ramp(c.reg.spread, 0.25, 0.7)
	hull := geom.Hull(c.line)
	solid := geom.Area(c.line) / math.Max(geom.Area(hull), 1)
	shape := 0.3 + 0.7*ramp(solid, 0.55, 0.7)
	whole := 1 - 0.7*ramp(c.seamInside(m)/c.reg.radius(), 0.4, 1.2)
	return clamp(inside*(0.3+0.7*agree)*edge*votes*shape*whole, 0, 1)
}

// seamInside is about the length, cells, of clear seams that have this fruit on both sides: a sign of
// two fruit in one outline.
func (c *candidate) seamInside(m *Maps) float64 {
	g := c.grid
	if g == nil {
		return 0
	}
	const away, wide = 3, 2.5
	own := func(x, y int) bool {
		return x >= 0 && y >= 0 && x < g.w && y < g.h && g.label[y*g.w+x] == c.reg.id && m.Seam[y*g.w+x] < 0.3
	}
	n := 0
	for y := c.reg.box.y0; y <= c.reg.box.y1; y++ {
		for x := c.reg.box.x0; x <= c.reg.box.x1; x++ {
			if i := y*g.w + x; g.label[i] != c.reg.id || m.Seam[i] < 0.6 {
				continue
			}
			if own(x-away, y) && own(x+away, y) || own(x, y-away) && own(x, y+away) {
				n++
			}
		}
	}
	return float64(n) / wide
}

// pieceOf says that a doubtful outline is no fruit of its own but a small piece of the one that it
// touches or of that one's stalk, a leaf or the end of a husk; then it gives the reason, else "".
func (c *candidate) pieceOf(cand []*candidate, m *Maps, f Fruit, opt Options) string {
	if f.Confidence >= opt.UnsureBelow {
		return ""
	}
	for _, o := range cand {
		if o == c || 10*geom.Area(f.Outline) > geom.Area(o.line) {
			continue
		}
		near := 0
		for _, p := range f.Outline {
			if distToLine(o.line, p) < 2*m.Cell || distToLine(o.stalk, p) < 2*m.Cell {
				near++
			}
		}
		if 5*near > len(f.Outline) {
			return "a piece of the fruit beside it"
		}
	}
	return ""
}

// isTable says that a doubtful outline that runs out of the picture, with hardly an edge of its own
// and the table's colours inside, is a piece of a table as lively as a fruit's skin (leaves, stones).
func (c *candidate) isTable(f Fruit, own *ownColours, opt Options) bool {
	return f.Confidence < opt.UnsureBelow && c.cut && c.bad > weakEdge && own.tableShare(c.grid, c.reg) > 0.7
}

// ramp is 0 below lo, 1 above hi, straight between.
func ramp(v, lo, hi float64) float64 { return clamp((v-lo)/(hi-lo), 0, 1) }

// implausible says why an outlined thing is not counted as a fruit, or "".
func implausible(f Fruit, im Image, opt Options) string {
	area := geom.Area(f.Outline)
	if share := area / (float64(im.Width) * float64(im.Height)); share < opt.MinAreaShare {
		return fmt.Sprintf("too small: %.3f %% of the photo", 100*share)
	}
	hull := geom.Area(geom.Hull(f.Outline))
	if hull > 0 && area/hull < 0.6 {
		return fmt.Sprintf("odd shape: fills %.0f %% of its hull", 100*area/hull)
	}
	if f.Confidence < 0.12 {
		return fmt.Sprintf("not clearly a fruit: confidence %.2f", f.Confidence)
	}
	return ""
}
