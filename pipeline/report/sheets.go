package report

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"offtype/measure/colour"
	"offtype/pipeline/record"
)

// fruitFigure is the upper part of a fruit's sheet: cut-out with dimension lines, profile, colours.
func (b *docBuilder) fruitFigure(f *record.Fruit) drawing {
	v := b.views[f.Key()]
	s := b.scale
	const top = 4.0
	h := math.Max(62, b.beside(blankCanvas{b.metrics}, f))
	if v != nil {
		if !v.scaled {
			s = math.Min(fitTall/v.h, sheetWide/v.w)
		}
		for v.h*s > 140 || v.w*s > 86 { // a measured size that the picture contradicts
			s /= 2
		}
		h = math.Max(h, top+v.h*s+14+9)
	}
	return drawing{w: pageWidth, h: h, alt: fmt.Sprintf(b.t.SheetAlt, f.Number, f.Photo), draw: func(c canvas) {
		c.path(rect(0, 0, cutWide, h), true, pen{fill: pale})
		if v == nil {
			c.text(56, 30, b.t.NoOutline, ink{size: 9, at: 'c', colour: grey})
		} else {
			x := cutLeft + (cutWide-cutLeft-4-v.w*s)/2
			v.draw(c, x, top, s)
			v.dims(c, x, top, s)
			if v.scaled {
				scaleBar(c, 5, h-7, barLength(s, 45), s, fmt.Sprintf(b.t.ScaleIs, scaleName(s)))
			} else {
				c.text(5, h-3, b.toFit(f), ink{size: 7.5})
			}
		}
		b.beside(c, f)
	}}
}

const (
	cutWide = 112.0 // mm, the ground of a cut-out with its dimension lines
	cutLeft = 24.0  // mm, of it for the length
)

// beside draws what stands beside the cut-out and returns its height.
func (b *docBuilder) beside(c canvas, f *record.Fruit) float64 {
	y := b.profile(c, f, cutWide+8, 0)
	return b.swatches(c, f, cutWide+8, y+3)
}

func scaleName(s float64) string {
	for _, d := range drawingScales {
		if math.Abs(d.s-s) < 1e-9 {
			return d.name
		}
	}
	return fmt.Sprintf("1 : %.3g", 1/s)
}

// profile draws the silhouette that the diameters make, beside the described size; it returns the y below it.
func (b *docBuilder) profile(c canvas, f *record.Fruit, x, y float64) float64 {
	const w, tall = 58.0, 34.0
	c.text(x, y+3, b.t.Profile, ink{size: 8, bold: true})
	if len(f.Profile) < 2 || !f.Length.Ok() {
		c.text(x, y+9, b.notMeasured(f), ink{size: 8, colour: grey})
		return y + 12
	}
	boxes := b.sizeBoxes()
	l, d := f.Length.V, slices.Max(f.Profile)
	for _, q := range boxes {
		l, d = math.Max(l, q.Y), math.Max(d, q.X)
	}
	s, name := chooseScale(d, l, w, tall)
	h := l * s
	cx, y0 := x+w/2, y+5
	base := y0 + h // all stand on one line
	sizeFrames(c, boxes, cx, base, s, .2)
	c.path(shift(profilePath(f, s), spot{cx, base - f.Length.V*s}), true, pen{line: black, fill: "#d9d5c8", w: .25})
	c.path(line(cx, base-f.Length.V*s-1, cx, base+1), false, pen{line: grey, w: .12, dash: []float64{2, .6, .5, .6}})
	t := name
	if len(boxes) > 0 {
		t += ". " + b.t.BoxIs
	}
	for n, ls := range wrap(c, t, ink{size: 7}, w) {
		c.text(x, base+4+3*float64(n), ls, ink{size: 7, colour: grey})
		h += 3
	}
	return y0 + h + 3
}

// profilePath is the closed silhouette about x = 0, stem end at y = 0, at scale s.
func profilePath(f *record.Fruit, s float64) []spot {
	n := len(f.Profile)
	var p []spot
	for i, d := range f.Profile {
		p = append(p, spot{d / 2 * s, f.Length.V * s * float64(i) / float64(n-1)})
	}
	for i := n - 1; i >= 0; i-- {
		p = append(p, spot{-f.Profile[i] / 2 * s, f.Length.V * s * float64(i) / float64(n-1)})
	}
	return p
}

