package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"offtype/pipeline/record"
)

// sideBySide shows a typical fruit of each group at one scale, beside the described size, at most
// most mm high a row.
func (b *docBuilder) sideBySide(most float64) (drawing, bool) {
	cols := b.sideColumns()
	if len(cols) == 0 {
		return drawing{}, false
	}
	boxes := b.sizeBoxes()
	scaled := slices.ContainsFunc(cols, func(x sideColumn) bool { return x.v.scaled })
	if !scaled {
		boxes = nil // nothing to compare them with
	}
	wide, tall, sum, n := 0.0, 0.0, 0.0, 0
	for _, x := range cols {
		if x.v.scaled || !scaled {
			wide, tall = math.Max(wide, x.v.w), math.Max(tall, x.v.h)
			sum, n = sum+x.v.h, n+1
		}
	}
	usual := sum / float64(n) // as high as this a fruit without a scale is drawn
	for _, q := range boxes {
		wide, tall = math.Max(wide, q.X), math.Max(tall, q.Y)
	}
	n = len(cols)
	if len(boxes) > 0 {
		n++
	}
	per := min(n, 6)
	rows := (n + per - 1) / per
	cw := pageWidth / float64(per)
	s, name := chooseScale(wide, tall, math.Min(cw-6, 60), math.Min(most, 190/float64(rows)))
	rh := tall*s + 16
	h := rh * float64(rows)
	if scaled {
		h += rowFoot
	}
	alt, caption := b.sideWords(cols, scaled)
	return drawing{w: pageWidth, h: h, alt: alt, caption: caption, draw: func(c canvas) {
		c.path(rect(0, 0, pageWidth, h), true, pen{fill: pale})
		place := func(k int) (float64, float64) { return (float64(k%per) + .5) * cw, float64(k/per)*rh + 3 + tall*s }
		for k, x := range cols {
			cx, base := place(k)
			if x.v.scaled || !scaled {
				b.sideFruit(c, x, boxes, cx, base, cw, s)
			} else {
				b.sideFruit(c, x, nil, cx, base, cw, math.Min(usual*s/x.v.h, (cw-6)/x.v.w))
			}
		}
		if len(boxes) > 0 {
			cx, base := place(n - 1)
			b.sideDescribed(c, boxes, cx, base, s)
		}
		if scaled {
			scaleBar(c, 5, h-7, barLength(s, 50), s, fmt.Sprintf(b.t.ScaleIs, name))
		}
	}}, true
}

// sideColumn is the typical fruit of a group.
type sideColumn struct {
	v *view
	g int
}

func (b *docBuilder) sideColumns() []sideColumn {
	var cols []sideColumn
	for _, g := range b.groupNumbers() {
		if ts := b.typical(g, 1); len(ts) > 0 && len(cols) < 12 {
			cols = append(cols, sideColumn{ts[0], g})
		}
	}
	return cols
}

// sideWords describes the picture of the groups side by side, and says which fruit have no scale. scaled: some have one.
func (b *docBuilder) sideWords(cols []sideColumn, scaled bool) (alt, caption string) {
	switch unscaled := slices.ContainsFunc(cols, func(x sideColumn) bool { return x.v.f.Unscaled }); {
	case unscaled && scaled:
		return b.t.SideAlt, b.t.SideSome
	case unscaled:
		return b.t.SideAltNoScale, b.t.NoScale
	}
	return b.t.SideAlt, ""
}

