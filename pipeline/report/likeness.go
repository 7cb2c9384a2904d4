package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"offtype/pipeline/record"
)

// likeness draws how alike fruit are: the plane in which groups lie farthest apart, and the tree.
type likeness struct {
	g  *record.Grouping
	of []record.Membership // of the rows of g
	k  int                 // groups
	w  float64             // mm, of the drawings
	t  *likeTexts

	unscaled bool // some fruit have no scale
}

// newLikeness returns nil when there is nothing to draw.
func newLikeness(run *record.Run, width float64, t *likeTexts) *likeness {
	g := run.Grouping
	if g == nil || len(g.Rows) < 3 || len(g.Points) != len(g.Rows) || len(g.Tree) != len(g.Rows)-1 {
		return nil
	}
	at := map[record.Key]record.Membership{}
	for _, m := range run.Groups {
		at[m.Key] = m
	}
	l := &likeness{g: g, w: width, t: t, unscaled: slices.ContainsFunc(run.Fruits, isUnscaled)}
	for _, r := range g.Rows {
		m := at[r]
		m.Key = r
		l.of = append(l.of, m)
		l.k = max(l.k, m.Group)
	}
	return l
}

// blocks are the figures with their words.
func (l *likeness) blocks() []block {
	var bs []block
	if d, ok := l.plane(); ok {
		words := strings.TrimSpace(l.t.PlaneIntro + " " + l.axes())
		if l.unscaled {
			words += " " + l.t.NoScale
		}
		bs = append(bs, heading{text: l.t.Plane, level: 2}, para{words, plain}, d)
	}
	if s := l.firm(); len(s) > 0 {
		bs = append(bs, heading{text: l.t.Firm, level: 2}, para{l.t.FirmIntro, plain}, list{items: append(s, l.g.Notes...)})
	}
	if s := l.unsure(); len(s) > 0 {
		bs = append(bs, heading{text: l.t.Unsure, level: 3}, list{items: s})
	} else {
		bs = append(bs, para{l.t.Sure, plain})
	}
	t := l.tree()
	return append(bs, keep{min(t.h+treeHead, 240)}, heading{text: l.t.Tree, level: 2}, para{l.treeText(), plain}, t)
}

// treeHead is the height of heading and words above the tree, mm.
const treeHead = 26.0

// axes says what the directions of the plane mean.
func (l *likeness) axes() string {
	a := [2]string{strings.Join(l.g.Axes[0], ", "), strings.Join(l.g.Axes[1], ", ")}
	switch {
	case a[0] != "" && a[1] != "":
		return fmt.Sprintf(l.t.PlaneAxes, a[0], a[1])
	case a[0] != "":
		return fmt.Sprintf(l.t.Right, a[0])
	case a[1] != "":
		return fmt.Sprintf(l.t.Up, a[1])
	}
	return ""
}

// ringRadius is where a ring about the centre of a type holds 95 of 100 of its fruit, in standard
// deviations: √χ²(0.95; 2).
const ringRadius = 2.4477

// ringed is a group's ring in the plane.
type ringed struct {
	g int
	c spot
}

func (l *likeness) rings() []ringed {
	var out []ringed
	for g := 1; g <= l.k; g++ {
		var c spot
		n := 0.0
		for i, m := range l.of {
			if m.Group == g && !m.Alone {
				c = c.add(spot{l.g.Points[i][0], l.g.Points[i][1]})
				n++
			}
		}
		if n > 1 {
			out = append(out, ringed{g, c.times(1 / n)})
		}
	}
	return out
}

