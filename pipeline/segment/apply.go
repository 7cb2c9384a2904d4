package segment

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"offtype/measure/geom"
)

// Apply puts the corrections on top of an automatic result, in the order of the file, and returns
// the fruit in reading order. Numbers stay with their fruit: a dropped number is not used again,
// the greatest part of a split fruit keeps its number, merged fruit keep the smaller one, and new
// fruit take the next numbers. The result itself is not changed.
//
// Errors (all of *FixError, joined) name the entries that could not be applied: no fruit lies at
// their point, or the cut misses the fruit. The fruit returned with an error have the other
// corrections applied.
func (f *Fixes) Apply(im Image, res *Result) ([]Fruit, error) {
	e := &editor{im: im, m: res.Maps, opt: DefaultOptions(), t: newTools()}
	for _, x := range res.Fruits {
		x.Notes = append([]string(nil), x.Notes...)
		e.fruits = append(e.fruits, x)
		e.last = max(e.last, x.Number)
	}
	if f == nil {
		return e.fruits, nil
	}
	var errs []error
	for i := range f.Fixes {
		if err := e.apply(&f.Fixes[i]); err != nil {
			errs = append(errs, &FixError{i + 1, f.Fixes[i].Op, err.Error()})
		}
	}
	sortReading(e.fruits)
	return e.fruits, errors.Join(errs...)
}

// editor changes a list of fruit.
type editor struct {
	im     Image
	m      *Maps
	opt    Options
	t      *tools
	fruits []Fruit
	last   int // greatest number ever given
}

// find returns the index of the fruit at p; of several that overlap there, the smallest.
func (e *editor) find(p Point) (int, error) {
	best, area := -1, math.Inf(1)
	for i, f := range e.fruits {
		if a := geom.Area(f.Outline); geom.Contains(f.Outline, p.Px()) && a < area {
			best, area = i, a
		}
	}
	if best < 0 {
		return 0, fmt.Errorf("no fruit lies at %v; give a point inside the fruit, or remove this correction", p)
	}
	return best, nil
}

func (e *editor) apply(x *Fix) error {
	if err := x.check(); err != nil {
		return err
	}
	if x.Op == "add" {
		return e.add(x)
	}
	i, err := e.find(*x.At)
	if err != nil {
		return err
	}
	f := &e.fruits[i]
	switch x.Op {
	case "drop":
		e.fruits = append(e.fruits[:i], e.fruits[i+1:]...)
		return nil
	case "redraw":
		return e.redraw(i, x)
	case "split":
		return e.split(i, x.Line[0].Px(), x.Line[1].Px())
	case "merge":
		j, err := e.find(*x.With)
		if err != nil {
			return err
		}
		if i == j {
			return errors.New("both points lie in the same fruit")
		}
		return e.merge(i, j)
	case "pose":
		f.Pose = x.Pose
		f.UprightScore = map[string]float64{"side": 0, "unclear": 0.5, "upright": 1}[x.Pose]
	case "stem":
		p := x.Stem.Px()
		if f.Blossom != nil && f.StemBase != nil && p.Sub(*f.Blossom).Norm() < p.Sub(*f.StemBase).Norm() {
			b := *f.StemBase // the ends were taken the wrong way round
			f.Blossom = &b
			f.Stalk, f.StalkTip = nil, nil
		}
		f.StemBase, f.StemBy = &p, 1
	case "plant":
		f.Plant = x.Plant
	}
	f.byHand()
	return nil
}

// byHand marks a fruit as corrected: its outline is taken as right.
func (f *Fruit) byHand() {
	for _, n := range f.Notes {
		if n == "by-hand" {
			return
		}
	}
	f.Notes = append(f.Notes, "by-hand")
	f.Confidence = 1
}

// add puts a new outline in, moved to the photo's edge near it unless it is to stay as drawn.
func (e *editor) add(x *Fix) error {
	f := e.outline(x.drawn(), !x.Exact)
	if f == nil {
		return errors.New("the outline lies outside the photo or is too small")
	}
	e.number(f)
	e.fruits = append(e.fruits, *f)
	return nil
}

// redraw gives fruit i another outline; it keeps its number, plant, pose and the ends that fit.
func (e *editor) redraw(i int, x *Fix) error {
	old := e.fruits[i]
	rest := append([]Fruit(nil), e.fruits[:i]...)
	e.fruits = append(rest, e.fruits[i+1:]...)
	f := e.outline(x.drawn(), !x.Exact)
	if f == nil {
		e.fruits = append(e.fruits, old)
		return errors.New("the outline lies outside the photo or is too small")
	}
	f.Number, f.Plant, f.Pose = old.Number, old.Plant, old.Pose
	f.keepEnds(old)
	e.fruits = append(e.fruits, *f)
	return nil
}

