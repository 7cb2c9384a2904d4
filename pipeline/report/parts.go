package report

import (
	"fmt"
	"html/template"
	"image"
	"math"
	"net/url"
	"slices"
	"sort"

	"offtype/measure/geom"
	"offtype/pipeline/picture"
	"offtype/pipeline/record"
)

const (
	pagePhotoSide = 1400 // px, long side of photos on the page
	cutHeight     = 190  // px, height of the longest cut-out
)

// drawn is a photo with its fruit, ready for a page.
type drawn struct {
	view photoView
	rows []fruitView
	cuts []groupCut
}

type groupCut struct {
	group int
	cut   cut
}

// photos loads every photo once and draws its view and its fruit's cut-outs, several photos at a time.
func (b *builder) photos() error {
	b.pxPerMM = b.cutScale()
	var measured []*record.Photo
	for i := range b.run.Photos {
		if b.run.Photos[i].Status == record.StatusOK {
			measured = append(measured, &b.run.Photos[i])
		}
	}
	split := len(measured) > b.opt.SplitOver
	shared := *b.page // goroutines read it while photos are added to the page
	return inOrder(len(measured), b.opt.Workers, func(i int) (drawn, error) {
		d, err := b.onePhoto(measured[i], !split)
		if err == nil && split {
			err = b.photoPage(shared, d.view, d.rows)
			d.view, d.rows = photoView{Name: d.view.Name, Text: d.view.Text}, nil
		}
		return d, err
	}, func(d drawn) { b.add(d, split) })
}

// add puts a photo after those that come before it.
func (b *builder) add(d drawn, split bool) {
	if split {
		b.page.PhotoLinks = append(b.page.PhotoLinks, link{Href: b.pageOf[d.view.Name], Name: d.view.Name, Text: d.view.Text})
	} else {
		b.page.Photos = append(b.page.Photos, d.view)
		b.page.FruitRows = append(b.page.FruitRows, d.rows...)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, c := range d.cuts {
		if !split || len(b.cuts[c.group]) < mostCuts {
			b.cuts[c.group] = append(b.cuts[c.group], c.cut)
		}
	}
}

// mostCuts is how many cut-outs a group has on a page that does not show all photos.
const mostCuts = 24

// wantsCut reports whether the group may lack cut-outs: photos that are drawn at the same time may all add theirs, and
// add keeps the first.
func (b *builder) wantsCut(group int) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return len(b.cuts[group]) < mostCuts
}

// cutScale chooses px a mm so that the longest fruit is cutHeight high.
func (b *builder) cutScale() float64 {
	most := 0.0
	for i := range b.run.Fruits {
		most = math.Max(most, b.run.Fruits[i].LongestMM())
	}
	if most == 0 {
		return 0
	}
	return cutHeight / most
}

func anchor(k record.Key) string { return fmt.Sprintf("f-%s-%d", url.PathEscape(k.Photo), k.Number) }

// onePhoto draws a photo; all its fruit are cut out when it stands on the report's own page.
func (b *builder) onePhoto(p *record.Photo, samePage bool) (drawn, error) {
	preview, scale, fruits, err := b.load(p.Name)
	if err != nil {
		return drawn{}, fmt.Errorf("report of photo %q: %w", p.Name, err)
	}
	var d drawn
	v := photoView{Name: p.Name, W: p.Width, H: p.Height, Alt: fmt.Sprintf("Photo %s with %d outlined fruit", p.Name, len(fruits))}
	v.Text = record.Count(len(fruits), "fruit", "fruit") + "."
	if p.MMPerPx > 0 {
		v.Text += fmt.Sprintf(" Scale %.2f mm a pixel at the card, camera %.0f cm above the table, tilted %.0f°.", p.MMPerPx, p.HeightMM/10, p.TiltDeg)
	} else {
		v.Text += " No scale: shapes and patterns only."
	}
	if !p.ColourOK {
		v.Message = "The colours of this photo are doubtful. They are not used for verdicts."
	}
	for _, q := range p.Quads {
		v.Quads = append(v.Quads, picture.SVGPath(q, true))
	}
	if preview != nil {
		small, _ := picture.Shrink(picture.ToRGB(preview), pagePhotoSide)
		jpg, err := picture.JPEG(small, 82)
		if err != nil {
			return d, err
		}
		v.Src = template.URL(picture.DataURI(jpg))
	}
	stroke := float64(max(p.Width, p.Height)) / 1400
	v.Tags = tagViews(p, 22*stroke)
	for i := range fruits {
		f := &fruits[i]
		v.Fruits = append(v.Fruits, b.shape(f, stroke))
		d.rows = append(d.rows, b.fruitRow(f))
		if preview == nil || !samePage && !b.wantsCut(b.member[f.Key()].Group) {
			continue
		}
		c, err := b.cutOut(preview, scale, f, samePage)
		if err != nil {
			return d, err
		}
		d.cuts = append(d.cuts, groupCut{b.member[f.Key()].Group, c})
	}
	d.view = v
	return d, nil
}