// plane draws the fruit in the two directions that tell groups apart best, both at one scale.
func (l *likeness) plane() (drawing, bool) {
	lo, hi := spot{math.Inf(1), math.Inf(1)}, spot{math.Inf(-1), math.Inf(-1)}
	see := func(p spot, r float64) {
		lo, hi = spot{min(lo.X, p.X-r), min(lo.Y, p.Y-r)}, spot{max(hi.X, p.X+r), max(hi.Y, p.Y+r)}
	}
	for _, p := range l.g.Points {
		if math.IsNaN(p[0]) || math.IsNaN(p[1]) {
			return drawing{}, false
		}
		see(spot{p[0], p[1]}, .2)
	}
	rings := l.rings()
	for _, r := range rings {
		see(r.c, ringRadius)
	}
	const edge, most = 5.0, 10.0 // mm; mm a standard deviation
	s := min(most, (l.w-2*edge)/(hi.X-lo.X), min(.8*l.w, 120)/(hi.Y-lo.Y))
	h := (hi.Y-lo.Y)*s + 2*edge + 4
	left := (l.w - (hi.X-lo.X)*s) / 2
	at := func(p spot) spot { return spot{left + (p.X-lo.X)*s, edge + 4 + (hi.Y-p.Y)*s} }
	return drawing{w: l.w, h: h, alt: l.t.PlaneAlt, draw: func(c canvas) {
		c.path(rect(0, 0, l.w, h), true, pen{line: faint, fill: pale, w: .2})
		for _, r := range rings {
			q := at(r.c)
			c.path(ring(q.X, q.Y, ringRadius*s), true, pen{line: grey, w: .25, dash: []float64{1.4, 1}})
		}
		for i, m := range l.of {
			q := at(spot{l.g.Points[i][0], l.g.Points[i][1]})
			c.path(shift(zoom(groupMarks[max(m.Group-1, 0)%len(groupMarks)], l.markSize()), q), true, pen{line: black, fill: groupFill(m.Group), w: .2})
			if m.Unsure {
				c.text(q.X+1.8, q.Y+1, "?", ink{size: 9, bold: true})
			}
		}
		for _, r := range rings {
			q := at(r.c.add(spot{0, ringRadius}))
			name := fmt.Sprintf(l.t.Key, r.g)
			i := ink{size: 8.5, bold: true, box: pale}
			x := min(max(q.X-(c.width(name, i)-4)/2, 5), l.w-c.width(name, i)-2)
			c.text(x, q.Y-1.2, name, i)
			c.path(shift(zoom(groupMarks[(r.g-1)%len(groupMarks)], 1.2), spot{x - 2.4, q.Y - 2.3}), true, pen{line: black, fill: groupFill(r.g), w: .2})
		}
	}}, true
}

func (l *likeness) markSize() float64 {
	if len(l.of) > 200 {
		return .8
	}
	return 1.4
}

// groupFill is the colour of a group's marks on white.
func groupFill(g int) string {
	c, _ := record.GroupLook(g)
	return c
}

// mostLeaves is how many fruit a tree shows one by one; mostBranches how many branches of a larger one are drawn.
const (
	mostLeaves   = 80
	mostBranches = 40
)

// node is a branch of the tree as drawn: a leaf when a < 0.
type node struct {
	a, b   int
	height float64
	rows   []int
}

// nodes are the leaves, then the joins. A large tree keeps its uppermost branches only.
func (l *likeness) nodes() []node {
	n := len(l.of)
	out := make([]node, 0, 2*n-1)
	for i := range n {
		out = append(out, node{a: -1, rows: []int{i}})
	}
	for _, j := range l.g.Tree {
		out = append(out, node{j.A, j.B, j.Height, slices.Concat(out[j.A].rows, out[j.B].rows)})
	}
	if n > mostLeaves {
		for k := n; k < len(out)-mostBranches+1; k++ {
			out[k].a = -1
		}
	}
	return out
}

// cut is the height at which the tree falls into as many branches as there are groups, and whether
// these branches are the groups. 0: one group only.
func (l *likeness) cut() (float64, bool) {
	n := len(l.of)
	if l.k < 2 || l.k > n-1 {
		return 0, false
	}
	h := (l.g.Tree[n-l.k-1].Height + l.g.Tree[n-l.k].Height) / 2
	same := true
	ns := l.nodes()
	for k := range ns {
		if k < n || ns[k].height > h {
			continue
		}
		for _, r := range ns[k].rows {
			same = same && l.of[r].Group == l.of[ns[k].rows[0]].Group
		}
	}
	return h, same
}

func (l *likeness) treeText() string {
	s := l.t.TreeIntro
	if h, same := l.cut(); h > 0 && same {
		s += " " + fmt.Sprintf(l.t.TreeCut, l.k)
	} else if h > 0 {
		s += " " + l.t.TreeOther
	}
	if len(l.of) > mostLeaves {
		s += " " + fmt.Sprintf(l.t.TreeMost, len(l.of), mostBranches)
	}
	return s
}

