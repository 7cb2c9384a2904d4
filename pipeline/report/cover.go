package report

import (
	"fmt"
	"strings"

	"offtype/pipeline/record"
)

func (b *docBuilder) cover() []block {
	e := &b.doc.Entered
	bs := []block{para{b.t.Kicker, kicker}, para{b.title, title}}
	bs = append(bs, frame{title: b.t.Finding, paras: []string{b.finding()}, strong: true})
	n := []figure{{fmt.Sprint(len(b.run.Fruits)), b.t.FruitMeasured}}
	l := b.run.Judgement.Lot
	counted := l.Unit == "plant" && b.judged()
	if counted { // as many as the finding speaks of
		n = append(n, figure{fmt.Sprint(l.Seen), b.t.PlantsJudged})
	} else if p := b.plantCount(); p > 0 {
		n = append(n, figure{fmt.Sprint(p), b.t.PlantsSeen})
	}
	n = append(n, figure{fmt.Sprint(len(b.groupNumbers())), b.t.GroupsFound})
	if counted {
		n = append(n, figure{b.offPlants(&l), b.t.OffPlants}, figure{fmt.Sprint(l.Unsure), b.t.UnsurePlants})
	}
	bs = append(bs, numbers{n})
	if d, ok := b.sideBySide(44); ok {
		bs = append(bs, d)
	}
	v, species, version := e.Variety, e.Species, ""
	if r := b.run.Judgement.Variety; r != nil {
		v, species, version = or(v, r.Name), or(species, r.Species), r.Version
	}
	rows := [][2]string{
		{b.t.Grower, join(e.Grower, e.Place, e.Country)}, {b.t.Contact, e.Contact}, {b.t.Variety, join(v, species)},
		{b.t.DescriptionVersion, version}, {b.t.Supplier, e.Supplier}, {b.t.SeedLot, join(e.SupplierLot, tagged(b.t.OwnCode, e.Lot))},
		{b.t.SeedKind, join(e.Kind, e.Generation, e.Origin)}, {b.t.Packet, e.Packet}, {b.t.Bought, e.Bought}, {b.t.Sown, join(e.Sown, tagged(b.t.SeedsSown, e.SeedsSown), tagged(b.t.Germinated, e.SeedsGerminated))},
		{b.t.Harvest, join(e.Harvest, other(e.Season, e.Harvest), tagged(b.t.Picked, other(e.Picked, b.firstDay())), e.Stage, tagged(b.t.Bed, e.Bed))}, {b.t.PhotosTaken, b.taken()},
		{b.t.Controls, strings.Join(e.Controls, ", ")}, {b.t.SeedLeft, e.SeedLeft}, {b.t.Written, b.doc.Made.Format("2006-01-02")},
	}
	var shown [][2]string
	var missing []string
	for _, r := range rows {
		if r[1] != "" {
			shown = append(shown, r)
		} else if r[0] != b.t.Controls && r[0] != b.t.Contact && r[0] != b.t.Packet {
			missing = append(missing, r[0])
		}
	}
	bs = append(bs, facts{shown})
	if len(missing) > 0 {
		bs = append(bs, para{fmt.Sprintf(b.t.NotEntered, strings.ToLower(strings.Join(missing, ", "))), small})
	}
	bs = append(bs, frame{title: b.t.NotTitle, paras: b.t.Not})
	return append(bs, keep{34}, heading{text: b.t.Contents, level: 3}, contents{})
}

func join(parts ...string) string {
	var out []string
	for _, p := range parts {
		if p = strings.TrimSpace(p); p != "" {
			out = append(out, p)
		}
	}
	return strings.Join(out, ", ")
}

// other is s, empty when it says what a reader has just read.
func other(s, read string) string {
	if s == read {
		return ""
	}
	return s
}

func tagged(name, v string) string {
	if v == "" {
		return ""
	}
	return name + " " + v
}

func (b *docBuilder) plantCount() int {
	var fs []*record.Fruit
	for i := range b.run.Fruits {
		fs = append(fs, &b.run.Fruits[i])
	}
	if n := len(plantsOf(fs)); n > 0 {
		return n
	}
	if b.run.Judgement.Lot.Unit == "plant" {
		return b.run.Judgement.Lot.Seen
	}
	return 0
}

