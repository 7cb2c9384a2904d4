package report

import (
	"fmt"
	"image"
	"math"
	"sort"

	"offtype/measure/geom"
	"offtype/pipeline/picture"
	"offtype/pipeline/record"
)

// photoPic is a photo as it is shown.
type photoPic struct {
	p      *record.Photo
	pic    *pic // nil: the picture is not there any more
	cut    float64
	fruits []record.Fruit
}

const (
	sheetWide, sheetTall = 78.0, 88.0 // mm of paper for a fruit on its sheet, without dimension lines
	fitTall              = 70.0       // the same for a fruit that is drawn to fit: room is left for its reasons
	photosBytes          = 7e6        // about what all photos together may take in the file
)

// pictures reads every photo once: the small picture for the photo pages and the cut-outs of its fruit.
func (b *docBuilder) pictures() error {
	b.sheetScale()
	show := b.photosShown()
	side := 1500
	if len(show) > 0 {
		side = min(side, int(math.Sqrt(photosBytes/float64(len(show))/.14/.75))) // about 0.14 bytes a px at this quality
	}
	side = max(side, 480)
	wanted := b.sheetsShown()
	needed := map[string]bool{} // photos
	for k := range wanted {
		needed[k.Photo] = true
	}
	for i := range b.run.Photos {
		p := &b.run.Photos[i]
		if p.Status != record.StatusOK || !show[p.Name] && !needed[p.Name] {
			continue
		}
		m, scale, fruits, err := b.doc.Load(p.Name)
		if err != nil {
			return fmt.Errorf("report of photo %q: %w", p.Name, err)
		}
		if m != nil {
			m = picture.ToRGB(m) // once, not for each fruit
		}
		for k := range fruits {
			f := &fruits[k]
			if !wanted[f.Key()] {
				continue
			}
			if v := b.newView(m, scale, f, b.scale); v != nil {
				b.views[f.Key()] = v
			}
		}
		if !show[p.Name] {
			continue
		}
		pp := photoPic{p: p, fruits: fruits}
		if m != nil {
			if pp.pic, pp.cut, err = b.photoPicture(m, scale, side, p); err != nil {
				return err
			}
		}
		b.photos = append(b.photos, pp)
	}
	return nil
}

// photoPicture makes the small picture of a photo and says how many of its px a photo px is.
func (b *docBuilder) photoPicture(m image.Image, scale float64, side int, p *record.Photo) (*pic, float64, error) {
	r := m.Bounds()
	long := max(r.Dx(), r.Dy())
	width := func(side int) int { return int(math.Round(float64(r.Dx()) * float64(side) / float64(long))) }
	side = min(side, long)
	for side > 40 && b.widths[width(side)] { // no two pictures with one width, see distinct
		side--
	}
	s, k := picture.Shrink(picture.ToRGB(m), side)
	b.widths[s.W] = true
	jpg, err := picture.JPEG(s, 80)
	if err != nil {
		return nil, 0, err
	}
	return b.addPic(jpg, s.W, s.H), scale * k, nil
}

// sheetScale chooses the one scale of all sheets.
func (b *docBuilder) sheetScale() {
	w, h := 0.0, 0.0
	for i := range b.run.Fruits {
		f := &b.run.Fruits[i]
		fw, fh := f.Width.V, f.Length.V
		if f.StalkLength.Ok() {
			fh += f.StalkLength.V
		}
		if !f.Length.Ok() {
			fh = f.Width.V
		}
		// bent fruit spread wider than their width
		if f.Length.Ok() && f.Bend.Ok() && f.Bend.V > 10 {
			fw *= 1 + math.Min(1, f.Bend.V/90)
		}
		if !math.IsNaN(fw) {
			w = math.Max(w, fw)
		}
		if !math.IsNaN(fh) {
			h = math.Max(h, fh)
		}
	}
	if w == 0 && h == 0 {
		w, h = 100, 100
	}
	b.scale, b.scaleTo = chooseScale(w, h, sheetWide, sheetTall)
}

// rank orders verdicts: what a report is about comes first.
func rank(v record.Verdict) int {
	switch v {
	case record.OffType:
		return 0
	case record.Doubtful:
		return 1
	}
	return 2
}

// sheetsShown chooses the fruit with a sheet: all, or with very many those that matter.
func (b *docBuilder) sheetsShown() map[record.Key]bool {
	var ks []record.Key
	for i := range b.run.Fruits {
		ks = append(ks, b.run.Fruits[i].Key())
	}
	sort.SliceStable(ks, func(i, j int) bool { return rank(b.verdict[ks[i]].Verdict) < rank(b.verdict[ks[j]].Verdict) })
	out := map[record.Key]bool{}
	for _, k := range ks[:min(len(ks), b.doc.MostSheets)] {
		out[k] = true
	}
	return out
}

