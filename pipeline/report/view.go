package report

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"math"

	"offtype/measure/geom"
	"offtype/pipeline/picture"
	"offtype/pipeline/record"
)

// view is a fruit ready to be drawn: stem end up, in mm of the fruit, origin at its top left. Both
// measured dimensions are true in it: the picture is stretched along and across the axis by the few
// per cent that perspective took away.
type view struct {
	f              *record.Fruit
	pic            *pic
	w, h           float64 // mm of fruit
	picW, picH     float64 // of the picture, with its margin
	outline, stalk []spot
	length, width  [2]spot
	hasLen, hasWid bool
	scaled         bool    // false: no scale known, h is made 100
	stretch        float64 // how much the axis was stretched against the width, 1: not
}

const (
	paperPxPerMM = 8.0  // px a mm of paper, about 200 dpi
	mostStretch  = 1.12 // beyond it something else than perspective is wrong, and the picture is left
)

// newView cuts the fruit out for drawing at scale s (paper mm a mm). preview may be nil: then the
// outline is filled with the skin colour. Nil is returned when the fruit has no stored outline.
func (b *docBuilder) newView(preview image.Image, scale float64, f *record.Fruit, s float64) *view {
	if len(f.Outline) < 3 {
		return nil
	}
	v := &view{f: f, stretch: 1, scaled: true}
	native := 0.0
	if d := f.WidthLine[0].Sub(f.WidthLine[1]).Norm(); f.Width.Ok() && f.Width.V > 0 && d > 2 {
		native = d / f.Width.V * scale
	}
	shown := f
	if l := f.LengthLine[0].Sub(f.LengthLine[1]).Norm(); native == 0 && f.Length.Ok() && f.Length.V > 0 && l > 2 {
		native = l / f.Length.V * scale
		byLength := *f // no width: the length gives the scale
		byLength.Width, byLength.WidthLine = f.Length, f.LengthLine
		shown = &byLength
	}
	if preview == nil {
		preview, scale = plainPicture(f), 1
		native = 1
	}
	ppm := paperPxPerMM * s
	if native > 0 {
		ppm = math.Min(ppm, math.Max(1.5*native, .2))
	}
	ppm = math.Min(ppm, 3000/math.Max(50, math.Max(known(f.Length), known(f.Width))))
	var c picture.Cut
	if f.Unscaled {
		lo, hi := geom.Bounds(f.Outline)
		c = picture.CutHigh(preview, scale, f, math.Min(paperPxPerMM*fitTall, 1.5*scale*math.Max(hi.X-lo.X, hi.Y-lo.Y)))
	} else {
		c = picture.CutOut(preview, scale, shown, ppm)
	}
	if c.PxPerMM == 0 {
		v.scaled = false
		c.PxPerMM = float64(c.Image.Rect.Dy()) / 100
	}
	ax, ay := 1/c.PxPerMM, 1/c.PxPerMM
	at := func(p geom.Px) spot {
		q := c.ToCut(p)
		return spot{(q.X + .5) * ax, (q.Y + .5) * ay}
	}
	if v.scaled {
		ax, ay = v.rectify(at, ax, ay)
	}
	v.outline, v.stalk = eachPx(f.Outline, at), eachPx(f.StalkPx, at)
	v.length, v.width = [2]spot{at(f.LengthLine[0]), at(f.LengthLine[1])}, [2]spot{at(f.WidthLine[0]), at(f.WidthLine[1])}
	v.hasLen = f.Length.Ok() && f.LengthLine[0] != f.LengthLine[1]
	v.hasWid = f.Width.Ok() && f.WidthLine[0] != f.WidthLine[1]
	v.w, v.h = float64(c.Image.Rect.Dx())*ax, float64(c.Image.Rect.Dy())*ay
	img := b.distinct(c.Image)
	v.picW, v.picH = float64(img.Rect.Dx())*ax, v.h
	jpg, err := picture.JPEG(img, 86)
	if err != nil {
		return nil
	}
	v.pic = b.addPic(jpg, img.Rect.Dx(), img.Rect.Dy())
	return v
}

// known is the value, 0 when it was not measured.
func known(v record.Value) float64 {
	if v.Ok() {
		return v.V
	}
	return 0
}

