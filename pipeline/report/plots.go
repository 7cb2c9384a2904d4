package report

import (
	"fmt"
	"math"
	"slices"

	"offtype/cluster/reference"
	"offtype/measure/colour"
	"offtype/pipeline/record"
)

// dotted is a fruit in a plot.
type dotted struct {
	x, y  float64
	group int
	fill  string
}

// verdictFill tells the verdict by the fill of a mark: white true, grey doubtful, black off-type.
func verdictFill(v record.Verdict) string {
	switch v {
	case record.OffType:
		return black
	case record.Doubtful:
		return "#9a9a9a"
	}
	return white
}

// ticks returns round numbers from lo to hi, about n.
func ticks(lo, hi float64, n int) []float64 {
	if !(hi > lo) {
		return []float64{lo}
	}
	step := math.Pow(10, math.Floor(math.Log10((hi-lo)/float64(n))))
	for _, m := range []float64{1, 2, 5, 10} {
		if (hi-lo)/(step*m) <= float64(n) {
			step *= m
			break
		}
	}
	var out []float64
	for k := math.Ceil(lo / step); k*step <= hi+1e-9*step; k++ {
		out = append(out, math.Round(k*step*1e6)/1e6+0) // + 0: never −0
	}
	return out
}

// dotPlot draws one trait: a row a group, the description's range as a band.
func (b *docBuilder) dotPlot(t *trait) (drawing, bool) {
	rows := b.groupNumbers()
	pts := map[int][]dotted{}
	lo, hi := math.Inf(1), math.Inf(-1)
	n := 0
	for i := range b.run.Fruits {
		f := &b.run.Fruits[i]
		v := t.of(f)
		if !v.Ok() || math.IsInf(v.V, 0) {
			continue
		}
		g := b.member[f.Key()].Group
		pts[g] = append(pts[g], dotted{x: v.V, group: g, fill: verdictFill(b.verdict[f.Key()].Verdict)})
		lo, hi = math.Min(lo, v.V), math.Max(hi, v.V)
		n++
	}
	if n == 0 {
		return drawing{}, false
	}
	dl, dh := t.limits(b.desc)
	for _, v := range []float64{dl, dh} {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
	}
	pad := math.Max(.06*(hi-lo), 3*math.Pow(10, -float64(t.decimals)))
	lo, hi = lo-pad, hi+pad
	const left, rowH = 24.0, 6.2
	w := pageWidth - left - 3
	at := func(v float64) float64 { return left + (v-lo)/(hi-lo)*w }
	h := 6 + rowH*float64(len(rows)) + 7
	name := b.t.Traits[t.key]
	if t.unit != "" {
		name += ", " + t.unit
	}
	return drawing{w: pageWidth, h: h, alt: fmt.Sprintf(b.t.DotAlt, name), draw: func(c canvas) {
		c.text(0, 4, name, ink{size: 9, bold: true})
		top, bottom := 6.0, 6+rowH*float64(len(rows))
		describedBand(c, dl, dh, at, rect(left, top, w, bottom-top))
		for k, g := range rows {
			y := top + rowH*(float64(k)+.5)
			c.path(line(left, y+rowH/2, left+w, y+rowH/2), false, pen{line: faint, w: .12})
			groupMark(c, 2, y, 1.3, g, white)
			c.text(5, y+1.1, fmt.Sprintf(b.t.GroupN, g), ink{size: 8})
			drawDots(c, spread(pts[g], at), y, g)
		}
		for _, v := range ticks(lo, hi, 8) {
			c.path(line(at(v), bottom, at(v), bottom+1.2), false, pen{line: black, w: .2})
			c.text(at(v), bottom+4.4, fmt.Sprintf("%g", v), ink{size: 7.5, at: 'c'})
		}
		c.path(line(left, bottom, left+w, bottom), false, pen{line: black, w: .2})
	}}, true
}

// describedBand shades the range from lo to hi (NaN: open on that side) within the rectangle in.
func describedBand(c canvas, lo, hi float64, at func(float64) float64, in []spot) {
	if math.IsNaN(lo) && math.IsNaN(hi) {
		return
	}
	x0, x1, top, bottom := in[0].X, in[1].X, in[0].Y, in[2].Y
	if !math.IsNaN(lo) {
		x0 = at(lo)
	}
	if !math.IsNaN(hi) {
		x1 = at(hi)
	}
	c.path(rect(x0, top, x1-x0, bottom-top), true, pen{fill: band})
	for _, v := range []float64{lo, hi} {
		if !math.IsNaN(v) {
			c.path(line(at(v), top, at(v), bottom), false, pen{line: black, w: .25, dash: []float64{1.2, .8}})
		}
	}
}

// crowd is how many marks within 1 mm are drawn; more become one mark with their number.
const crowd = 9

