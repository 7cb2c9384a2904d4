package report

import (
	"fmt"
	"io"
	"slices"
	"sort"
	"strings"
	"time"

	"offtype/cluster/lot"
	"offtype/cluster/reference"
	"offtype/pipeline/record"
)

// Entered is what people wrote down about a harvest: who, where, seed lot, observations. Every field
// may be empty; names appear only as they are given here.
type Entered struct {
	Harvest, Season, Picked, Stage, Note           string
	Grower, Place, Country, Contact                string
	Lot, Variety, Species, Supplier, SupplierLot   string
	Bought, Packet, Kind, Generation, Origin, Sown string
	SeedsSown, SeedsGerminated, SeedLeft           string
	Bed                                            string
	Controls                                       []string // control plants: same variety, other seed
	Hand                                           []Hand
	Notes                                          []string
	Lots                                           []LotPlants // which plants grew from which seed lot
}

// LotPlants are the plants of a harvest that grew from one seed lot.
type LotPlants struct {
	Name   string // as printed; empty: not written down
	Plants []string
}

// Hand is an observation by hand on a fruit (Photo and Fruit), a plant or a group.
type Hand struct {
	Photo        string
	Fruit        int
	Plant        string
	Group        int
	Trait, Value string // the value with its unit
	Date, By     string
	Note         string
}

// Document is everything a report is made of.
type Document struct {
	Run         *record.Run
	Load        Loader
	Entered     Entered
	Description *reference.Description // nil: none; then no ranges are shown
	Cautions    []string
	Made        time.Time    // printed, and the date inside the file
	Paper       string       // a4 or letter
	Language    string       // en
	MostPhotos  int          // photos shown (60); the tables hold all
	White       record.White // that colours are shown with
	MostSheets  int          // fruit with a sheet of their own (300); off-types and doubtful ones first
}

// Languages lists the languages the report can be written in.
func Languages() []string { return []string{"en"} }

func (d *Document) texts() (*docTexts, error) {
	switch d.Language {
	case "", "en":
		return &docEnglish, nil
	}
	return nil, fmt.Errorf("language %q: the report speaks %s", d.Language, strings.Join(Languages(), ", "))
}

// PDF writes the report as PDF.
func (d *Document) PDF(w io.Writer) error {
	b, bs, err := d.build()
	if err != nil {
		return err
	}
	return b.pdf(w, bs)
}

// Page writes the report as one page.
func (d *Document) Page(w io.Writer) error {
	b, bs, err := d.build()
	if err != nil {
		return err
	}
	return b.html(w, bs)
}

// Both writes the report as PDF and as one page with the same content.
func (d *Document) Both(pdf, page io.Writer) error {
	b, bs, err := d.build()
	if err != nil {
		return err
	}
	if err := b.pdf(pdf, bs); err != nil {
		return err
	}
	return b.html(page, bs)
}

func (b *docBuilder) pdf(w io.Writer, bs []block) error {
	p, err := newPDF(b.doc.Paper, b.title, b.doc.Made, b.t)
	if err != nil {
		return err
	}
	if err := p.write(bs); err != nil {
		return err
	}
	return p.output(w)
}

// docBuilder turns a document into blocks.
type docBuilder struct {
	doc     *Document
	run     *record.Run
	desc    *reference.Description
	t       *docTexts
	title   string
	pics    []*pic
	widths  map[int]bool // of pictures, px
	views   map[record.Key]*view
	member  map[record.Key]record.Membership
	verdict map[record.Key]record.FruitVerdict
	scale   float64 // of the sheets, paper mm a mm
	scaleTo string
	photos  []photoPic
	metrics canvas // measures text
}

func (d *Document) builder() (*docBuilder, error) {
	t, err := d.texts()
	if err != nil {
		return nil, err
	}
	own := *d // the caller's stays as it is
	own.Run, own.Load = knownRun(d.Run), d.Load.known()
	if own.MostPhotos == 0 {
		own.MostPhotos = 60
	}
	if own.MostSheets == 0 {
		own.MostSheets = 300
	}
	own.Entered.Controls = record.SortedPlants(slices.Concat(d.Entered.Controls, d.Run.Judgement.Controls()))
	b := &docBuilder{doc: &own, run: own.Run, desc: d.Description, t: t, widths: map[int]bool{}, views: map[record.Key]*view{},
		member: map[record.Key]record.Membership{}, verdict: map[record.Key]record.FruitVerdict{}}
	for _, m := range d.Run.Groups {
		b.member[m.Key] = m
	}
	for _, v := range d.Run.Judgement.Fruits {
		b.verdict[record.Key{Photo: v.Photo, Number: v.Fruit}] = v
	}
	if b.metrics, err = newPDF("", "", d.Made, t); err != nil {
		return nil, err
	}
	b.title = t.Title
	if v := d.Run.Judgement.Variety; v != nil {
		b.title = fmt.Sprintf(t.TitleOf, v.Name)
	}
	if d.Entered.Harvest != "" {
		b.title += ", " + d.Entered.Harvest
	}
	return b, nil
}