// sizeBoxes are the least and the greatest width × length that the description allows.
func (b *docBuilder) sizeBoxes() []spot {
	ll, lh := traits[0].limits(b.desc)
	wl, wh := traits[1].limits(b.desc)
	var out []spot
	for _, q := range []spot{{wl, ll}, {wh, lh}} {
		if !math.IsNaN(q.X) && !math.IsNaN(q.Y) && q.X > 0 && q.Y > 0 {
			out = append(out, q)
		}
	}
	return out
}

// labText writes a D65 colour with the white it is shown with.
func (b *docBuilder) labText(l record.Lab) string {
	l = b.doc.White.Of(l)
	return fmt.Sprintf("L* %.1f   a* %.1f   b* %.1f  (%s)", l.L, l.A, l.B, b.doc.White)
}

// swatches draws the fruit's colours and the white they refer to.
func (b *docBuilder) swatches(c canvas, f *record.Fruit, x, y float64) float64 {
	c.text(x, y+3, fmt.Sprintf(b.t.Colours, b.doc.White), ink{size: 8, bold: true})
	y += 5
	one := func(name string, l record.Lab, more string) {
		c.path(rect(x, y, 13, 8), true, pen{line: black, fill: l.Hex(), w: .15})
		c.text(x+15, y+3, name, ink{size: 7.5, bold: true})
		c.text(x+15, y+6.6, b.labText(l), ink{size: 7})
		if more != "" {
			c.text(x+15, y+9.8, more, ink{size: 7, colour: grey})
			y += 2.2
		}
		y += 9
	}
	if f.Skin == nil {
		why := b.t.NotMeasured
		if f.Unscaled {
			why = b.t.NoCard
		}
		c.text(x, y+3, why, ink{size: 8, colour: grey})
		y += 6
	} else {
		more := colour.Words(colour.Lab{L: f.Skin.L, A: f.Skin.A, B: f.Skin.B})
		if f.Skin.U > 0 {
			more += fmt.Sprintf(", ± %.1f ΔE00", f.Skin.U)
		}
		one(b.t.MainColour, *f.Skin, more)
	}
	if f.Second != nil {
		more := ""
		if f.SecondShare.Ok() {
			more = fmt.Sprintf(b.t.ShareOfSkin, 100*f.SecondShare.V)
		}
		one(b.t.SecondColour, *f.Second, more)
	}
	if d := b.desc; d != nil && d.Skin != nil && len(d.Skin.Lab) == 3 {
		more := ""
		if d.Skin.Tolerance != nil {
			more = fmt.Sprintf("ΔE00 ≤ %.1f", *d.Skin.Tolerance)
		}
		one(b.t.Described, record.Lab{L: d.Skin.Lab[0], A: d.Skin.Lab[1], B: d.Skin.Lab[2]}, more)
	}
	c.path(rect(x, y, 13, 5), true, pen{line: black, fill: white, w: .15})
	c.text(x+15, y+3.3, fmt.Sprintf(b.t.WhiteIs, b.doc.White), ink{size: 7})
	return y + 6
}

// traitTable is a fruit's table of traits.
func (b *docBuilder) traitTable(f *record.Fruit) table {
	t := table{head: b.t.TraitHead, widths: []float64{33, 14, 12, 9, 20, 22}}
	for i := range traits {
		tr := &traits[i]
		v := tr.of(f)
		if !v.Ok() && math.IsNaN(first(tr.limits(b.desc))) && !tr.plot {
			continue
		}
		val := b.t.NotMeasured
		switch {
		case v.Ok():
			val = tr.text(v.V)
		case tr.sized():
			val = b.notMeasured(f)
		}
		t.rows = append(t.rows, []cell{{text: b.t.Traits[tr.key]}, {text: val, right: true, bold: v.Ok()}, {text: tr.uncertainty(v), right: true}, {text: tr.unit}, {text: tr.rangeText(b.desc, b.t)}, {text: tr.against(v, b.desc, b.t)}})
	}
	t.rows = append(t.rows, []cell{{text: b.t.Skin}, {text: b.deltaText(f), right: true, bold: true}, {text: skinU(f), right: true}, {text: "ΔE00"}, {text: b.toleranceText()}, {text: b.skinAgainst(f)}})
	pattern := or(b.t.Patterns[f.Pattern], or(f.Pattern, b.t.NotMeasured))
	want, how := "–", "–"
	if b.desc != nil && len(b.desc.Pattern) > 0 {
		var w []string
		for _, p := range b.desc.Pattern {
			w = append(w, or(b.t.Patterns[p], p))
		}
		want = strings.Join(w, ", ")
		if f.Pattern != "" {
			how = b.t.OtherThan
			if slices.Contains(b.desc.Pattern, f.Pattern) {
				how = b.t.Within
			}
		}
	}
	t.rows = append(t.rows, []cell{{text: b.t.Pattern}, {text: pattern, right: true}, {text: "–", right: true}, {}, {text: want}, {text: how}})
	shape, wantShape := "–", "–"
	if len(f.ShapeWords) > 0 {
		shape = strings.Join(f.ShapeWords, ", ")
	}
	if b.desc != nil && len(b.desc.Shape) > 0 {
		wantShape = strings.Join(b.desc.Shape, ", ")
	}
	t.rows = append(t.rows, []cell{{text: b.t.ShapeWords}, {text: shape, right: true}, {text: "–", right: true}, {}, {text: wantShape}, {text: "–"}})
	return t
}