// tree draws the tree with its leaves on the left.
func (l *likeness) tree() drawing {
	ns := l.nodes()
	root := len(ns) - 1
	const rowH, top = 3.7, 7.0
	y := make([]float64, len(ns))
	var leaves []int
	var walk func(k int)
	walk = func(k int) {
		if ns[k].a < 0 {
			y[k] = top + rowH*(float64(len(leaves))+.5)
			leaves = append(leaves, k)
			return
		}
		walk(ns[k].a)
		walk(ns[k].b)
		y[k] = (y[ns[k].a] + y[ns[k].b]) / 2
	}
	walk(root)
	h := top + rowH*float64(len(leaves)) + 2
	labels := l.labelWidth(ns, leaves)
	right := l.w - 4
	x := func(k int) float64 {
		if ns[k].a < 0 {
			return labels
		}
		return labels + ns[k].height/math.Max(ns[root].height, 1e-9)*(right-labels)
	}
	cut, _ := l.cut()
	return drawing{w: l.w, h: h, alt: l.t.TreeAlt, draw: func(c canvas) {
		c.path(rect(0, 0, l.w, h), true, pen{line: faint, fill: pale, w: .2})
		c.text(labels, 4, l.t.Alike, ink{size: 7.5, colour: grey})
		c.text(right, 4, l.t.Different, ink{size: 7.5, colour: grey, at: 'r'})
		for _, k := range leaves {
			l.leaf(c, ns[k].rows, labels-2, y[k])
		}
		stroke := pen{line: black, w: .3}
		for k := range ns {
			if ns[k].a < 0 || k != root && y[k] == 0 {
				continue
			}
			for _, j := range []int{ns[k].a, ns[k].b} {
				c.path([]spot{{x(j), y[j]}, {x(k), y[j]}, {x(k), y[k]}}, false, stroke)
			}
		}
		if cut > 0 {
			cx := labels + cut/ns[root].height*(right-labels)
			c.path(line(cx, top-2, cx, h-1), false, pen{line: black, w: .45, dash: []float64{1.6, 1.2}})
			c.text(cx, 4, l.t.Cut, ink{size: 7.5, bold: true, at: 'c', box: pale})
		}
	}}
}

// labelWidth is the room for the names of the leaves, mm.
func (l *likeness) labelWidth(ns []node, leaves []int) float64 {
	w := 12.0
	for _, k := range leaves {
		if len(ns[k].rows) == 1 {
			w = max(w, roughWidth(l.name(l.of[ns[k].rows[0]], false)+" ?", leafInk)+7)
		}
	}
	return min(w, .4*l.w)
}

var leafInk = ink{size: 7, at: 'r'}

// leaf writes the name of a leaf, or of a bunch of fruit, ending at x.
func (l *likeness) leaf(c canvas, rows []int, x, y float64) {
	i := leafInk
	m := l.of[rows[0]]
	name := l.name(m, false)
	if len(rows) > 1 {
		name = fmt.Sprintf(l.t.Bunch, len(rows))
	}
	if m.Unsure && len(rows) == 1 {
		name += " ?"
	}
	c.path(shift(zoom(groupMarks[max(m.Group-1, 0)%len(groupMarks)], 1.05), spot{x - 1, y}), true, pen{line: black, fill: groupFill(m.Group), w: .2})
	for c.width(name, i) > x-4 && len([]rune(name)) > 4 {
		r := []rune(strings.TrimSuffix(name, "…"))
		name = string(r[:len(r)-1]) + "…"
	}
	c.text(x-3, y+.9, name, i)
}

// name of a fruit: by its plant where it has one.
func (l *likeness) name(m record.Membership, long bool) string {
	if m.Plant == "" {
		return fmt.Sprintf(l.t.Leaf, m.Number, m.Photo)
	}
	s := fmt.Sprintf(l.t.LeafPlant, m.Plant, m.Number)
	if long {
		s += " (" + m.Photo + ")"
	}
	return s
}

// firm says how often each group came out again.
func (l *likeness) firm() []string {
	var out []string
	for i, n := range l.g.Repeats {
		if n == 0 || i >= len(l.g.Again) {
			continue
		}
		s := fmt.Sprintf(l.t.FirmGroup, i+1, l.g.Again[i], n)
		out = append(out, s)
	}
	return out
}

// unsure lists the fruit between groups or far from all.
func (l *likeness) unsure() []string {
	const most = 12
	var out []string
	more := 0
	for _, m := range l.of {
		switch {
		case !m.Unsure:
		case len(out) == most:
			more++
		case m.Alone:
			out = append(out, fmt.Sprintf(l.t.UnsureAlone, l.name(m, true), m.Group))
		case m.Unplaced(l.k):
			out = append(out, fmt.Sprintf(l.t.UnsureNothing, l.name(m, true), m.Group))
		default:
			out = append(out, fmt.Sprintf(l.t.UnsureFruit, l.name(m, true), m.Group, 100*m.Membership))
		}
	}
	if more > 0 {
		out = append(out, fmt.Sprintf(l.t.UnsureMore, more))
	}
	return out
}