// build makes all blocks of the report.
func (d *Document) build() (*docBuilder, []block, error) {
	b, err := d.builder()
	if err != nil {
		return nil, nil, err
	}
	if err := b.pictures(); err != nil {
		return nil, nil, err
	}
	var bs []block
	for _, part := range []func() []block{b.cover, b.found, b.likeness, b.photoPart, b.groupSheets, b.plots, b.lot, b.advice, b.method, b.annex} {
		bs = append(bs, part()...)
	}
	return b, bs, nil
}

// likenessPaper is the width of the pictures of likeness in the report, mm: the page shows them on phones too.
const likenessPaper = 130.0

// likeness shows how alike the fruit are.
func (b *docBuilder) likeness() []block {
	l := newLikeness(b.run, likenessPaper, b.t.Like)
	if l == nil {
		return nil
	}
	return append([]block{heading{b.t.Like.Part, 1, "likeness"}}, l.blocks()...)
}

func (b *docBuilder) groupNumbers() []int {
	var out []int
	seen := map[int]bool{}
	for _, g := range b.run.Judgement.Groups {
		if !seen[g.Group] {
			out, seen[g.Group] = append(out, g.Group), true
		}
	}
	for _, m := range b.run.Groups {
		if !seen[m.Group] {
			out, seen[m.Group] = append(out, m.Group), true
		}
	}
	sort.Ints(out)
	return out
}

func (b *docBuilder) inGroup(g int) []*record.Fruit {
	var out []*record.Fruit
	for i := range b.run.Fruits {
		if b.member[b.run.Fruits[i].Key()].Group == g {
			out = append(out, &b.run.Fruits[i])
		}
	}
	return out
}

func (b *docBuilder) groupVerdict(g int) record.GroupVerdict {
	for _, v := range b.run.Judgement.Groups {
		if v.Group == g {
			return v
		}
	}
	return record.GroupVerdict{Group: g}
}

// judged reports whether there are verdicts at all.
func (b *docBuilder) judged() bool { return b.run.Judgement.Variety != nil }

func (b *docBuilder) verdictText(v record.Verdict) string {
	if v == "" || !b.judged() {
		return "–"
	}
	m, _ := v.Mark()
	return m + " " + or(b.t.Verdicts[v], string(v))
}

// plantsOf lists the plants of fruit, in plant order.
func plantsOf(fs []*record.Fruit) []string {
	var names []string
	for _, f := range fs {
		names = append(names, f.Plant)
	}
	return record.SortedPlants(names)
}