func first(a, _ float64) float64 { return a }

func skinU(f *record.Fruit) string {
	if f.Skin == nil || f.Skin.U <= 0 {
		return "–"
	}
	return fmt.Sprintf("%.1f", f.Skin.U)
}

// delta is the colour difference ΔE00 of the skin from the description, NaN when there is none.
func (b *docBuilder) delta(f *record.Fruit) float64 {
	if f.Skin == nil || b.desc == nil || b.desc.Skin == nil || len(b.desc.Skin.Lab) != 3 {
		return math.NaN()
	}
	l := b.desc.Skin.Lab
	return colour.DeltaE2000(colour.Lab{L: f.Skin.L, A: f.Skin.A, B: f.Skin.B}, colour.Lab{L: l[0], A: l[1], B: l[2]})
}

func (b *docBuilder) deltaText(f *record.Fruit) string {
	if d := b.delta(f); !math.IsNaN(d) {
		return fmt.Sprintf("%.1f", d)
	}
	return "–"
}

// annexLines says what the dimension lines are, where there are any.
func (b *docBuilder) annexLines() string {
	if b.anyScaled() {
		return " " + b.t.AnnexLines
	}
	return ""
}

func (b *docBuilder) toleranceText() string {
	if b.desc == nil || b.desc.Skin == nil || b.desc.Skin.Tolerance == nil {
		return "–"
	}
	return fmt.Sprintf(b.t.UpTo, fmt.Sprintf("%.1f", *b.desc.Skin.Tolerance))
}

// toleranceUnit is the tolerance with its unit, where there is one.
func (b *docBuilder) toleranceUnit() string {
	s := b.toleranceText()
	if b.desc != nil && b.desc.Skin != nil && b.desc.Skin.Tolerance != nil {
		s += " ΔE00"
	}
	return s
}

func (b *docBuilder) skinAgainst(f *record.Fruit) string {
	d := b.delta(f)
	if math.IsNaN(d) || b.desc.Skin.Tolerance == nil {
		return "–"
	}
	switch over := d - *b.desc.Skin.Tolerance; {
	case over <= 0:
		return b.t.Within
	case over <= f.Skin.U:
		return fmt.Sprintf(b.t.WithinU, b.t.Above)
	}
	return b.t.Above
}

// handTable lists observations by hand that ok chooses.
func (b *docBuilder) handTable(ok func(*Hand) bool) []block {
	t := table{head: b.t.HandHead, widths: []float64{22, 22, 24, 16, 14, 30}}
	for i := range b.doc.Entered.Hand {
		h := &b.doc.Entered.Hand[i]
		if !ok(h) {
			continue
		}
		what := ""
		switch {
		case h.Fruit > 0:
			what = fmt.Sprintf("%s, %s", h.Photo, fmt.Sprintf(b.t.FruitN, h.Fruit))
		case h.Plant != "":
			what = fmt.Sprintf(b.t.PlantN, h.Plant)
		case h.Group > 0:
			what = fmt.Sprintf(b.t.GroupN, h.Group)
		}
		t.rows = append(t.rows, texted(strings.ReplaceAll(h.Trait, "_", " "), h.Value, what, h.Date, h.By, h.Note))
	}
	if len(t.rows) == 0 {
		return nil
	}
	return []block{heading{text: b.t.HandPart, level: 3}, t}
}

