package report

import (
	"fmt"
	"html"
	"io"
	"strings"

	"offtype/pipeline/picture"
)

// docStyle follows the page of a run, with what the measurement report adds.
const docStyle = `
main{max-width:60rem}
table.facts th{text-align:left;font-weight:400;opacity:.75;padding-right:1.5rem;white-space:nowrap;vertical-align:top}
.frame{border:1px solid currentColor;padding:.8rem 1rem;margin:1rem 0;border-radius:4px}.frame.strong{border-width:3px;font-size:1.2rem;font-weight:700}
ul.boxes{list-style:none;padding-left:0}ul.boxes li::before{content:"☐ ";font-size:1.2em}
.gm{width:.9em;height:.9em;vertical-align:-.1em}.lead{font-weight:700;font-size:1.1rem}
@media print{main{max-width:none}h2.part{break-before:page}figure.draw{break-inside:avoid}}
`

// html writes the blocks as one self-contained page.
func (b *docBuilder) html(w io.Writer, bs []block) error {
	h := &htmlDoc{t: b.t, measure: b.metrics.width, blocks: bs}
	fmt.Fprintf(&h.b, `<!doctype html><html lang="%s"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><meta name="color-scheme" content="light dark"><title>%s</title><style>%s%s</style></head><body>`,
		b.t.Lang, html.EscapeString(b.title), pageStyle, docStyle)
	h.b.WriteString(`<svg width="0" height="0" style="position:absolute" aria-hidden="true"><defs>`)
	for _, p := range b.pics {
		fmt.Fprintf(&h.b, `<image id="%s" href="%s" width="%d" height="%d" preserveAspectRatio="none"/>`, p.name, picture.DataURI(p.jpg), p.w, p.h)
	}
	h.b.WriteString("</defs></svg><main>")
	for _, x := range bs {
		h.block(x)
	}
	h.b.WriteString("</main></body></html>\n")
	_, err := io.WriteString(w, h.b.String())
	return err
}

type htmlDoc struct {
	b       strings.Builder
	t       *docTexts
	measure func(string, ink) float64
	blocks  []block
}

// esc escapes text, line ends as breaks.
func esc(s string) string { return strings.ReplaceAll(html.EscapeString(s), "\n", "<br>") }

func (h *htmlDoc) block(b block) {
	switch b := b.(type) {
	case heading:
		if b.level == 1 {
			fmt.Fprintf(&h.b, `<h2 class="part" id="%s" dir="auto">%s</h2>`, b.id, esc(b.text))
		} else {
			fmt.Fprintf(&h.b, `<h%d dir="auto">%s</h%d>`, b.level+1, esc(b.text), b.level+1)
		}
	case para:
		h.para(b)
	case list:
		class := ""
		if b.boxes {
			class = ` class="boxes"`
		}
		fmt.Fprintf(&h.b, `<ul%s>`, class)
		h.each("<li dir=\"auto\">%s</li>", b.items)
		h.b.WriteString("</ul>")
	case frame:
		h.frame(b)
	case numbers:
		h.b.WriteString(`<ul class="figures">`)
		for _, f := range b.of {
			fmt.Fprintf(&h.b, `<li><b>%s</b><span>%s</span></li>`, esc(f.Value), esc(f.Name))
		}
		h.b.WriteString("</ul>")
	case facts:
		h.b.WriteString(`<table class="facts"><tbody>`)
		for _, r := range b.rows {
			fmt.Fprintf(&h.b, `<tr><th scope="row">%s</th><td dir="auto">%s</td></tr>`, esc(r[0]), esc(r[1]))
		}
		h.b.WriteString("</tbody></table>")
	case table:
		h.table(b)
	case drawing:
		h.drawing(b)
	case contents:
		h.contents()
	}
}

// each writes items, escaped, into format.
func (h *htmlDoc) each(format string, items []string) {
	for _, s := range items {
		fmt.Fprintf(&h.b, format, esc(s))
	}
}

func (h *htmlDoc) para(b para) {
	tag, class := "p", ""
	switch b.look {
	case title:
		tag = "h1"
	case small, kicker:
		class = ` class="small"`
	case lead:
		class = ` class="lead"`
	}
	fmt.Fprintf(&h.b, `<%s%s dir="auto">%s</%s>`, tag, class, esc(b.text), tag)
}

func (h *htmlDoc) frame(b frame) {
	class := "frame"
	if b.strong {
		class += " strong"
	}
	fmt.Fprintf(&h.b, `<section class="%s">`, class)
	if b.title != "" {
		fmt.Fprintf(&h.b, `<p class="small">%s</p>`, esc(b.title))
	}
	h.each("<p dir=\"auto\">%s</p>", b.paras)
	h.b.WriteString("</section>")
}

func (h *htmlDoc) drawing(b drawing) {
	c := &svgCanvas{measure: h.measure}
	b.draw(c)
	class := "draw"
	if b.w > likenessWide {
		class += " wide" // scrolls on a phone
	}
	fmt.Fprintf(&h.b, `<figure class="%s"><svg viewBox="-1 -1 %.2f %.2f" role="img" aria-label="%s">%s</svg>`, class, b.w+2, b.h+2, html.EscapeString(b.alt), c.b.String())
	if b.caption != "" {
		fmt.Fprintf(&h.b, `<figcaption dir="auto">%s</figcaption>`, esc(b.caption))
	}
	h.b.WriteString("</figure>")
}

func (h *htmlDoc) contents() {
	h.b.WriteString("<nav><ol>")
	for _, x := range h.blocks {
		if p, ok := x.(heading); ok && p.level == 1 {
			fmt.Fprintf(&h.b, `<li><a href="#%s">%s</a></li>`, p.id, esc(p.text))
		}
	}
	h.b.WriteString("</ol></nav>")
}

// longCell is from how many letters on a cell keeps a width that can be read on a phone.
const longCell = 30

func (h *htmlDoc) table(t table) {
	if len(t.rows) == 0 {
		return
	}
	h.b.WriteString(`<div class="scroll"><table><thead><tr>`)
	for _, s := range t.head {
		fmt.Fprintf(&h.b, "<th>%s</th>", esc(s))
	}
	h.b.WriteString("</tr></thead><tbody>")
	for _, r := range t.rows {
		h.b.WriteString("<tr>")
		for _, c := range r {
			class := ""
			switch {
			case c.right:
				class = ` class="n"`
			case len([]rune(c.text)) > longCell:
				class = ` class="long"`
			}
			fmt.Fprintf(&h.b, `<td%s dir="auto">`, class)
			if c.swatch != "" {
				fmt.Fprintf(&h.b, `<span class="sw" style="background:%s"></span>`, c.swatch)
			}
			if c.group > 0 {
				m := groupMarks[(c.group-1)%len(groupMarks)]
				fmt.Fprintf(&h.b, `<svg class="gm" viewBox="-1.5 -1.5 3 3" aria-hidden="true"><path d="%s" fill="none" stroke="currentColor" stroke-width=".3"/></svg> `, svgPoints(m, true))
			}
			if c.bold {
				fmt.Fprintf(&h.b, "<b>%s</b>", esc(c.text))
			} else {
				h.b.WriteString(esc(c.text))
			}
			h.b.WriteString("</td>")
		}
		h.b.WriteString("</tr>")
	}
	h.b.WriteString("</tbody></table></div>")
}