// rectify finds mm a px across and along, so that the drawn length and width have their measured values.
func (v *view) rectify(at func(geom.Px) spot, ax, ay float64) (float64, float64) {
	f := v.f
	if !f.Length.Ok() || !f.Width.Ok() || f.LengthLine[0] == f.LengthLine[1] || f.WidthLine[0] == f.WidthLine[1] {
		return ax, ay
	}
	l := at(f.LengthLine[1]).sub(at(f.LengthLine[0])) // straight down
	w := at(f.WidthLine[1]).sub(at(f.WidthLine[0]))
	if math.Abs(l.X) > 1e-6*l.norm() || l.Y == 0 || w.X == 0 {
		return ax, ay
	}
	ky := f.Length.V / math.Abs(l.Y)
	rest := f.Width.V*f.Width.V - ky*ky*w.Y*w.Y
	if rest <= 0 {
		return ax, ay
	}
	kx := math.Sqrt(rest) / math.Abs(w.X)
	if k := ky / kx; k > mostStretch || k < 1/mostStretch || kx > mostStretch || kx < 1/mostStretch {
		return ax, ay
	}
	v.stretch = ky / kx
	return ax * kx, ay * ky
}

func eachPx(p []geom.Px, at func(geom.Px) spot) []spot {
	out := make([]spot, len(p))
	for i, q := range p {
		out[i] = at(q)
	}
	return out
}

// plainPicture is a picture in the skin's colour only.
func plainPicture(f *record.Fruit) image.Image {
	m := image.NewNRGBA(image.Rect(0, 0, 1, 1))
	c := color.NRGBA{190, 185, 170, 255}
	if f.Skin != nil {
		r, g, b := rgb(f.Skin.Hex())
		c = color.NRGBA{uint8(r), uint8(g), uint8(b), 255}
	}
	m.SetNRGBA(0, 0, c)
	return m
}

// distinct pads a picture on its right so that no two of the document have the same width in px:
// the PDF library orders pictures by width, and the same input must give the same file.
func (b *docBuilder) distinct(m *image.NRGBA) *image.NRGBA {
	w := m.Rect.Dx()
	for b.widths[w] {
		w++
	}
	b.widths[w] = true
	if w == m.Rect.Dx() {
		return m
	}
	out := image.NewNRGBA(image.Rect(0, 0, w, m.Rect.Dy()))
	draw.Draw(out, out.Rect, image.NewUniform(picture.Paper), image.Point{}, draw.Src)
	draw.Draw(out, m.Rect, m, m.Rect.Min, draw.Src)
	return out
}

func (b *docBuilder) addPic(jpg []byte, w, h int) *pic {
	p := &pic{name: fmt.Sprintf("pic%d", len(b.pics)+1), jpg: jpg, w: w, h: h}
	b.pics = append(b.pics, p)
	return p
}

// draw puts the fruit with its top left at (x, y), s mm of paper a mm of fruit.
func (v *view) draw(c canvas, x, y, s float64) {
	c.pic(v.pic, x, y, v.picW*s, v.picH*s)
	o := spot{x, y}
	if len(v.stalk) > 2 {
		c.path(shift(zoom(thinSpots(v.stalk, 60), s), o), true, pen{line: grey, w: .12})
	}
	c.path(shift(zoom(thinSpots(v.outline, 200), s), o), true, pen{line: black, w: .18})
}

// dims draws the dimension lines of length (left) and width (below).
func (v *view) dims(c canvas, x, y, s float64) {
	o := spot{x, y}
	lo, _ := spotBounds(v.outline)
	if v.hasLen {
		a, b := v.length[0].times(s).add(o), v.length[1].times(s).add(o)
		label := mmText(v.f.Length)
		clear := c.width(label, dimInk)/2 + 2 // the label stands beside the fruit, not on it
		dimension(c, a, b, spot{-1, 0}, (math.Min(v.length[0].X, v.length[1].X)-lo.X)*s+clear, label)
	}
	if v.hasWid {
		a, b := v.width[0].times(s).add(o), v.width[1].times(s).add(o)
		if a.X > b.X {
			a, b = b, a
		}
		u := b.sub(a).times(1 / math.Max(1e-9, b.sub(a).norm()))
		n := spot{-u.Y, u.X}
		most := 0.0
		for _, p := range v.outline {
			q := p.times(s).add(o).sub(a)
			most = math.Max(most, q.X*n.X+q.Y*n.Y)
		}
		dimension(c, a, b, n, most+5, mmText(v.f.Width))
	}
}

// mmText writes a size with its uncertainty.
func mmText(v record.Value) string { return plusMinus(v) + " mm" }

func spotBounds(p []spot) (lo, hi spot) {
	lo, hi = spot{math.Inf(1), math.Inf(1)}, spot{math.Inf(-1), math.Inf(-1)}
	for _, q := range p {
		lo = spot{math.Min(lo.X, q.X), math.Min(lo.Y, q.Y)}
		hi = spot{math.Max(hi.X, q.X), math.Max(hi.Y, q.Y)}
	}
	return lo, hi
}

func thinSpots(p []spot, n int) []spot {
	if len(p) <= n {
		return p
	}
	out := make([]spot, n)
	for i := range out {
		out[i] = p[i*len(p)/n]
	}
	return out
}
