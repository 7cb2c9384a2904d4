package report

import (
	"fmt"
	"html"
	"strings"
)

// svgCanvas draws a figure as SVG with one unit a mm; pictures are referred to by name, since the
// page holds each only once.
type svgCanvas struct {
	b       strings.Builder
	measure func(string, ink) float64
}

func svgPoints(p []spot, closed bool) string {
	var b strings.Builder
	for i, q := range p {
		c := 'L'
		if i == 0 {
			c = 'M'
		}
		fmt.Fprintf(&b, "%c%.2f %.2f", c, q.X, q.Y)
	}
	if closed {
		b.WriteByte('Z')
	}
	return b.String()
}

func or(s, d string) string {
	if s == "" {
		return d
	}
	return s
}

func (c *svgCanvas) path(p []spot, closed bool, s pen) {
	fmt.Fprintf(&c.b, `<path d="%s" fill="%s"`, svgPoints(p, closed), or(s.fill, "none"))
	if s.line != "" {
		fmt.Fprintf(&c.b, ` stroke="%s" stroke-width="%.2f"`, s.line, s.w)
		if len(s.dash) > 0 {
			fmt.Fprintf(&c.b, ` stroke-dasharray="%s"`, strings.Trim(fmt.Sprint(s.dash), "[]"))
		}
	}
	c.b.WriteString("/>")
}

func (c *svgCanvas) text(x, y float64, s string, i ink) {
	if s == "" {
		return
	}
	if i.box != "" {
		c.path(textBox(c, x, y, s, i), true, pen{fill: i.box})
	}
	fmt.Fprintf(&c.b, `<text x="%.2f" y="%.2f" style="font-size:%.2fpx;text-anchor:%s`, x, y, i.size*mmPerPt, or(map[byte]string{'c': "middle", 'r': "end"}[i.at], "start"))
	if i.bold {
		c.b.WriteString(`;font-weight:700`)
	}
	if i.colour != "" {
		fmt.Fprintf(&c.b, `;fill:%s`, i.colour)
	}
	fmt.Fprintf(&c.b, `">%s</text>`, html.EscapeString(s))
}

func (c *svgCanvas) pic(p *pic, x, y, w, h float64) {
	fmt.Fprintf(&c.b, `<use href="#%s" transform="translate(%.3f %.3f) scale(%.6f %.6f)"/>`, p.name, x, y, w/float64(p.w), h/float64(p.h))
}

func (c *svgCanvas) width(s string, i ink) float64 { return c.measure(s, i) }

// blankCanvas only measures: figures are drawn on it to learn their height.
type blankCanvas struct{ canvas }

func (blankCanvas) path([]spot, bool, pen)                       {}
func (blankCanvas) text(float64, float64, string, ink)           {}
func (blankCanvas) pic(*pic, float64, float64, float64, float64) {}

// textBox is the ground behind a text.
func textBox(c canvas, x, y float64, s string, i ink) []spot {
	w, h := c.width(s, i), i.size*mmPerPt
	switch i.at {
	case 'c':
		x -= w / 2
	case 'r':
		x -= w
	}
	return rect(x-.6, y-.86*h, w+1.2, 1.14*h)
}