// finding is the result in one sentence, with its interval.
func (b *docBuilder) finding() string {
	j := &b.run.Judgement
	l := &j.Lot
	switch {
	case len(b.run.Fruits) == 0:
		return b.t.NoFruit
	case !b.judged():
		return fmt.Sprintf(b.t.FindGroups, record.Count(len(b.run.Fruits), b.t.OneFruit, b.t.ManyFruit), record.Count(len(b.groupNumbers()), b.t.OneGroup, b.t.ManyGroups))
	case l.Unit == "plant" && l.Vouched():
		return fmt.Sprintf(b.t.FindVouched, l.Off, record.Count(l.Seen, b.t.OnePlant, b.t.ManyPlants), b.differ(l.Off, l.Seen)) + " " + fmt.Sprintf(b.t.FindTaught, b.plantNames(l.Taught))
	case l.Unit == "plant" && l.Rate == nil && l.Low != nil && l.High != nil: // each is doubtful
		return fmt.Sprintf(b.t.FindOpen, record.Count(l.Seen, b.t.OnePlant, b.t.ManyPlants), lot.Percent(*l.Low), lot.Percent(*l.High), lot.Percent(l.Confidence))
	case l.Unit != "plant" || l.Rate == nil || l.Low == nil || l.High == nil:
		off, judged, rest := j.FruitCounts()
		s := fmt.Sprintf(b.t.FindFruit, off, record.Count(judged, b.t.OneFruit, b.t.ManyFruit), b.differ(off, judged))
		if judged == 0 {
			s = b.t.FindNothing
		}
		if rest > 0 {
			s += " " + fmt.Sprintf(b.t.FindRest, record.Count(rest, b.t.OneFruit, b.t.ManyFruit))
		}
		return s
	}
	if l.Most > l.Off {
		return fmt.Sprintf(b.t.FindBetween, l.Off, l.Most, record.Count(l.Seen, b.t.OnePlant, b.t.ManyPlants), lot.Percent(*l.Low), lot.Percent(*l.High), lot.Percent(l.Confidence))
	}
	names := ""
	if off := j.PlantsWith(record.OffType); len(off) > 0 && len(off) <= namedPlants {
		names = ": " + b.plantNames(off)
	}
	s := fmt.Sprintf(b.t.FindPlants, l.Off, record.Count(l.Seen-l.Unsure, b.t.OnePlant, b.t.ManyPlants), b.differ(l.Off, l.Seen-l.Unsure), lot.Percent(*l.Rate), names, lot.Percent(*l.Low), lot.Percent(*l.High), lot.Percent(l.Confidence))
	if l.Unsure > 0 {
		s += " " + fmt.Sprintf(b.t.FindUnsure, l.Unsure)
	}
	if n := j.StrayFruit(); len(j.Plants) > 0 && n == 1 {
		s += " " + b.t.FindStray
	} else if len(j.Plants) > 0 && n > 1 {
		s += " " + fmt.Sprintf(b.t.FindStrays, n)
	}
	if lots := b.byLot(); lots != "" {
		s += " " + lots
	}
	if len(l.Taught) > 0 {
		s += " " + fmt.Sprintf(b.t.FindTaught, b.plantNames(l.Taught))
	}
	return s
}

// byLot counts the off-type plants of each seed lot, where the plants that count are of more than one: their common rate
// is no lot's. It is empty otherwise.
func (b *docBuilder) byLot() string {
	verdicts := map[string]record.Verdict{}
	for _, p := range b.run.Judgement.Plants {
		verdicts[p.Plant] = p.Verdict
	}
	var said []string
	for _, l := range b.doc.Entered.Lots {
		off, seen := 0, 0
		for _, p := range l.Plants {
			if v := verdicts[p]; v.Rests() {
				seen++
				if v == record.OffType {
					off++
				}
			}
		}
		if seen > 0 {
			said = append(said, fmt.Sprintf(b.t.LotOff, or(l.Name, b.t.LotUnknown), off, record.Count(seen, b.t.OnePlant, b.t.ManyPlants)))
		}
	}
	if len(said) < 2 {
		return ""
	}
	return fmt.Sprintf(b.t.FindLots, len(said), strings.Join(said, "; "))
}

// differ is the verb of "n of all".
func (b *docBuilder) differ(n, all int) string {
	if n == 1 || all == 1 {
		return b.t.DifferOne
	}
	return b.t.DifferMany
}

// offPlants says how many plants are off-type; without plant tags the least and the most.
func (b *docBuilder) offPlants(l *record.Lot) string {
	if l.Most > l.Off {
		return fmt.Sprintf(b.t.Span, fmt.Sprint(l.Off), fmt.Sprint(l.Most))
	}
	return fmt.Sprint(l.Off)
}

// rateHere is the share of off-types among the plants that were decided; without plant tags the least and the greatest.
func (b *docBuilder) rateHere(l *record.Lot) string {
	if l.Most > l.Off && l.Seen > 0 {
		return fmt.Sprintf(b.t.Span, lot.Percent(*l.Rate), lot.Percent(float64(l.Most)/float64(l.Seen)))
	}
	if l.Rate == nil {
		return "–"
	}
	return lot.Percent(*l.Rate)
}

// namedPlants is how many plants are named where a sentence or a picture speaks of them; more are counted.
const namedPlants = 12

// plantNames says plants in the report's words: "plant 3", "plants 3, 7", or, of many, their number.
func (b *docBuilder) plantNames(ps []string) string {
	switch n := len(ps); {
	case n == 1:
		return fmt.Sprintf(b.t.PlantN, ps[0])
	case n > namedPlants:
		return record.Count(n, b.t.OnePlant, b.t.ManyPlants)
	}
	return fmt.Sprintf(b.t.PlantsN, strings.Join(ps, ", "))
}