// tagViews writes the plant's number below each tag, inside the photo.
func tagViews(p *record.Photo, size float64) []tagView {
	numbers := make([]int, 0, len(p.Tags))
	for n := range p.Tags {
		numbers = append(numbers, n)
	}
	sort.Ints(numbers)
	out := make([]tagView, 0, len(numbers))
	for _, n := range numbers {
		t := tagView{X: p.Tags[n].X, Y: p.Tags[n].Y + 1.6*size, Size: size, Text: fmt.Sprintf("plant %d", n)}
		half := .3 * size * float64(len(t.Text)) // about half the width of the words
		t.X = math.Max(half, math.Min(t.X, float64(p.Width)-half))
		t.Y = math.Min(t.Y, float64(p.Height)-size)
		out = append(out, t)
	}
	return out
}

func (b *builder) shape(f *record.Fruit, stroke float64) shapeView {
	m := b.member[f.Key()]
	s := shapeView{Anchor: anchor(f.Key()), Outline: picture.SVGPath(thin(f.Outline, 240), true), Number: f.Number, X: f.X, Y: f.Y, Size: 30 * stroke}
	s.Colour, s.Dash = record.GroupLook(m.Group)
	if len(f.StalkPx) > 2 {
		s.Stalk = picture.SVGPath(thin(f.StalkPx, 80), true)
	}
	if f.LengthLine[0] != f.LengthLine[1] {
		s.Length = picture.SVGPath(f.LengthLine[:], false)
	}
	if f.WidthLine[0] != f.WidthLine[1] {
		s.Width = picture.SVGPath(f.WidthLine[:], false)
	}
	if v, ok := b.verdict[f.Key()]; ok && (v.Verdict == record.OffType || v.Verdict == record.Doubtful) {
		s.Mark, _ = v.Verdict.Mark()
	}
	if f.Unsure {
		s.Mark += "?"
	}
	return s
}

// thin keeps about n of the outline's points.
func thin(o []geom.Px, n int) []geom.Px {
	if len(o) <= n {
		return o
	}
	out := make([]geom.Px, 0, n)
	for i := range n {
		out = append(out, o[i*len(o)/n])
	}
	return out
}

// cutFiner is how many px of a cut-out a px of the page is: for print and dense screens.
const cutFiner = 1.5

// cutPicture cuts a fruit out at the page's scale. Where no fruit has one, whole fruit are made equally high.
func (b *builder) cutPicture(preview image.Image, scale float64, f *record.Fruit) picture.Cut {
	if f.Unscaled && b.pxPerMM == 0 && !f.Has("cut") {
		return picture.CutHigh(preview, scale, f, cutHeight*cutFiner)
	}
	return picture.CutOut(preview, scale, f, b.pxPerMM*cutFiner)
}

func (b *builder) cutOut(preview image.Image, scale float64, f *record.Fruit, samePage bool) (cut, error) {
	c := b.cutPicture(preview, scale, f)
	jpg, err := picture.JPEG(c.Image, 85)
	if err != nil {
		return cut{}, err
	}
	m := b.member[f.Key()]
	v := cut{Src: template.URL(picture.DataURI(jpg)), W: int(float64(c.Image.Rect.Dx())/cutFiner + .5), H: int(float64(c.Image.Rect.Dy())/cutFiner + .5)}
	v.Href = "#" + anchor(f.Key())
	if !samePage {
		v.Href = b.pageOf[f.Photo] + v.Href
	}
	v.Caption, v.Sub, v.Alt, v.Unscaled = f.Caption(b.photosMeasured), f.SizeWords(), f.Alt(), f.Unscaled
	if f.Unscaled && f.Ratio.Ok() && b.pxPerMM > 0 { // its words do not say it
		v.Sub += " · " + b.page.T.UnscaledShort
	}
	if m.Alone {
		v.Sub += " · stands alone"
	} else if m.Unsure {
		v.Sub += " · unsure"
	}
	return v, nil
}

