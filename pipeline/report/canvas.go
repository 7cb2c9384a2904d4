package report

import (
	"fmt"
	"math"
	"strconv"
)

// spot is a place on paper, mm, x right, y down.
type spot struct{ X, Y float64 }

func (a spot) add(b spot) spot           { return spot{a.X + b.X, a.Y + b.Y} }
func (a spot) sub(b spot) spot           { return spot{a.X - b.X, a.Y - b.Y} }
func (a spot) times(k float64) spot      { return spot{a.X * k, a.Y * k} }
func (a spot) norm() float64             { return math.Hypot(a.X, a.Y) }
func mid(a, b spot) spot                 { return spot{(a.X + b.X) / 2, (a.Y + b.Y) / 2} }
func rect(x, y, w, h float64) []spot     { return []spot{{x, y}, {x + w, y}, {x + w, y + h}, {x, y + h}} }
func shift(p []spot, by spot) []spot     { return each(p, func(q spot) spot { return q.add(by) }) }
func zoom(p []spot, k float64) []spot    { return each(p, func(q spot) spot { return q.times(k) }) }
func line(x0, y0, x1, y1 float64) []spot { return []spot{{x0, y0}, {x1, y1}} }

func each(p []spot, f func(spot) spot) []spot {
	out := make([]spot, len(p))
	for i, q := range p {
		out[i] = f(q)
	}
	return out
}

// pen draws a path: colours as #rrggbb, empty: none. Width and dashes in mm.
type pen struct {
	line, fill string
	w          float64
	dash       []float64
}

// ink writes text: size in points, at l, c or r of the given place; box is drawn behind it.
type ink struct {
	size   float64
	bold   bool
	at     byte
	colour string
	box    string
}

// pic is a picture of the document, encoded once.
type pic struct {
	name string
	jpg  []byte
	w, h int // px
}

// canvas is what figures are drawn on, in mm. The PDF and the page (SVG) are canvases.
type canvas interface {
	path(p []spot, closed bool, s pen)
	text(x, y float64, s string, i ink) // y: base line
	pic(p *pic, x, y, w, h float64)
	width(s string, i ink) float64 // mm
}

// Greys and colours of the document. Nothing is told by colour alone.
const (
	black = "#1a1a1a"
	grey  = "#6b6b6b"
	faint = "#c9c6bd"
	pale  = "#faf8f3" // picture.Paper
	band  = "#e4e0d5"
	white = "#ffffff"
)

const mmPerPt = 25.4 / 72

// rgb reads #rrggbb; anything else is black.
func rgb(s string) (r, g, b int) {
	if len(s) == 7 {
		if v, err := strconv.ParseUint(s[1:], 16, 32); err == nil {
			return int(v >> 16), int(v >> 8 & 255), int(v & 255)
		}
	}
	return 0, 0, 0
}

// ring is a circle as a polygon.
func ring(x, y, r float64) []spot {
	const n = 40
	p := make([]spot, n)
	for i := range p {
		a := 2 * math.Pi * float64(i) / n
		p[i] = spot{x + r*math.Cos(a), y + r*math.Sin(a)}
	}
	return p
}

// groupMarks are the shapes that stand for groups 1, 2, …; from the ninth on they repeat.
var groupMarks = [][]spot{
	ring(0, 0, 1),
	{{0, -1.2}, {1.1, .8}, {-1.1, .8}},
	rect(-.9, -.9, 1.8, 1.8),
	{{0, -1.3}, {1.1, 0}, {0, 1.3}, {-1.1, 0}},
	{{0, 1.2}, {1.1, -.8}, {-1.1, -.8}},
	{{-.4, -1.2}, {.4, -1.2}, {.4, -.4}, {1.2, -.4}, {1.2, .4}, {.4, .4}, {.4, 1.2}, {-.4, 1.2}, {-.4, .4}, {-1.2, .4}, {-1.2, -.4}, {-.4, -.4}},
	star(5, 1.35, .6),
	star(3, 1.35, .45),
}

func star(n int, out, in float64) []spot {
	p := make([]spot, 2*n)
	for i := range p {
		r := out
		if i%2 == 1 {
			r = in
		}
		a := math.Pi*float64(i)/float64(n) - math.Pi/2
		p[i] = spot{r * math.Cos(a), r * math.Sin(a)}
	}
	return p
}

