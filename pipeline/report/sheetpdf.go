package report

import (
	"fmt"
	"io"
	"strings"

	"offtype/pipeline/record"
)

// BenchColumn is something that is observed by hand: a box on the bench sheet.
type BenchColumn struct {
	Name, Unit string
	Words      []string // states to choose from
}

// sheet prepares one of the short documents: every fruit has its picture, photos are hardly shown.
func (d *Document) sheet() (*docBuilder, error) {
	b, err := d.builder()
	if err != nil {
		return nil, err
	}
	b.doc.MostPhotos, b.doc.MostSheets = 1, max(len(d.Run.Fruits), 1)
	return b, b.pictures()
}

// BenchSheet writes a sheet to be filled in at the bench: a small picture of each fruit, its number
// and an empty box for each observation.
func (d *Document) BenchSheet(w io.Writer, cols []BenchColumn) error {
	b, err := d.sheet()
	if err != nil {
		return err
	}
	t := &b.t.Sheet
	name := t.Bench + tagged(":", d.Entered.Harvest)
	p, err := newPDF(d.Paper, name, d.Made, b.t)
	if err != nil {
		return err
	}
	bs := []block{para{t.Bench, title}, para{join(tagged(t.Harvest, d.Entered.Harvest), d.Entered.Grower), plain},
		para{t.Date + " ______________      " + t.By + " ____________________________", plain}, para{t.BenchIntro, plain}, para{b.benchSafety(), plain}}
	const per = 7 // observations a table: wide enough to write in
	for at := 0; at < len(cols); at += per {
		part := cols[at:min(at+per, len(cols))]
		tb := table{head: []string{t.Picture, t.Fruit}, widths: []float64{15, 26}, tall: 14}
		for _, c := range part {
			h := c.Name
			if c.Unit != "" {
				h += ", " + c.Unit
			}
			if len(c.Words) > 0 {
				h += ": " + strings.Join(c.Words, " / ")
			}
			tb.head, tb.widths = append(tb.head, h), append(tb.widths, 19.5)
		}
		for i := range d.Run.Fruits {
			f := &d.Run.Fruits[i]
			row := []cell{{}, {text: fmt.Sprintf(b.t.NoN, f.Number) + tagged(", "+t.Plant, f.Plant) + "\n" + f.Photo, bold: false}}
			if v := b.views[f.Key()]; v != nil {
				row[0].pic = v.pic
			}
			for range part {
				row = append(row, cell{})
			}
			tb.rows = append(tb.rows, row)
		}
		if at > 0 {
			bs = append(bs, newPage{})
		}
		bs = append(bs, tb)
	}
	if len(d.Run.Fruits) == 0 {
		bs = append(bs, para{b.t.NoFruit, plain})
	}
	if err := p.write(bs); err != nil {
		return err
	}
	return p.output(w)
}

// WallSheet writes a summary on one page: the finding, a picture of each group, the plants' verdicts.
func (d *Document) WallSheet(w io.Writer) error {
	b, err := d.sheet()
	if err != nil {
		return err
	}
	t := &b.t.Sheet
	p, err := newPDF(d.Paper, t.Wall+tagged(":", d.Entered.Harvest), d.Made, b.t)
	if err != nil {
		return err
	}
	e := &d.Entered
	name := e.Variety
	if v := d.Run.Judgement.Variety; v != nil {
		name = or(name, v.Name)
	}
	bs := []block{para{t.Wall, title}, para{join(name, e.Harvest, e.Place, tagged(b.t.SeedLot, or(e.SupplierLot, e.Lot)), d.Made.Format("2006-01-02")), plain},
		frame{title: t.WallFinding, paras: []string{b.finding()}, strong: true}}
	if f, ok := b.sideBySide(95); ok {
		bs = append(bs, f)
	}
	if b.judged() && len(d.Run.Judgement.Plants) > 0 {
		bs = append(bs, heading{text: t.WallPlants, level: 3}, b.plantGrid())
	}
	var care []string
	if off := d.Run.Judgement.Lot.Off > 0 || anyOff(d.Run); off {
		care = b.wallCare()
	} else {
		care = append(care, d.Cautions[:min(2, len(d.Cautions))]...)
	}
	bs = append(bs, heading{text: t.WallKeep, level: 3}, list{items: care})
	if err := p.write(bs); err != nil {
		return err
	}
	return p.output(w)
}

// species is that of the description, empty where none was used.
func (b *docBuilder) species() string {
	if v := b.run.Judgement.Variety; v != nil {
		return v.Species
	}
	return ""
}

// wallCare is what to take care of with off-types of this crop.
func (b *docBuilder) wallCare() []string {
	t, species := &b.t.Sheet, b.species()
	care := []string{t.WallSeed, or(record.OwnCaution(species), t.WallStrange), t.WallLeft}
	if record.IsRoot(species) {
		care[0] = t.WallRoot
	}
	if record.CanBeBitter(species) {
		care[1] = t.WallBitter
	}
	return care
}

// benchSafety is what to take care of before anyone tastes.
func (b *docBuilder) benchSafety() string {
	if record.CanBeBitter(b.species()) {
		return b.t.Sheet.BenchSafety
	}
	return strings.TrimSpace(b.t.Sheet.BenchOther + " " + record.OwnCaution(b.species()))
}

func anyOff(run *record.Run) bool {
	for _, v := range run.Judgement.Fruits {
		if v.Verdict == record.OffType {
			return true
		}
	}
	return false
}

// plantGrid shows each plant as a box with its number and the mark of its verdict; with many plants
// those that are true to type are only counted.
func (b *docBuilder) plantGrid() drawing {
	ps := b.run.Judgement.Plants
	const per, most = 12, 60
	left := 0
	if len(ps) > most {
		var some []record.PlantVerdict
		for _, p := range ps {
			if rank(p.Verdict) < 2 && len(some) < most {
				some = append(some, p)
			}
		}
		left, ps = len(ps)-len(some), some
	}
	cw := pageWidth / float64(per)
	h := float64((len(ps)+per-1)/per) * 11
	caption := ""
	for _, v := range []record.Verdict{record.TrueToType, record.Doubtful, record.OffType, record.NotAssessable} {
		caption += b.verdictText(v) + "    "
	}
	if left > 0 {
		caption += fmt.Sprintf("+ %d", left)
	}
	return drawing{w: pageWidth, h: h, alt: b.t.Plants, caption: strings.TrimSpace(caption), draw: func(c canvas) {
		for k, p := range ps {
			x, y := float64(k%per)*cw, float64(k/per)*11
			fill, ic := white, black
			if p.Verdict == record.OffType {
				fill, ic = black, white
			}
			c.path(rect(x+.4, y, cw-.8, 9.5), true, pen{line: black, fill: fill, w: .3})
			m, _ := p.Verdict.Mark()
			s := p.Plant
			for c.width(m+" "+s, ink{size: 10, bold: true}) > cw-2 && len([]rune(s)) > 1 {
				r := []rune(s)
				s = string(r[:len(r)-1])
			}
			c.text(x+cw/2, y+6.2, m+" "+s, ink{size: 10, bold: true, at: 'c', colour: ic})
		}
	}}
}