// drawDots draws the marks of a row about y.
func drawDots(c canvas, ps []dotted, y float64, g int) {
	type bin struct {
		x    int
		fill string
	}
	n := map[bin]int{}
	in := func(p dotted) bin { return bin{int(math.Round(p.x)), p.fill} }
	for _, p := range ps {
		n[in(p)]++
	}
	var many []dotted
	for _, p := range ps {
		switch k := n[in(p)]; {
		case k > crowd:
			many = append(many, p)
			n[in(p)] = -k
		case k > 0:
			groupMark(c, p.x, y+p.y, .95, g, p.fill)
		}
	}
	for _, p := range many {
		groupMark(c, p.x, y, 1.25, g, p.fill)
		c.text(p.x+2, y+.9, fmt.Sprintf("× %d", -n[in(p)]), ink{size: 6.5, box: white})
	}
}

// spread moves marks that would lie on each other up and down, within a row.
func spread(ps []dotted, at func(float64) float64) []dotted {
	ps = slices.Clone(ps)
	slices.SortStableFunc(ps, func(a, b dotted) int {
		switch {
		case a.x < b.x:
			return -1
		case a.x > b.x:
			return 1
		}
		return 0
	})
	lanes := []float64{0, -1.5, 1.5, -.75, .75, -2.2, 2.2}
	end := make([]float64, len(lanes))
	for i := range end {
		end[i] = math.Inf(-1)
	}
	for i := range ps {
		x := at(ps[i].x)
		best := 0
		for k := range lanes {
			if x-end[k] > 2 {
				best = k
				break
			}
			if end[k] < end[best] {
				best = k
			}
		}
		end[best] = x
		ps[i].x, ps[i].y = x, lanes[best]
	}
	return ps
}

// The plot of colours on paper, mm.
const (
	colourSize = 105.0
	colourLeft = 14.0
)

// colourAxes draws the frame of the a*b* plane about the colour mid, side wide, with its figures and the neutral axes.
func (b *docBuilder) colourAxes(c canvas, mid spot, side float64, at func(a, bb float64) spot) {
	cx, cy := mid.X, mid.Y
	const left, size = colourLeft, colourSize
	c.path(rect(left, 2, size, size), true, pen{line: black, fill: "#f4f4f4", w: .2})
	for _, v := range ticks(cx-side/2, cx+side/2, 8) {
		p := at(v, cy-side/2)
		c.path(line(p.X, p.Y, p.X, p.Y+1.2), false, pen{line: black, w: .2})
		c.text(p.X, p.Y+4.4, fmt.Sprintf("%g", v), ink{size: 7.5, at: 'c'})
	}
	for _, v := range ticks(cy-side/2, cy+side/2, 8) {
		p := at(cx-side/2, v)
		c.path(line(p.X-1.2, p.Y, p.X, p.Y), false, pen{line: black, w: .2})
		c.text(p.X-2, p.Y+1, fmt.Sprintf("%g", v), ink{size: 7.5, at: 'r'})
	}
	o := at(0, 0)
	c.path(line(left, o.Y, left+size, o.Y), false, pen{line: grey, w: .12})
	c.path(line(o.X, 2, o.X, 2+size), false, pen{line: grey, w: .12})
	c.text(left+size/2, size+10, fmt.Sprintf(b.t.AxisA, b.doc.White), ink{size: 8, at: 'c'})
	c.text(0, 5, "b*", ink{size: 8, bold: true})
}

// colourPlot draws the skins in a*b*, with the described colour and the line of its tolerance.
func (b *docBuilder) colourPlot() (drawing, bool) {
	type skin struct {
		lab   record.Lab // as shown
		hex   string
		group int
		v     record.Verdict
	}
	var ps []skin
	lo, hi := spot{math.Inf(1), math.Inf(1)}, spot{math.Inf(-1), math.Inf(-1)}
	see := func(a, bb float64) {
		lo, hi = spot{math.Min(lo.X, a), math.Min(lo.Y, bb)}, spot{math.Max(hi.X, a), math.Max(hi.Y, bb)}
	}
	for i := range b.run.Fruits {
		f := &b.run.Fruits[i]
		if f.Skin == nil {
			continue
		}
		l := b.doc.White.Of(*f.Skin)
		ps = append(ps, skin{l, f.Skin.Hex(), b.member[f.Key()].Group, b.verdict[f.Key()].Verdict})
		see(l.A, l.B)
	}
	if len(ps) == 0 {
		return drawing{}, false
	}
	edge := b.tolerance()
	for _, p := range edge {
		see(p.X, p.Y)
	}
	see(0, 0)
	side := math.Max(math.Max(hi.X-lo.X, hi.Y-lo.Y)*1.15, 20)
	cx, cy := (lo.X+hi.X)/2, (lo.Y+hi.Y)/2
	const size, left = colourSize, colourLeft
	at := func(a, bb float64) spot {
		return spot{left + (a-cx+side/2)/side*size, 2 + (cy-bb+side/2)/side*size}
	}
	return drawing{w: pageWidth, h: size + 12, alt: b.t.ColourAlt, caption: b.t.ColourCaption, draw: func(c canvas) {
		b.colourAxes(c, spot{cx, cy}, side, at)
		if len(edge) > 0 {
			c.path(each(edge, func(p spot) spot { return at(p.X, p.Y) }), true, pen{line: black, w: .3, dash: []float64{1.4, .9}})
		}
		for _, p := range ps {
			q := at(p.lab.A, p.lab.B)
			groupMark(c, q.X, q.Y, 1.5, p.group, p.hex)
		}
		if len(edge) > 0 {
			want := b.doc.White.Of(described(b.desc))
			m := at(want.A, want.B)
			for _, p := range []pen{{line: white, w: 1}, {line: black, w: .4}} {
				c.path(line(m.X-2.5, m.Y, m.X+2.5, m.Y), false, p)
				c.path(line(m.X, m.Y-2.5, m.X, m.Y+2.5), false, p)
			}
		}
		b.colourKey(c, left+size+7)
	}}, true
}

