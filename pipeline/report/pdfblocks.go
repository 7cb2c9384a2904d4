package report

import (
	"fmt"
	"math"
)

var looks = map[look]ink{
	plain: {size: 9.5}, small: {size: 8, colour: grey}, lead: {size: 12, bold: true}, kicker: {size: 9, colour: grey}, title: {size: 22, bold: true},
}

// block draws one block at d.y and moves d.y below it.
func (d *pdfDoc) block(b block) {
	switch b := b.(type) {
	case heading:
		d.heading(b)
	case para:
		i := looks[b.look]
		d.lines(b.text, i, 0, pageWidth)
		d.y += 1.6
	case list:
		d.list(b)
	case frame:
		d.frame(b)
	case numbers:
		d.numbers(b)
	case table:
		d.table(b)
	case facts:
		d.facts(b)
	case drawing:
		d.drawing(b)
	case contents:
		d.contents()
	case newPage:
		d.y = d.h
	case keep:
		d.room(b.h)
	}
}

func (d *pdfDoc) heading(b heading) {
	i := ink{size: 11.5, bold: true}
	if b.level == 1 {
		i.size = 16
		if d.PageNo() > 1 && d.y < d.h/3 {
			d.y += 8 // a short page goes on
		} else {
			d.y = d.h
		}
	} else if d.y > pageTop {
		d.y += 3
	}
	d.room(26)
	if b.level <= 2 || b.id != "" {
		d.Bookmark(clean(b.text), min(b.level, 2)-1, d.y-4)
	}
	if b.level == 1 {
		d.SetLink(d.links[b.id], d.y-4, d.PageNo())
		d.RegisterAlias("{p:"+b.id+"}", fmt.Sprint(d.PageNo()))
	}
	d.lines(b.text, i, 0, pageWidth)
	d.y += 1.8
}

func (d *pdfDoc) list(b list) {
	i := looks[plain]
	for _, s := range b.items {
		d.room(2 * lineHeight(i))
		if b.boxes {
			d.path(rect(.3, .9, 3.2, 3.2), true, pen{line: black, w: .25})
			d.lines(s, i, 6, pageWidth-6)
		} else {
			d.path(ring(1.2, lineHeight(i)/2, .55), true, pen{fill: black})
			d.lines(s, i, 4, pageWidth-4)
		}
		d.y += .8
	}
	d.y += 1.5
}

func (d *pdfDoc) frame(b frame) {
	i := ink{size: 9.5}
	if b.strong {
		i = ink{size: 12.5, bold: true}
	}
	const pad = 4.0
	var ls []string
	gaps := map[int]bool{}
	for _, p := range b.paras {
		ls = append(ls, wrap(d, p, i, pageWidth-2*pad)...)
		gaps[len(ls)-1] = true
	}
	h := 2*pad + float64(len(ls))*lineHeight(i) + 1.2*float64(len(b.paras)-1)
	if b.title != "" {
		h += 5.5
	}
	d.room(math.Min(h, 200))
	w := .3
	if b.strong {
		w = .8
	}
	d.path(rect(0, 0, pageWidth, h), true, pen{line: black, fill: pale, w: w})
	y := pad
	if b.title != "" {
		d.text(pad, y+3.4, b.title, ink{size: 9.5, bold: true})
		y += 5.5
	}
	for n, l := range ls {
		if startsRight(l) {
			r := i
			r.at = 'r'
			d.text(pageWidth-pad, y+.78*lineHeight(i), l, r)
		} else {
			d.text(pad, y+.78*lineHeight(i), l, i)
		}
		y += lineHeight(i)
		if gaps[n] {
			y += 1.2
		}
	}
	d.y += h + 4
}

func (d *pdfDoc) numbers(b numbers) {
	if len(b.of) == 0 {
		return
	}
	w := pageWidth / float64(len(b.of))
	d.room(22)
	for k, f := range b.of {
		x := float64(k) * w
		d.text(x, 8, f.Value, ink{size: 20, bold: true})
		for n, l := range wrap(d, f.Name, looks[small], w-3) {
			d.text(x, 12.6+3.4*float64(n), l, looks[small])
		}
	}
	d.y += 21
}

func (d *pdfDoc) facts(b facts) {
	const name = 46.0
	i := ink{size: 9.5}
	for _, r := range b.rows {
		ls := wrap(d, r[1], i, pageWidth-name)
		h := float64(len(ls))*lineHeight(i) + 1.2
		d.room(h)
		d.text(0, .8*lineHeight(i), r[0], ink{size: 9, colour: grey})
		for n, l := range ls {
			d.text(name, (float64(n)+.8)*lineHeight(i), l, i)
		}
		d.path(line(0, h, pageWidth, h), false, pen{line: faint, w: .15})
		d.y += h
	}
	d.y += 4
}