// firstDay is the day of the first photo: where nobody wrote down when the fruit were picked the book has that day, and
// the photos' row says it.
func (b *docBuilder) firstDay() string {
	for _, p := range b.run.Photos {
		if len(p.Taken) >= 10 {
			return strings.ReplaceAll(p.Taken[:10], ":", "-")
		}
	}
	return ""
}

// taken is the span of the photos' dates.
func (b *docBuilder) taken() string {
	lo, hi := "", ""
	for _, p := range b.run.Photos {
		d := p.Taken
		if len(d) > 10 {
			d = d[:10]
		}
		if d == "" {
			continue
		}
		if lo == "" || d < lo {
			lo = d
		}
		if d > hi {
			hi = d
		}
	}
	n := 0
	for _, p := range b.run.Photos {
		if p.Status == record.StatusOK {
			n++
		}
	}
	if n == 0 {
		return ""
	}
	s := record.Count(n, b.t.OnePhoto, b.t.ManyPhotos)
	switch {
	case lo == "":
		return s
	case lo == hi:
		return s + ", " + lo
	}
	return s + ", " + lo + " – " + hi
}

// fruitJudged says how many fruit a group has, and how many of them its verdict does not rest on.
func (b *docBuilder) fruitJudged(all, not int) string {
	s := record.Count(all, b.t.OneFruit, b.t.ManyFruit)
	if not > 0 {
		s += ", " + fmt.Sprintf(b.t.NotJudged, not)
	}
	return s
}

// someNotJudged says below the verdict on a group on how many of its fruit it does not rest.
func (b *docBuilder) someNotJudged(g int) string {
	if n := b.run.Judgement.NotJudged(g); n > 0 {
		return "\n" + fmt.Sprintf(b.t.NotJudged, n)
	}
	return ""
}

// found shows the groups beside each other and the verdicts on groups and plants.
func (b *docBuilder) found() []block {
	bs := []block{heading{b.t.FoundPart, 1, "found"}}
	if d, ok := b.sideBySide(95); ok {
		if b.anyScaled() {
			bs = append(bs, para{b.t.SideIntro, plain})
		}
		bs = append(bs, d)
	}
	gt := table{head: b.t.GroupHead, widths: []float64{10, 9, 18, 16, 47}}
	for _, g := range b.groupNumbers() {
		v := b.groupVerdict(g)
		fs := b.inGroup(g)
		why := v.Why()
		gt.rows = append(gt.rows, []cell{{text: fmt.Sprint(g), group: g, bold: true}, {text: fmt.Sprint(len(fs))}, {text: or(strings.Join(plantsOf(fs), ", "), "–")},
			{text: b.verdictText(v.Verdict) + b.someNotJudged(g), bold: true}, {text: or(strings.Join(why, "\n"), "–")}})
	}
	if len(gt.rows) > 0 {
		bs = append(bs, heading{text: b.t.Groups, level: 2}, gt)
	}
	if !b.judged() {
		return append(bs, para{b.t.NoDescription, plain})
	}
	pt := table{head: b.t.PlantHead, widths: []float64{12, 9, 20, 59}}
	for _, p := range b.run.Judgement.Plants {
		name := p.Plant
		for _, c := range b.doc.Entered.Controls {
			if c == p.Plant {
				name += " " + b.t.ControlMark
			}
		}
		pt.rows = append(pt.rows, []cell{{text: name, bold: true}, {text: fmt.Sprint(p.Fruits)}, {text: b.verdictText(p.Verdict), bold: p.Verdict == record.OffType}, {text: or(strings.Join(against(p.Reasons), "\n"), "–")}})
	}
	switch {
	case len(pt.rows) > 0:
		bs = append(bs, heading{text: b.t.Plants, level: 2}, pt)
	case record.IsRoot(b.species()) && b.run.Judgement.ItemIsPlant():
		bs = append(bs, para{b.t.ItemPlants, plain})
	default:
		bs = append(bs, para{b.t.NoPlants, plain})
	}
	return bs
}