// colourKey explains the marks beside the colour plot.
func (b *docBuilder) colourKey(c canvas, x float64) {
	y := 6.0
	for _, g := range b.groupNumbers() {
		l, n := b.meanSkin(g)
		if n == 0 {
			continue
		}
		groupMark(c, x+1.5, y, 1.4, g, white)
		c.text(x+5, y+1.1, fmt.Sprintf(b.t.GroupN, g), ink{size: 8, bold: true})
		c.path(rect(x, y+3, 12, 6), true, pen{line: black, fill: l.Hex(), w: .15})
		shown := b.doc.White.Of(l)
		c.text(x+14, y+5.4, fmt.Sprintf("L* %.0f  a* %.0f  b* %.0f  (%s)", shown.L, shown.A, shown.B, b.doc.White), ink{size: 7.5})
		c.text(x+14, y+8.8, colour.Words(colour.Lab{L: l.L, A: l.A, B: l.B}), ink{size: 7.5, colour: grey})
		y += 14
		if y > 90 {
			return
		}
	}
	if b.desc != nil && b.desc.Skin != nil && len(b.desc.Skin.Lab) == 3 {
		l := described(b.desc)
		shown := b.doc.White.Of(l)
		c.text(x, y+1.1, b.t.Described, ink{size: 8, bold: true})
		c.path(rect(x, y+3, 12, 6), true, pen{line: black, fill: l.Hex(), w: .15, dash: []float64{1, .7}})
		c.text(x+14, y+5.4, fmt.Sprintf("L* %.0f  a* %.0f  b* %.0f  (%s)", shown.L, shown.A, shown.B, b.doc.White), ink{size: 7.5})
		if b.desc.Skin.Tolerance != nil {
			c.text(x+14, y+8.8, fmt.Sprintf("ΔE00 ≤ %.1f", *b.desc.Skin.Tolerance), ink{size: 7.5, colour: grey})
		}
	}
}

// described is the described skin colour, D65.
func described(d *reference.Description) record.Lab {
	return record.Lab{L: d.Skin.Lab[0], A: d.Skin.Lab[1], B: d.Skin.Lab[2]}
}

// tolerance is the line in a*b* as shown, at the described lightness, where the colour difference ΔE00 reaches
// what the description allows.
func (b *docBuilder) tolerance() []spot {
	if b.desc == nil || b.desc.Skin == nil || len(b.desc.Skin.Lab) != 3 || b.desc.Skin.Tolerance == nil {
		return nil
	}
	m := b.desc.Skin.Lab
	mid := colour.Lab{L: m[0], A: m[1], B: m[2]}
	var out []spot
	for k := range 72 {
		s, co := math.Sincos(2 * math.Pi * float64(k) / 72)
		lo, hi := 0.0, 80.0
		for range 30 {
			r := (lo + hi) / 2
			if colour.DeltaE2000(mid, colour.Lab{L: m[0], A: m[1] + r*co, B: m[2] + r*s}) < *b.desc.Skin.Tolerance {
				lo = r
			} else {
				hi = r
			}
		}
		p := b.doc.White.Of(record.Lab{L: m[0], A: m[1] + lo*co, B: m[2] + lo*s})
		out = append(out, spot{p.A, p.B})
	}
	return out
}

// meanSkin averages the skins of a group in CIELAB.
func (b *docBuilder) meanSkin(g int) (record.Lab, int) {
	var l record.Lab
	n := 0
	for _, f := range b.inGroup(g) {
		if f.Skin != nil {
			l.L, l.A, l.B = l.L+f.Skin.L, l.A+f.Skin.A, l.B+f.Skin.B
			n++
		}
	}
	if n > 0 {
		l.L, l.A, l.B = l.L/float64(n), l.A/float64(n), l.B/float64(n)
	}
	return l, n
}