// sideFruit draws a group's fruit in a column cw mm wide, its foot in the middle at (cx, base), with its name below.
func (b *docBuilder) sideFruit(c canvas, x sideColumn, boxes []spot, cx, base, cw, s float64) {
	lo, hi := spotBounds(x.v.outline)
	x.v.draw(c, cx-(lo.X+hi.X)/2*s, base-hi.Y*s, s)
	sizeFrames(c, boxes, cx, base, s, .15)
	groupMark(c, cx-9, base+4.6, 1.3, x.g, white)
	c.text(cx-6, base+5.6, fmt.Sprintf(b.t.GroupN, x.g), ink{size: 8.5, bold: true})
	c.text(cx, base+9, b.verdictText(b.groupVerdict(x.g).Verdict), ink{size: 7.5, at: 'c'})
	who, i := "", ink{size: 7, at: 'c', colour: grey}
	if ps := plantsOf(b.inGroup(x.g)); len(ps) > 0 {
		who = b.plantNames(ps)
		if c.width(who, i) > cw-2 {
			who = record.Count(len(ps), b.t.OnePlant, b.t.ManyPlants)
		}
	}
	if x.v.f.Unscaled {
		who = join(who, b.t.NoScaleShort)
	}
	if who != "" {
		c.text(cx, base+12.3, who, i)
	}
}

// sideDescribed draws what the description allows in a column of its own.
func (b *docBuilder) sideDescribed(c canvas, boxes []spot, cx, base, s float64) {
	sizeFrames(c, boxes, cx, base, s, .3)
	if sk := b.desc.Skin; sk != nil && len(sk.Lab) == 3 {
		q := boxes[0]
		c.path(rect(cx-q.X*s/4, base-q.Y*s*.75, q.X*s/2, q.Y*s/2), true, pen{fill: record.Lab{L: sk.Lab[0], A: sk.Lab[1], B: sk.Lab[2]}.Hex(), line: black, w: .15})
	}
	c.text(cx, base+5.6, b.t.Described, ink{size: 8.5, bold: true, at: 'c'})
	c.text(cx, base+9, b.t.LeastMost, ink{size: 7.5, at: 'c'})
}

// sizeFrames draws the least and the greatest size that the description allows, dashed, standing at (cx, base).
func sizeFrames(c canvas, boxes []spot, cx, base, s, wide float64) {
	for _, q := range boxes {
		c.path(rect(cx-q.X*s/2, base-q.Y*s, q.X*s, q.Y*s), true, pen{line: black, w: wide, dash: []float64{1, .8}})
	}
}

// groupSheets has a measurement sheet for each group.
func (b *docBuilder) groupSheets() []block {
	gs := b.groupNumbers()
	if len(gs) == 0 {
		return nil
	}
	bs := []block{heading{b.t.GroupPart, 1, "groups"}, para{b.t.GroupIntro, plain}}
	for i, g := range gs {
		if i > 0 {
			bs = append(bs, keep{groupSheetTall})
		}
		bs = append(bs, b.groupSheet(g)...)
	}
	return bs
}

// groupSheetTall is what must be left of a page for the next group's sheet to begin on it, mm: its figure and the
// head of its table.
const groupSheetTall = 150.0

func (b *docBuilder) groupSheet(g int) []block {
	fs := b.inGroup(g)
	v := b.groupVerdict(g)
	head := fmt.Sprintf(b.t.GroupN, g) + ": " + b.fruitJudged(len(fs), b.run.Judgement.NotJudged(g))
	switch ps := plantsOf(fs); {
	case len(ps) == 1:
		head += ", " + fmt.Sprintf(b.t.PlantN, ps[0])
	case len(ps) > 1:
		head += ", " + fmt.Sprintf(b.t.PlantsN, strings.Join(ps, ", "))
	}
	bs := []block{heading{text: head, level: 2}}
	if b.judged() {
		bs = append(bs, para{b.verdictText(v.Verdict), lead})
	}
	if why := v.Why(); len(why) > 0 {
		bs = append(bs, list{items: why})
	}
	if ts := b.typical(g, 1); len(ts) > 0 {
		is := b.t.TypicalIs
		if ts[0].f.Unscaled {
			is = b.t.TypicalNoScale
		}
		bs = append(bs, b.fruitFigure(ts[0].f), para{fmt.Sprintf(is, ts[0].f.Number, ts[0].f.Photo), small})
	}
	bs = append(bs, b.groupTable(g, fs))
	if d, ok := b.row(g); ok {
		bs = append(bs, d)
	}
	if len(v.Leaning) > 0 {
		bs = append(bs, heading{text: b.t.Leaning, level: 3}, list{items: v.Leaning})
	}
	in := map[record.Key]bool{}
	plants := map[string]bool{}
	for _, f := range fs {
		in[f.Key()] = true
		if f.Plant != "" {
			plants[f.Plant] = true
		}
	}
	return append(bs, b.handTable(func(h *Hand) bool {
		return h.Group == g || in[record.Key{Photo: h.Photo, Number: h.Fruit}] || h.Fruit == 0 && h.Group == 0 && plants[h.Plant]
	})...)
}