// drawn returns the outline of a correction, running the way outlines run.
func (x *Fix) drawn() []geom.Px {
	var line []geom.Px
	for _, p := range x.Outline {
		line = append(line, p.Px())
	}
	if geom.SignedArea(line) < 0 {
		slices.Reverse(line)
	}
	return line
}

func (e *editor) number(f *Fruit) {
	e.last++
	f.Number = e.last
}

// split cuts fruit i along the straight line through p and q. The greatest part on each side stays.
func (e *editor) split(i int, p, q geom.Px) error {
	old := e.fruits[i]
	nor := geom.Px{X: p.Y - q.Y, Y: q.X - p.X}
	var parts []*Fruit
	for _, s := range [2]float64{1, -1} {
		line := cutHalf(old.Outline, p, nor.Scale(s/nor.Norm()))
		if len(line) < 8 || geom.Area(line) < 0.01*geom.Area(old.Outline) {
			return errors.New("the line does not cut the fruit in two")
		}
		parts = append(parts, &Fruit{Outline: line})
	}
	rest := append([]Fruit(nil), e.fruits[:i]...)
	rest = append(rest, e.fruits[i+1:]...)
	e.fruits = append(rest, *parts[0], *parts[1])
	n := len(e.fruits)
	for k, c := range parts {
		f := e.outline(c.Outline, true)
		if f == nil {
			return errors.New("a part is too small to be a fruit")
		}
		f.keepEnds(old)
		f.Plant = old.Plant
		e.fruits[n-2+k] = *f
	}
	a, b := &e.fruits[n-2], &e.fruits[n-1]
	if geom.Area(a.Outline) < geom.Area(b.Outline) {
		a, b = b, a
	}
	a.Number = old.Number
	e.number(b)
	return nil
}

// keepEnds takes over the ends and stalk of old that belong to f.
func (f *Fruit) keepEnds(old Fruit) {
	near := func(p *geom.Px) bool {
		return p != nil && (geom.Contains(f.Outline, *p) || distToLine(f.Outline, *p) < 6)
	}
	if near(old.StemBase) {
		f.StemBase, f.StemBy, f.Stalk, f.StalkTip = old.StemBase, old.StemBy, old.Stalk, old.StalkTip
	}
	if near(old.Blossom) {
		f.Blossom, f.BlossomBy = old.Blossom, old.BlossomBy
	}
}

// cutHalf returns the greatest closed piece of line on the side of point p that nor points to.
func cutHalf(line []geom.Px, p, nor geom.Px) []geom.Px {
	w, h, lo := grid(line)
	f := make([]float32, w*h)
	FillSpans(shift(line, lo), w, h, func(y, x0, x1 int) {
		for x := x0; x < x1; x++ {
			d := (geom.Px{X: float64(x), Y: float64(y)}).Add(lo).Sub(p).Dot(nor)
			f[y*w+x] = float32(clamp(0.5+d, 0, 1))
		}
	})
	return shift(contour(f, w, h, 0.5), lo.Scale(-1))
}

// grid returns a pixel grid around line: its size and the photo place of its first pixel.
func grid(line []geom.Px) (w, h int, lo geom.Px) {
	a, b := geom.Bounds(line)
	lo = geom.Px{X: math.Floor(a.X) - 2, Y: math.Floor(a.Y) - 2}
	return int(b.X-lo.X) + 4, int(b.Y-lo.Y) + 4, lo
}

func shift(line []geom.Px, by geom.Px) []geom.Px {
	out := make([]geom.Px, len(line))
	for i, p := range line {
		out[i] = p.Sub(by)
	}
	return out
}

