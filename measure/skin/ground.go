package skin

import (
	"math"
	"slices"

	"offtype/measure/colour"
	"offtype/measure/geom"
)

// A shadow that falls over half the table (the photographer's, a post's) makes the fruit in it look dark, and the card,
// which lies in the sun, cannot tell. The table itself can: bare table around a fruit should be about as light as around
// the card.
const (
	groundSteps = 200 // pieces of the photo's long side, one pixel of each is looked at
	groundLeast = 30  // of them around a fruit or card, at least
	// groundAround is how far out the table is looked at, as a share of the fruit's or card's longer side.
	groundAround = 0.35
	// groundClear is by how much an outline is made larger first: close to a fruit lies its own shadow.
	groundClear = 1.15
	// groundLight is the natural logarithm of the ratio of light from which it is said. On 25 rendered tables in sun, under
	// lamps and sky the greatest is 0.48; in a shadow with a fifth of the light it is 1.5.
	groundLight = 0.65
	// groundHue is the difference in share of red or green beyond which it is another ground rather than other light.
	groundHue = 0.05
	// groundLike: one in so many fruit must lie on table as light as the card's. Otherwise the card lies on a thing of its
	// own, and nothing is said.
	groundLike = 3
	// groundWhite is a reflectance that no table has. Where it is seen around half the fruit the card lies in the shade, and
	// that is said in any case.
	groundWhite = 0.95
)

// patchOfTable is bare table around something: the light it sends back, as reflectance by the card, and its colour.
type patchOfTable struct {
	y, red, green float64 // y: 75 % quantile, so that shadows of things and gaps of boards count little
	ok            bool
}

// otherLight reports for each fruit of ph whether the table around it says that it lies in other light than the cards:
// false where too little table is seen, or where it is another ground.
func otherLight(ph *Photo) []bool {
	out := make([]bool, len(ph.Fruits))
	if len(ph.Quads) == 0 || !ph.Colour.Corrected {
		return out
	}
	g := newTableLight(ph, slices.Concat(ph.Quads, ph.Tags))
	var by patchOfTable // the lightest: the white is known there
	for _, c := range ph.Quads {
		if p := g.around(c); p.ok && (!by.ok || p.y > by.y) {
			by = p
		}
	}
	if !by.ok {
		return out
	}
	seen, like, white := 0, 0, 0
	for i := range ph.Fruits {
		p := g.around(ph.Fruits[i].Outline)
		if !p.ok {
			continue
		}
		seen++
		if p.y > groundWhite {
			white++
		}
		d := math.Abs(math.Log(p.y / by.y))
		if d < groundLight {
			like++
		}
		out[i] = d >= groundLight && math.Abs(p.red-by.red) < groundHue && math.Abs(p.green-by.green) < groundHue
	}
	if groundLike*like < seen && 2*white < seen {
		clear(out)
	}
	return out
}

// tableLight is a photo's bare table, looked at in steps.
type tableLight struct {
	ph     *Photo
	step   int
	w, h   int
	covers []bool
}

func newTableLight(ph *Photo, sheets [][]geom.Px) *tableLight {
	g := &tableLight{ph: ph, step: max(1, max(ph.Width, ph.Height)/groundSteps)}
	g.w, g.h = (ph.Width+g.step-1)/g.step, (ph.Height+g.step-1)/g.step
	g.covers = make([]bool, g.w*g.h)
	for _, q := range sheets {
		g.cover(larger(q, groundClear))
	}
	for i := range ph.Fruits {
		g.cover(larger(ph.Fruits[i].Outline, groundClear))
		g.cover(larger(ph.Fruits[i].Stalk, groundClear))
	}
	return g
}

// larger is the outline drawn k times as large about its middle.
func larger(o []geom.Px, k float64) []geom.Px {
	mid := geom.Centroid(o)
	out := make([]geom.Px, len(o))
	for i, p := range o {
		out[i] = mid.Add(p.Sub(mid).Scale(k))
	}
	return out
}

// cover marks what lies inside the outline as no table.
func (g *tableLight) cover(o []geom.Px) {
	if len(o) < 3 {
		return
	}
	lo, hi := geom.Bounds(o)
	var v []float64
	for y := max(0, int(lo.Y)/g.step); y < g.h && y*g.step <= int(hi.Y)+1; y++ {
		v = geom.Crossings(v[:0], o, float64(y*g.step))
		for k := 0; k+1 < len(v); k += 2 {
			for x := max(0, int(math.Ceil(v[k]/float64(g.step)))); x < g.w && float64(x*g.step) <= v[k+1]; x++ {
				g.covers[y*g.w+x] = true
			}
		}
	}
}

// around looks at the bare table around an outline.
func (g *tableLight) around(o []geom.Px) (p patchOfTable) {
	if len(o) < 3 {
		return p
	}
	lo, hi := geom.Bounds(larger(o, groundClear))
	m := groundAround * math.Max(hi.X-lo.X, hi.Y-lo.Y)
	var ys []float64
	var sum colour.RGB
	for y := max(0, int(lo.Y-m)/g.step); y < g.h && float64(y*g.step) <= hi.Y+m; y++ {
		for x := max(0, int(lo.X-m)/g.step); x < g.w && float64(x*g.step) <= hi.X+m; x++ {
			if g.covers[y*g.w+x] {
				continue
			}
			at := geom.Px{X: float64(x * g.step), Y: float64(y * g.step)}
			i := 3 * (y*g.step*g.ph.Width + x*g.step)
			c := g.ph.Colour.RGB([3]float64{float64(g.ph.Pix[i]), float64(g.ph.Pix[i+1]), float64(g.ph.Pix[i+2])}, at)
			ys = append(ys, c.XYZ().Y)
			for k := range sum {
				sum[k] += c[k]
			}
		}
	}
	if len(ys) < groundLeast {
		return p
	}
	slices.Sort(ys)
	all := sum[0] + sum[1] + sum[2]
	p = patchOfTable{y: ys[len(ys)*3/4], red: sum[0] / all, green: sum[1] / all}
	p.ok = p.y > 0.002 && all > 0 // black cloth in the dark says nothing
	return p
}