func (b *docBuilder) photosShown() map[string]bool {
	best := map[string]int{}
	var names []string
	for _, p := range b.run.Photos {
		if p.Status == record.StatusOK {
			names = append(names, p.Name)
			best[p.Name] = 3
		}
	}
	for _, v := range b.run.Judgement.Fruits {
		if r, ok := best[v.Photo]; ok && rank(v.Verdict) < r {
			best[v.Photo] = rank(v.Verdict)
		}
	}
	sort.SliceStable(names, func(i, j int) bool { return best[names[i]] < best[names[j]] })
	out := map[string]bool{}
	for _, n := range names[:min(len(names), b.doc.MostPhotos)] {
		out[n] = true
	}
	return out
}

// photoPart shows the photos with outlines, cards and tags.
func (b *docBuilder) photoPart() []block {
	if len(b.photos) == 0 {
		return nil
	}
	bs := []block{heading{b.t.PhotoPart, 1, "photos"}, para{b.t.PhotoIntro, plain}}
	ok := 0
	for _, p := range b.run.Photos {
		if p.Status == record.StatusOK {
			ok++
		}
	}
	if ok > len(b.photos) {
		bs = append(bs, para{fmt.Sprintf(b.t.PhotosLeftOut, len(b.photos), ok), plain})
	}
	tall := 108.0
	if b.doc.Paper == "letter" {
		tall = 100
	}
	if len(b.photos) > 20 {
		tall = 70
	}
	for i := range b.photos {
		bs = append(bs, b.photoFigure(&b.photos[i], tall))
	}
	return bs
}

func (b *docBuilder) photoFigure(pp *photoPic, tall float64) drawing {
	p := pp.p
	k := math.Min(pageWidth/float64(p.Width), tall/float64(p.Height))
	w, h := k*float64(p.Width), k*float64(p.Height)
	at := func(q geom.Px) spot { return spot{(q.X + .5) * k, (q.Y + .5) * k} }
	caption := fmt.Sprintf(b.t.PhotoCaption, p.Name, record.Count(len(pp.fruits), b.t.OneFruit, b.t.ManyFruit))
	if p.MMPerPx > 0 {
		caption += " " + fmt.Sprintf(b.t.PhotoScale, p.MMPerPx, p.HeightMM/10, p.TiltDeg)
	} else {
		caption += " " + b.t.PhotoNoScale
	}
	if !p.ColourOK {
		caption += " " + b.t.PhotoColour
	}
	return drawing{w: w, h: h, alt: fmt.Sprintf(b.t.PhotoAlt, p.Name, len(pp.fruits)), caption: caption, draw: func(c canvas) {
		if pp.pic != nil {
			c.pic(pp.pic, 0, 0, w, h)
		} else {
			c.path(rect(0, 0, w, h), true, pen{line: grey, fill: pale, w: .2})
		}
		for _, q := range p.Quads {
			o := eachPx(q, at)
			c.path(o, true, pen{line: white, w: .9})
			c.path(o, true, pen{line: black, w: .35, dash: []float64{1.6, 1}})
		}
		var tags []int
		for n := range p.Tags {
			tags = append(tags, n)
		}
		sort.Ints(tags)
		for _, n := range tags {
			q := at(p.Tags[n])
			s, i := fmt.Sprintf(b.t.PlantN, fmt.Sprint(n)), ink{size: 7, bold: true, at: 'c', box: white}
			half := c.width(s, i)/2 + 1
			c.text(math.Max(half, math.Min(q.X, w-half)), math.Max(4, math.Min(q.Y+7.5, h-1)), s, i)
		}
		for i := range pp.fruits {
			b.fruitOnPhoto(c, &pp.fruits[i], at)
		}
	}}
}

func (b *docBuilder) fruitOnPhoto(c canvas, f *record.Fruit, at func(geom.Px) spot) {
	if len(f.Outline) > 2 {
		o := eachPx(thin(f.Outline, 200), at)
		c.path(o, true, pen{line: white, w: .9})
		c.path(o, true, pen{line: black, w: .4})
	}
	if len(f.StalkPx) > 2 {
		c.path(eachPx(thin(f.StalkPx, 60), at), true, pen{line: white, w: .35, dash: []float64{.8, .6}})
	}
	q := at(geom.Px{X: f.X, Y: f.Y})
	if math.IsNaN(q.X) || math.IsNaN(q.Y) {
		return
	}
	s := fmt.Sprint(f.Number)
	if f.Unsure {
		s += "?"
	}
	box := white
	i := ink{size: 8, bold: true, at: 'l', box: box}
	w := c.width(s, i)
	off := b.judged() && b.verdict[f.Key()].Verdict == record.OffType
	if off {
		i.box, i.colour = black, white
	}
	c.path(rect(q.X-(w+4.4)/2, q.Y-2, w+4.4, 4), true, pen{fill: i.box})
	g := b.member[f.Key()].Group
	if g > 0 {
		m := groupMarks[(g-1)%len(groupMarks)]
		line := black
		if off {
			line = white
		}
		c.path(shift(zoom(m, 1), spot{q.X - w/2 - .4, q.Y}), true, pen{line: line, w: .25})
	}
	i.box = ""
	c.text(q.X-w/2+1.4, q.Y+1.05, s, i)
}