// namedInHeading is how many plants the heading of a group names; more are counted.
const namedInHeading = 12

func (b *builder) groups() {
	for _, g := range b.run.Judgement.Groups {
		v := groupView{Number: g.Group, Reasons: g.Why(), Cuts: b.cuts[g.Group]}
		v.Colour, _ = record.GroupLook(g.Group)
		v.Shape, v.Fill = svgPoints(groupMarks[max(g.Group-1, 0)%len(groupMarks)], true), v.Colour
		if g.Group == 1 {
			v.Colour = "#8a8f80"
		}
		n := b.run.Judgement.NotJudged(g.Group)
		v.Heading = record.FruitJudged(g.Fruits, n)
		if n > 0 && (g.Plants > 0 || len(b.run.PlantsOf(g.Group)) > 0) {
			v.Heading += ","
		}
		if ps := b.run.PlantsOf(g.Group); len(ps) > 0 {
			v.Heading += " of " + record.NamedPlants(ps, namedInHeading)
		} else if g.Plants > 0 {
			v.Heading += " of " + record.Count(g.Plants, "plant", "plants")
		}
		if g.Verdict != "" && g.Verdict != record.NotJudged {
			v.Verdict = string(g.Verdict)
			v.Mark, v.VerdictClass = g.Verdict.Mark()
		}
		b.page.Groups = append(b.page.Groups, v)
	}
	for i := range b.run.Fruits {
		b.page.Unscaled = b.page.Unscaled || b.run.Fruits[i].Unscaled
	}
	if b.pxPerMM > 0 && len(b.cuts) > 0 {
		b.page.ScaleBar = int(100*b.pxPerMM + .5)
	}
}

const (
	mostInStrip = 6   // groups at the top of the page
	stripHeight = 120 // px, of the tallest fruit there
)

// strip shows one fruit of each group at the top of the page, so that it is seen at a glance what is off-type.
func (b *builder) strip() {
	if len(b.run.Judgement.Groups) < 2 {
		return
	}
	tall := 1
	for _, g := range b.page.Groups {
		if len(g.Cuts) == 0 || g.Cuts[0].Src == "" || len(b.page.Strip) == mostInStrip {
			continue
		}
		first := max(0, slices.IndexFunc(g.Cuts, func(c cut) bool { return !c.Unscaled && c.Src != "" }))
		s := stripView{Number: g.Number, Cut: g.Cuts[first], Verdict: g.Verdict, VerdictClass: g.VerdictClass, Mark: g.Mark}
		s.Who = fmt.Sprintf("group %d", g.Number)
		if ps := b.run.PlantsOf(g.Number); len(ps) > 0 {
			s.Who += ", " + record.NamedPlants(ps, 4)
		}
		if s.Cut.Unscaled && b.pxPerMM > 0 {
			s.Who += ", " + b.page.T.UnscaledShort
		}
		b.page.Strip = append(b.page.Strip, s)
		tall = max(tall, s.Cut.H)
	}
	if more := len(b.page.Groups) - len(b.page.Strip); more > 0 && len(b.page.Strip) > 0 {
		b.page.StripMore = fmt.Sprintf(b.page.T.StripMore, more)
	}
	for i := range b.page.Strip { // all at one scale
		c := &b.page.Strip[i].Cut
		c.W, c.H = max(1, c.W*stripHeight/tall), max(1, c.H*stripHeight/tall)
	}
}

func (b *builder) plants() {
	if b.run.Judgement.Variety == nil {
		return
	}
	for _, p := range b.run.Judgement.Plants {
		v := plantView{Plant: p.Plant, Fruits: p.Fruits, Verdict: string(p.Verdict), Reasons: against(p.Reasons)}
		v.Mark, v.Class = p.Verdict.Mark()
		b.page.Plants = append(b.page.Plants, v)
	}
}