// groupMark draws the mark of group g with half-size r mm, filled with fill.
func groupMark(c canvas, x, y, r float64, g int, fill string) {
	m := groupMarks[max(g-1, 0)%len(groupMarks)]
	c.path(shift(zoom(m, r), spot{x, y}), true, pen{line: black, fill: fill, w: .2})
}

// arrow draws a filled head with its tip at a, pointing from b.
func arrow(c canvas, a, b spot) {
	d := a.sub(b)
	if d.norm() == 0 {
		return
	}
	u := d.times(1 / d.norm())
	n := spot{-u.Y, u.X}
	foot := a.sub(u.times(2.2))
	c.path([]spot{a, foot.add(n.times(.65)), foot.sub(n.times(.65))}, true, pen{fill: black})
}

var dimInk = ink{size: 8, bold: true, at: 'c', box: pale}

// dimension draws a dimension line for the distance a–b, off mm to the side of n (unit), with
// extension lines, arrow heads and a label.
func dimension(c canvas, a, b, n spot, off float64, label string) {
	thin := pen{line: black, w: .18}
	p, q := a.add(n.times(off)), b.add(n.times(off))
	c.path([]spot{a.add(n.times(.8)), p.add(n.times(1.2))}, false, pen{line: grey, w: .12})
	c.path([]spot{b.add(n.times(.8)), q.add(n.times(1.2))}, false, pen{line: grey, w: .12})
	c.path([]spot{p, q}, false, thin)
	arrow(c, p, q)
	arrow(c, q, p)
	m := mid(p, q)
	if w := c.width(label, dimInk); q.sub(p).norm() < w+8 && math.Abs(n.Y) > .5 {
		m = m.add(n.times(3.2)) // a short line: the label stands beside it
	}
	c.text(m.X, m.Y+1.1, label, dimInk)
}

// scaleBar draws a bar of mm millimetres of the fruit at scale s (paper mm a mm), alternately filled.
func scaleBar(c canvas, x, y, mm, s float64, label string) {
	const h = 1.6
	n := 5
	w := mm * s / float64(n)
	for i := range n {
		fill := white
		if i%2 == 0 {
			fill = black
		}
		c.path(rect(x+float64(i)*w, y, w, h), true, pen{fill: fill})
	}
	const w2 = .15 // inside, so that the black reaches from end to end exactly
	c.path(rect(x+w2/2, y+w2/2, mm*s-w2, h-w2), true, pen{line: black, w: w2})
	c.text(x, y+h+3.4, "0", ink{size: 7, at: 'c'})
	c.text(x+mm*s, y+h+3.4, fmt.Sprintf("%g mm", mm), ink{size: 7, at: 'c'})
	if label != "" {
		c.text(x+mm*s+8, y+h, label, ink{size: 7.5})
	}
}

// barLength chooses a round bar, mm of fruit, at most most mm on paper.
func barLength(s, most float64) float64 {
	best := 5.0
	for _, v := range []float64{5, 10, 20, 50, 100, 200, 500, 1000} {
		if v*s <= most {
			best = v
		}
	}
	return best
}

// scales that drawings use, largest first: paper mm a mm of fruit.
var drawingScales = []struct {
	s    float64
	name string
}{{2, "2 : 1"}, {1, "1 : 1"}, {1. / 2, "1 : 2"}, {1. / 3, "1 : 3"}, {1. / 4, "1 : 4"}, {1. / 5, "1 : 5"}, {1. / 6, "1 : 6"}, {1. / 8, "1 : 8"}, {1. / 10, "1 : 10"}, {1. / 12, "1 : 12"}, {1. / 15, "1 : 15"}, {1. / 20, "1 : 20"}, {1. / 40, "1 : 40"}, {1. / 80, "1 : 80"}}

// chooseScale returns the largest drawing scale at which w × h mm fit into mw × mh mm of paper.
func chooseScale(w, h, mw, mh float64) (float64, string) {
	for _, d := range drawingScales {
		if w*d.s <= mw && h*d.s <= mh {
			return d.s, d.name
		}
	}
	d := drawingScales[len(drawingScales)-1]
	return d.s, d.name
}