// groupTable sums up the traits of a group.
func (b *docBuilder) groupTable(g int, fs []*record.Fruit) table {
	t := table{head: b.t.GroupTraitHead, widths: []float64{33, 14, 24, 9, 8, 20, 22}}
	for i := range traits {
		tr := &traits[i]
		lo, hi, n := math.Inf(1), math.Inf(-1), 0
		for _, f := range fs {
			if v := tr.of(f); v.Ok() && !math.IsInf(v.V, 0) {
				lo, hi = math.Min(lo, v.V), math.Max(hi, v.V)
				n++
			}
		}
		if n == 0 {
			continue
		}
		m := medianOf(fs, tr.of)
		t.rows = append(t.rows, []cell{{text: b.t.Traits[tr.key]}, {text: tr.text(m), right: true, bold: true}, {text: tr.text(lo) + " – " + tr.text(hi), right: true}, {text: fmt.Sprint(n), right: true},
			{text: tr.unit}, {text: tr.rangeText(b.desc, b.t)}, {text: tr.against(record.Value{V: m, U: 0}, b.desc, b.t)}})
	}
	if l, n := b.meanSkin(g); n > 0 {
		t.rows = append(t.rows, []cell{{text: b.t.MainColour, swatch: l.Hex()}, {text: fmt.Sprintf("L* %.0f", l.L), right: true}, {text: fmt.Sprintf("a* %.0f  b* %.0f", l.A, l.B), right: true}, {text: fmt.Sprint(n), right: true},
			{}, {text: b.toleranceUnit()}, {text: b.skinAgainst(&record.Fruit{Skin: &record.Lab{L: l.L, A: l.A, B: l.B}})}})
	}
	return t
}

// row shows the fruit of a group beside each other at one scale.
func (b *docBuilder) row(g int) (drawing, bool) {
	vs := b.typical(g, 24)
	if len(vs) < 2 { // one fruit is drawn above already
		return drawing{}, false
	}
	high := 26.0
	if len(vs) <= 8 {
		high = 30
	}
	d := b.rowOf(g, vs, high)
	d.fit = func(room float64) (drawing, bool) {
		rows := (len(vs) + perRow(len(vs)) - 1) / perRow(len(vs))
		h := (room-rowFoot)/float64(rows) - rowNames
		if h < leastFruit {
			return drawing{}, false
		}
		return b.rowOf(g, vs, h), true
	}
	return d, true
}

const (
	rowNames   = 9.0  // mm below each row of fruit
	rowFoot    = 10.0 // mm for the scale bar
	leastFruit = 14.0 // mm, height below which a fruit is drawn on the next page instead
)

// perRow is how many of n fruit stand in a row.
func perRow(n int) int {
	if n > 8 {
		return 12
	}
	return n
}