// merge joins fruit i and j: their areas, and the strip between them where both are near.
func (e *editor) merge(i, j int) error {
	a, b := e.fruits[i], e.fruits[j]
	both := append(append([]geom.Px(nil), a.Outline...), b.Outline...)
	w, h, lo := grid(both)
	f := make([]float32, w*h)
	put := func(line []geom.Px) {
		FillSpans(shift(line, lo), w, h, func(y, x0, x1 int) {
			for x := x0; x < x1; x++ {
				f[y*w+x] = 1
			}
		})
	}
	put(a.Outline)
	put(b.Outline)
	gap := math.Inf(1)
	for _, p := range a.Outline {
		if _, d := nearestOn(b.Outline, p); d < gap {
			gap = d
		}
	}
	size := math.Sqrt(math.Min(geom.Area(a.Outline), geom.Area(b.Outline)))
	if gap > size {
		return fmt.Errorf("the two fruit lie %.0f px apart: too far to be one", gap)
	}
	// Strips between all pairs of points that see each other nearly as near as the nearest.
	for k := range a.Outline {
		p, p2 := a.Outline[k], a.Outline[(k+1)%len(a.Outline)]
		q, d := nearestOn(b.Outline, p)
		if d > gap+0.15*size {
			continue
		}
		q2, _ := nearestOn(b.Outline, p2)
		put([]geom.Px{p, p2, q2, q})
	}
	line := shift(contour(f, w, h, 0.5), lo.Scale(-1))
	if len(line) < 8 {
		return errors.New("the two cannot be joined to one outline")
	}
	keep, gone := i, j
	if b.Number < a.Number {
		keep, gone = j, i
	}
	first, second := e.fruits[keep], e.fruits[gone]
	e.fruits = append(e.fruits[:gone], e.fruits[gone+1:]...)
	if gone < keep {
		keep--
	}
	n := e.outline(line, true)
	if n == nil {
		return errors.New("the two cannot be joined to one outline")
	}
	n.Number, n.Plant, n.Pose = first.Number, first.Plant, first.Pose
	n.keepEnds(second)
	n.keepEnds(first)
	e.fruits[keep] = *n
	return nil
}

// outline makes a fruit from a drawn line; snap moves it to the photo's edge near it. nil when
// too little of it lies in the photo.
func (e *editor) outline(line []geom.Px, snap bool) *Fruit {
	line = clipFrame(line, e.im)
	if len(line) < 3 || geom.Area(line) < 16 {
		return nil
	}
	m := e.m
	if m == nil { // a result without maps: cells as the network would have had
		m = emptyMaps(e.im, e.opt)
	}
	g := e.regions(m, line)
	c := &candidate{reg: &region{id: drawnID, cells: max(1, int(geom.Area(line)/(m.Cell*m.Cell))), body: 1}, grid: g}
	c.coarse = evenly(line, outlineStep(m))
	if snap {
		c.coarse = smoothLine(c.coarse, 2)
		c.coarse = evenly(clipFrame(c.coarse, e.im), outlineStep(m))
	}
	c.line = c.coarse
	c.stem, c.bloss = heatPeak(m, g, drawnID, m.Stem, geom.Px{}, 0), heatPeak(m, g, drawnID, m.Bloss, geom.Px{}, 0)
	c.mark(e.im, m, g)
	if snap {
		c.refine(e.im, m, e.t, e.opt)
		c.untangle(60)
	}
	f := c.fruit(e.im, m, e.opt)
	f.byHand()
	return &f
}

// drawnID is the region number of an outline that is being put in.
const drawnID = math.MaxInt32

// regions labels the map grid with the present fruit, and the cells inside line with drawnID.
func (e *editor) regions(m *Maps, line []geom.Px) *regions {
	g := &regions{w: m.W, h: m.H, label: make([]int32, m.W*m.H)}
	put := func(l []geom.Px, id int32) {
		cells := make([]geom.Px, len(l))
		for i, p := range l {
			cells[i].X, cells[i].Y = m.toMap(p)
		}
		FillSpans(cells, m.W, m.H, func(y, x0, x1 int) {
			for x := x0; x < x1; x++ {
				g.label[y*m.W+x] = id
			}
		})
	}
	for i, f := range e.fruits {
		put(f.Outline, int32(i+1))
	}
	put(line, drawnID)
	return g
}

// emptyMaps returns maps without any content for a photo.
func emptyMaps(im Image, opt Options) *Maps {
	m := &Maps{Cell: 2 * float64(max(im.Width, im.Height)) / float64(opt.LongSide)}
	m.W, m.H = int(math.Ceil(float64(im.Width)/m.Cell)), int(math.Ceil(float64(im.Height)/m.Cell))
	a := func() []float32 { return make([]float32, m.W*m.H) }
	m.Body, m.Stalk, m.Seam, m.Mid, m.DX, m.DY, m.Stem, m.Bloss = a(), a(), a(), a(), a(), a(), a(), a()
	return m
}