// annex has a sheet for each fruit.
func (b *docBuilder) annex() []block {
	if len(b.run.Fruits) == 0 {
		return nil
	}
	want := b.sheetsShown()
	bs := []block{heading{b.t.AnnexPart, 1, "annex"}, para{b.t.AnnexIntro + b.annexLines(), plain}}
	if len(want) < len(b.run.Fruits) {
		bs = append(bs, para{fmt.Sprintf(b.t.SheetsLeftOut, len(want), len(b.run.Fruits)), plain})
	}
	if b.judged() {
		bs = append(bs, para{b.t.AnnexOffFirst, plain})
	}
	bs = append(bs, b.fruitIndex())
	var fs []*record.Fruit
	for i := range b.run.Fruits {
		if f := &b.run.Fruits[i]; want[f.Key()] {
			fs = append(fs, f)
		}
	}
	sort.SliceStable(fs, func(i, j int) bool {
		return rank(b.verdict[fs[i].Key()].Verdict) < rank(b.verdict[fs[j].Key()].Verdict)
	})
	for _, f := range fs {
		bs = append(bs, b.sheet(f)...)
	}
	return bs
}

// fruitIndex is one line a fruit.
func (b *docBuilder) fruitIndex() table {
	t := table{head: b.t.IndexHead, widths: []float64{31, 8, 10, 10, 15, 15, 29, 20}}
	for i := range b.run.Fruits {
		f := &b.run.Fruits[i]
		sw := ""
		if f.Skin != nil {
			sw = f.Skin.Hex()
		}
		g := b.member[f.Key()].Group
		gt := ""
		if g > 0 {
			gt = fmt.Sprint(g)
		}
		t.rows = append(t.rows, []cell{{text: f.Photo}, {text: fmt.Sprint(f.Number), bold: true}, {text: or(f.Plant, "–")}, {text: gt, group: g},
			{text: or(plusMinus(f.Length), "–")}, {text: or(plusMinus(f.Width), "–")}, {text: or(f.SkinWords, "–"), swatch: sw}, {text: b.verdictText(b.verdict[f.Key()].Verdict)}})
	}
	return t
}

func (b *docBuilder) sheet(f *record.Fruit) []block {
	k := f.Key()
	m, v := b.member[k], b.verdict[k]
	head := fmt.Sprintf(b.t.FruitOf, f.Number, f.Photo)
	if f.Photo == "" {
		head = fmt.Sprintf(b.t.FruitAlone, f.Number)
	}
	sub := []string{}
	if f.Plant != "" {
		sub = append(sub, fmt.Sprintf(b.t.PlantN, f.Plant))
	}
	if m.Group > 0 {
		s := fmt.Sprintf(b.t.GroupN, m.Group)
		switch {
		case m.Alone:
			s += " (" + b.t.Alone + ")"
		case m.Unplaced(b.run.GroupCount()):
			s += " (" + b.t.TooLittle + ")"
		case m.Unsure:
			s += " (" + fmt.Sprintf(b.t.Probability, 100*m.Membership) + ")"
		}
		sub = append(sub, s)
	}
	if f.Pose != "" && len(b.run.Photos) > 0 { // a table says no more than what stands in it
		sub = append(sub, or(b.t.Poses[f.Pose], string(f.Pose)))
	}
	if f.Unsure {
		sub = append(sub, b.t.OutlineUnsure)
	}
	bs := []block{newPage{}, heading{text: head, level: 2}}
	if b.judged() {
		s := b.verdictText(v.Verdict)
		if f.Plant != "" {
			s = fmt.Sprintf(b.t.SheetPlant, s, f.Plant)
		}
		bs = append(bs, para{s, lead})
	}
	bs = append(bs, para{strings.Join(sub, " · "), small}, b.fruitFigure(f), b.traitTable(f))
	if len(against(v.Reasons)) > 0 && b.judged() {
		bs = append(bs, heading{text: b.t.Reasons, level: 3}, list{items: v.Reasons})
	}
	if len(f.Notes) > 0 {
		bs = append(bs, para{b.t.Notes + " " + strings.Join(f.NotesInWords(), "; "), small})
	}
	return append(bs, b.handTable(func(h *Hand) bool {
		return h.Photo == f.Photo && h.Fruit == f.Number || h.Fruit == 0 && h.Group == 0 && h.Plant != "" && h.Plant == f.Plant
	})...)
}