func (d *pdfDoc) drawing(b drawing) {
	ls := []string{}
	words := 0.0
	if b.caption != "" {
		ls = wrap(d, b.caption, looks[small], pageWidth)
		words = 1.5 + float64(len(ls))*lineHeight(looks[small])
	}
	if left := d.h - pageBottom - d.y - words; b.fit != nil && d.PageNo() > 0 && b.h > left {
		if lower, ok := b.fit(left); ok {
			b = lower
		}
	}
	h := b.h + words
	d.room(h)
	b.draw(d)
	y := b.h + 1.5
	for _, l := range ls {
		d.text(0, y+.78*lineHeight(looks[small]), l, looks[small])
		y += lineHeight(looks[small])
	}
	d.y += h + 3
}

func (d *pdfDoc) contents() {
	i := looks[plain]
	lh := lineHeight(i) + .4
	rows := (len(d.marks) + 1) / 2
	d.room(float64(rows) * lh)
	for k, m := range d.marks {
		x, y := float64(k/rows)*(pageWidth/2+4), float64(k%rows)*lh
		const w = pageWidth/2 - 14
		d.text(x, y+.78*lh, m.text, i)
		d.text(x+w+2, y+.78*lh, "{p:"+m.id+"}", i)
		for at := d.width(m.text, i) + 2; at < w; at += 1.6 {
			d.path(ring(x+at, y+.7*lh, .16), true, pen{fill: grey})
		}
		d.Link(d.left+x, d.y+y, w+8, lh, d.links[m.id])
	}
	d.y += float64(rows)*lh + 3
}

const (
	cellPad   = 1.1
	thumbTall = 13.0
)

var cellInk = ink{size: 8}

// cellText wraps a cell's text to what its column leaves.
func (d *pdfDoc) cellText(c cell, w float64) []string {
	i := cellInk
	i.bold = c.bold
	w -= 2 * cellPad
	if c.swatch != "" {
		w -= 8
	}
	if c.group > 0 {
		w -= 4.5
	}
	return wrap(d, c.text, i, w)
}

func (d *pdfDoc) rowHeight(row []cell, ws []float64, least float64) float64 {
	h := math.Max(least, lineHeight(cellInk))
	for k, c := range row {
		h = math.Max(h, float64(len(d.cellText(c, ws[k])))*lineHeight(cellInk))
		if c.pic != nil {
			h = math.Max(h, thumbTall)
		}
	}
	return h + 1.4
}

func (d *pdfDoc) row(row []cell, ws []float64, h float64, boxed bool) {
	x := 0.0
	for k, c := range row {
		w := ws[k]
		i := cellInk
		i.bold = c.bold
		tx := x + cellPad
		if boxed {
			d.path(rect(x, 0, w, h), true, pen{line: grey, w: .15})
		}
		if c.pic != nil {
			s := math.Min((thumbTall)/float64(c.pic.h), (w-2*cellPad)/float64(c.pic.w))
			d.pic(c.pic, x+w/2-s*float64(c.pic.w)/2, .7, s*float64(c.pic.w), s*float64(c.pic.h))
		}
		if c.swatch != "" {
			d.path(rect(tx, .9, 6.5, 2.7), true, pen{line: black, fill: c.swatch, w: .12})
			tx += 8
		}
		if c.group > 0 {
			groupMark(d, tx+1.5, 2.2, 1.2, c.group, white)
			tx += 4.5
		}
		for n, l := range d.cellText(c, w) {
			y := .7 + (float64(n)+.76)*lineHeight(cellInk)
			if c.right {
				i.at = 'r'
				d.text(x+w-cellPad, y, l, i)
			} else {
				d.text(tx, y, l, i)
			}
		}
		x += w
	}
	d.path(line(0, h, x, h), false, pen{line: faint, w: .15})
}

func (d *pdfDoc) table(b table) {
	if len(b.rows) == 0 {
		return
	}
	ws := make([]float64, len(b.widths))
	sum := 0.0
	for _, w := range b.widths {
		sum += w
	}
	for i, w := range b.widths {
		ws[i] = w / sum * pageWidth
	}
	head := make([]cell, len(b.head))
	for i, s := range b.head {
		head[i] = cell{text: s, bold: true, right: len(b.rows[0]) > i && b.rows[0][i].right}
	}
	hh := d.rowHeight(head, ws, 0)
	top := func() {
		d.path(rect(0, 0, pageWidth, hh), true, pen{fill: band})
		d.row(head, ws, hh, false)
		d.y += hh
	}
	d.room(hh + d.rowHeight(b.rows[0], ws, b.tall))
	top()
	for _, r := range b.rows {
		h := d.rowHeight(r, ws, b.tall)
		page := d.PageNo()
		if d.room(h); d.PageNo() != page {
			top()
			d.room(h)
		}
		d.row(r, ws, h, b.tall > 0)
		d.y += h
	}
	d.y += 4
}