// rowOf draws fruit at most high mm high.
func (b *docBuilder) rowOf(g int, vs []*view, high float64) drawing {
	wide, tall := 0.0, 0.0
	for _, v := range vs {
		wide, tall = math.Max(wide, v.w), math.Max(tall, v.h)
	}
	per := perRow(len(vs))
	cw := pageWidth / float64(per)
	s, name := chooseScale(wide, tall, math.Min(cw-2, 50), high)
	rows := (len(vs) + per - 1) / per
	rh := tall*s + rowNames
	h := rh * float64(rows)
	if vs[0].scaled {
		h += rowFoot
	}
	photos := b.run.PhotosMeasured()
	alt, caption := b.t.RowAlt, b.rowCaption(b.inGroup(g), vs)
	if vs[0].f.Unscaled {
		alt = b.t.RowAltNoScale
	}
	return drawing{w: pageWidth, h: h, alt: fmt.Sprintf(alt, g), caption: caption, draw: func(c canvas) {
		c.path(rect(0, 0, pageWidth, h), true, pen{fill: pale})
		for k, v := range vs {
			cx, base := (float64(k%per)+.5)*cw, float64(k/per)*rh+2+tall*s
			lo, hi := spotBounds(v.outline)
			v.draw(c, cx-(lo.X+hi.X)/2*s, base-hi.Y*s, s)
			b.rowName(c, v.f, cx, base, cw, photos)
		}
		if vs[0].scaled {
			scaleBar(c, 5, h-7, barLength(s, 50), s, fmt.Sprintf(b.t.ScaleIs, name))
		}
	}}
}

// rowName names a fruit of so many photos below its picture, which stands at (cx, base) in a column cw mm wide: by its
// plant, or, without one, by its photo.
func (b *docBuilder) rowName(c canvas, f *record.Fruit, cx, base, cw float64, photos int) {
	t, second := fmt.Sprint(f.Number), ""
	switch {
	case f.Plant != "":
		t = fmt.Sprintf(b.t.PlantN, f.Plant)
	case photos > 1:
		t, second = f.Photo, fmt.Sprintf(b.t.NoN, f.Number)
	}
	i := ink{size: 7, at: 'c'}
	for i.size > 5 && c.width(t, i) >= cw-1 {
		i.size -= .5
	}
	c.text(cx, base+4, shortened(c, t, i, cw-1), i)
	if b.judged() {
		m, _ := b.verdict[f.Key()].Verdict.Mark()
		second = m + " " + fmt.Sprintf(b.t.NoN, f.Number)
	}
	if second != "" {
		c.text(cx, base+7, second, ink{size: 6.5, at: 'c', colour: grey})
	}
}

// shortened cuts a name off in its middle, for photos differ at the end of their names, so that it is at most w mm wide.
func shortened(c canvas, s string, i ink, w float64) string {
	r := []rune(s)
	for keep := len(r) - 1; c.width(s, i) > w && keep > 3; keep-- {
		s = string(r[:keep/2]) + "…" + string(r[len(r)-(keep-keep/2):])
	}
	return s
}

// rowCaption says which fruit of a group stand in its row.
func (b *docBuilder) rowCaption(all []*record.Fruit, vs []*view) string {
	if vs[0].f.Unscaled {
		return b.t.NoScale
	}
	var out []string
	if len(all) > len(vs) {
		out = append(out, fmt.Sprintf(b.t.RowOf, len(vs), len(all)))
	}
	if slices.ContainsFunc(all, func(f *record.Fruit) bool { return f.Unscaled }) {
		out = append(out, b.t.RowNoScale)
	}
	return strings.Join(out, " ")
}

// plots shows every trait as dots, and the colours.
func (b *docBuilder) plots() []block {
	var bs []block
	for i := range traits {
		if traits[i].plot {
			if d, ok := b.dotPlot(&traits[i]); ok {
				bs = append(bs, d)
			}
		}
	}
	c, ok := b.colourPlot()
	if len(bs) == 0 && !ok {
		return nil
	}
	intro := b.t.DotIntro
	if b.desc != nil {
		intro += " " + b.t.DotBand
	}
	bs = append([]block{heading{b.t.TraitPart, 1, "traits"}, para{intro, plain}}, bs...)
	if ok {
		bs = append(bs, keep{140}, heading{text: b.t.ColourPlot, level: 2}, c)
	}
	return bs
}
