package main

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"io"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"offtype/cluster/reference"
	"offtype/pipeline"
	"offtype/pipeline/atomic"
	"offtype/pipeline/book"
	"offtype/pipeline/judge"
	"offtype/pipeline/record"
	"offtype/pipeline/report"
)

type reportCmd struct {
	bookFile
	Harvest  string   `arg:"" help:"Harvest of the book, or result folder of offtype run."`
	Out      string   `help:"The PDF; the page gets the same name with .html. Default: HARVEST-report.pdf here, or measurement-report.pdf in the result folder." placeholder:"FILE.pdf" type:"path"`
	Variety  string   `help:"Description of the variety, for its ranges. Default: the one kept in the result folder or the book." placeholder:"FILE" type:"existingfile"`
	Photos   string   `help:"Folder where the photos lie now, when they were moved (harvests of the book)." placeholder:"DIR" type:"existingdir"`
	Paper    string   `help:"Paper: a4 or letter." enum:"a4,letter" default:"a4"`
	Language string   `help:"Language of the report: en." enum:"en" default:"en"`
	White    string   `help:"White point that colours are printed with: d65 or d50 (adapted by Bradford)." enum:"d65,d50" default:"d65"`
	Date     string   `help:"Date printed on the report. Default: today." placeholder:"YYYY-MM-DD"`
	Bench    string   `name:"bench-sheet" help:"Write the sheet for observations by hand instead of the report." placeholder:"FILE.pdf" type:"path"`
	Wall     string   `help:"Write the one-page summary for the wall instead of the report." placeholder:"FILE.pdf" type:"path"`
	Grower   string   `help:"Name to print as grower. Default: as in the book." placeholder:"NAME"`
	Place    string   `help:"Place to print. Default: as in the book." placeholder:"PLACE"`
	Supplier string   `help:"Seed supplier to print. Default: as in the book." placeholder:"NAME"`
	Lot      string   `help:"Lot number on the packet to print. Default: as in the book." placeholder:"LOT"`
	Control  []string `help:"Plant numbers of control plants, when the book does not know them." placeholder:"PLANT"`
}

func (*reportCmd) Help() string {
	return `Example: offtype report autumn-2026 --out autumn-2026.pdf
         offtype report ./result --supplier "Example Seeds" --lot A123
         offtype report autumn-2026 --bench-sheet bench.pdf

Writes the measurement report for the seed supplier as PDF and as one HTML page: finding, photos with outlines,
measurement sheets, statistics, other explanations, what to do, fingerprints of the photos. Names stand in it only
as you entered them; places and device numbers of the photos never do. docs/report.md explains every part.` + "\n" + exitHelp
}

// Run writes the report or one of the sheets.
func (c *reportCmd) Run(e *env) error {
	d, dir, err := c.document(e)
	if err != nil {
		return err
	}
	if c.Bench != "" || c.Wall != "" {
		for _, s := range []struct {
			path  string
			write func(io.Writer) error
		}{{c.Bench, func(w io.Writer) error { return d.BenchSheet(w, benchColumns()) }}, {c.Wall, d.WallSheet}} {
			if s.path == "" {
				continue
			}
			if err := atomic.Write(s.path, s.write); err != nil {
				return err
			}
			fmt.Fprintln(e.out, s.path)
		}
		return nil
	}
	out := c.Out
	switch {
	case out == "" && dir != "":
		out = filepath.Join(dir, "measurement-report.pdf")
	case out == "":
		out = fileName(c.Harvest) + "-report.pdf"
	case !strings.EqualFold(filepath.Ext(out), ".pdf"):
		return usage(fmt.Errorf("--out %q: the name must end in .pdf", c.Out))
	}
	page := out[:len(out)-4] + ".html"
	var pdf, html bytes.Buffer
	if err := d.Both(&pdf, &html); err != nil {
		return err
	}
	if err := atomic.WriteBytes(out, pdf.Bytes()); err != nil {
		return err
	}
	if err := atomic.WriteBytes(page, html.Bytes()); err != nil {
		return err
	}
	fmt.Fprintln(e.out, out)
	fmt.Fprintln(e.out, page)
	return nil
}

// fileName makes a harvest's name fit for a file.
func fileName(s string) string {
	return strings.Map(func(r rune) rune {
		if strings.ContainsRune(`/\:*?"<>| `, r) {
			return '-'
		}
		return r
	}, s)
}

// document reads the harvest; dir is the result folder when it came from one.
func (c *reportCmd) document(e *env) (d *report.Document, dir string, err error) {
	d = &report.Document{Paper: c.Paper, Language: c.Language, White: shownWhite(c.White), Made: e.now()}
	if c.Date != "" {
		if d.Made, err = time.Parse("2006-01-02", c.Date); err != nil {
			return nil, "", usage(fmt.Errorf("--date %q: write YYYY-MM-DD", c.Date))
		}
	}
	var kept *judge.Variety
	if isResult(c.Harvest) {
		dir = c.Harvest
		res, v, err := pipeline.ReadResult(dir)
		if err != nil {
			return nil, "", err
		}
		d.Run, d.Load, kept = res.Run, res.Loader(), v
		d.Entered.Harvest = filepath.Base(filepath.Clean(dir))
	} else if kept, err = c.fromBook(e, d); err != nil {
		return nil, "", err
	}
	if c.Variety != "" {
		if kept, err = pipeline.ReadVariety("--variety", c.Variety); err != nil {
			return nil, "", usage(err)
		}
	}
	if err := explain(d, kept, c.Variety); err != nil {
		return nil, "", err
	}
	if d.Description == nil && d.Run.Judgement.Variety != nil {
		fmt.Fprintf(e.err, "note: the description \"%s\" is not at hand, so its ranges are left out; name it with --variety FILE\n", d.Run.Judgement.Variety.Name)
	}
	for _, x := range []struct {
		to   *string
		from string
	}{{&d.Entered.Grower, c.Grower}, {&d.Entered.Place, c.Place}, {&d.Entered.Supplier, c.Supplier}, {&d.Entered.SupplierLot, c.Lot}} {
		if x.from != "" {
			*x.to = x.from
		}
	}
	if len(c.Control) > 0 {
		d.Entered.Controls = c.Control
	}
	return d, dir, nil
}

// explain adds what a run that was read back lacks: how its groups were found, the description that its verdicts used
// (kept; named when the user named its file) and the cautions.
func explain(d *report.Document, kept *judge.Variety, named string) (err error) {
	if err := judge.Pictures(d.Run); err != nil {
		return err
	}
	d.Description, err = sameDescription(d.Run, kept, named)
	d.Cautions = judge.Cautions(d.Run)
	return err
}

// sameDescription returns the description when it is the one that the verdicts used.
func sameDescription(run *record.Run, v *judge.Variety, named string) (*reference.Description, error) {
	r := run.Judgement.Variety
	if v == nil || r == nil {
		return nil, nil
	}
	if v.Description.Name != r.Name || v.Description.Version != r.Version {
		if named == "" {
			return nil, nil
		}
		return nil, usage(fmt.Errorf("--variety %s: it is %q version %s, but the verdicts used %q version %s; name that one, or run again with this one", named, v.Description.Name, v.Description.Version, r.Name, r.Version))
	}
	return v.Description, nil
}

// fromBook reads run and entries from the book, and the description that it kept with the verdicts
// (nil when it has none).
func (c *reportCmd) fromBook(e *env, d *report.Document) (*judge.Variety, error) {
	b, err := c.open(e, false)
	if err != nil {
		return nil, noSource(err, c.Harvest)
	}
	defer b.Close()
	h, err := b.Harvest(e.ctx, c.Harvest)
	if err != nil {
		return nil, err
	}
	run, err := b.LoadRun(e.ctx, c.Harvest)
	if err != nil {
		return nil, err
	}
	d.Run, d.Entered = &run, entered(&h)
	d.Load = c.originals(e, &run)
	text, err := b.Description(e.ctx, c.Harvest)
	if err != nil || text == "" {
		return nil, err
	}
	return judge.ParseVariety("description in the book", []byte(text))
}

// originals reads photos from where they lay when they were measured, or from --photos. A photo that
// is gone is shown by its outlines alone.
func (c *reportCmd) originals(e *env, run *record.Run) report.Loader {
	fruits := map[string][]record.Fruit{}
	for _, f := range run.Fruits {
		fruits[f.Photo] = append(fruits[f.Photo], f)
	}
	paths := map[string]string{}
	for _, p := range run.Photos {
		paths[p.Name] = p.Path
		if c.Photos != "" {
			paths[p.Name] = filepath.Join(c.Photos, filepath.FromSlash(p.Name))
		}
	}
	return func(name string) (image.Image, float64, []record.Fruit, error) {
		err := errors.New("it is not known where it lies")
		if p := paths[name]; p != "" {
			var m image.Image
			var scale float64
			if m, scale, err = pipeline.Preview(p); err == nil {
				return m, scale, fruits[name], nil
			}
		}
		fmt.Fprintf(e.err, "note: photo \"%s\" is shown by its outlines alone: %v; name its folder with --photos\n", name, err)
		return nil, 0, fruits[name], nil
	}
}

// shownWhite is the white of --white.
func shownWhite(s string) record.White { return record.White(strings.ToUpper(s)) }

func number[T any](v *T, unit string) string {
	if v == nil {
		return ""
	}
	return strings.TrimSpace(fmt.Sprint(*v) + " " + unit)
}

// knownWord leaves out what the book says for nothing entered.
func knownWord(s string) string {
	if s == "unknown" {
		return ""
	}
	return s
}

// entered turns what the book holds into what the report prints.
func entered(h *book.Harvest) report.Entered {
	x := report.Entered{Harvest: h.Name, Season: number(h.Season, ""), Picked: h.Picked, Stage: h.Stage, Note: h.Note, Variety: h.Variety(), Notes: h.Notes}
	if g := h.Grower; g != nil {
		x.Grower, x.Place, x.Country, x.Contact = g.Name, g.Place, g.Country, g.Contact
	}
	if l := h.Lot; l != nil {
		x.Lot, x.Species, x.Supplier, x.SupplierLot, x.Bought, x.Packet = l.Code, l.Species, l.Supplier, l.SupplierLot, l.Bought, l.Packet
		x.Kind, x.Generation, x.Origin, x.Sown, x.SeedLeft = knownWord(l.Kind), l.Generation, knownWord(l.Origin), l.Sown, l.SeedLeft
		x.SeedsSown, x.SeedsGerminated = number(l.SeedsSown, ""), number(l.SeedsGerminated, "")
	}
	x.Lots = lotsOf(h)
	beds := map[string]bool{}
	for _, p := range h.Plants {
		if p.Control {
			x.Controls = append(x.Controls, p.Number)
		}
		if p.Bed != "" && !beds[p.Bed] {
			beds[p.Bed] = true
			x.Bed = strings.TrimPrefix(x.Bed+", "+p.Bed, ", ")
		}
		for _, o := range [][2]string{{"habit", p.Habit}, {"leaf", p.Leaf}, {"disease", p.Disease}, {"flowered", p.Flowered}, {"first ripe", p.FirstRipe}, {"fruit on the plant", number(p.FruitCount, "")}, {"weight of all fruit", number(p.WeightG, "g")}, {"note", p.Note}} {
			if o[1] != "" {
				x.Hand = append(x.Hand, report.Hand{Plant: p.Number, Trait: o[0], Value: o[1]})
			}
		}
	}
	for _, o := range book.NewestOfDay(h.Observations) { // older books may hold two weights of one day
		if o.Lost != "" {
			continue
		}
		v := o.Words
		if o.Value != nil {
			v = strings.TrimSpace(fmt.Sprintf("%g %s", *o.Value, o.Unit))
			if o.Words != "" {
				v += ", " + o.Words
			}
		}
		t := report.Hand{Photo: o.Photo, Fruit: o.Fruit, Plant: o.Plant, Group: o.Group, Trait: o.Trait, Value: v, Date: o.Date, By: o.By, Note: o.Note}
		x.Hand = append(x.Hand, t)
	}
	x.Hand = append(x.Hand, decided(h)...)
	return x
}

// decided lists what was decided by hand: verdicts, groups, and the names of groups.
func decided(h *book.Harvest) (out []report.Hand) {
	names := map[string]string{} // of groups, by their numbers
	for _, d := range h.Decisions {
		if d.Kind == "group name" && d.Lost == "" {
			n, name, _ := strings.Cut(d.Value, ": ")
			names[n] = name
		}
	}
	for _, d := range h.Decisions {
		t := report.Hand{Photo: d.Photo, Fruit: d.Fruit, Plant: d.Plant, Trait: d.Kind + " by hand", Value: d.Value, Date: book.Note{Made: d.Made}.Day(), By: d.By, Note: d.Reason}
		switch {
		case d.Lost != "":
			continue
		case d.Kind == "group" && names[d.Value] != "":
			t.Value += ": " + names[d.Value]
		case d.Kind == "group name":
			n, name, _ := strings.Cut(d.Value, ": ")
			t.Trait, t.Value = "name of the group", name
			t.Group, _ = strconv.Atoi(n)
		case d.Kind != "group" && d.Kind != "verdict":
			continue
		}
		out = append(out, t)
	}
	return out
}

// lotsOf says which plants grew from which seed lot, the harvest's first. Control plants are of another lot on purpose.
func lotsOf(h *book.Harvest) []report.LotPlants {
	var out []report.LotPlants
	at := map[string]int{}
	add := func(code, name string) {
		at[code] = len(out)
		out = append(out, report.LotPlants{Name: name})
	}
	for _, l := range h.Lots {
		add(l.Code, l.Name())
	}
	for _, p := range h.Plants {
		if p.Control {
			continue
		}
		if _, ok := at[p.Lot]; !ok {
			add(p.Lot, p.Lot)
		}
		out[at[p.Lot]].Plants = append(out[at[p.Lot]].Plants, p.Number)
	}
	return out
}

// benchColumns are the observations of the bench sheet, as the book takes them.
func benchColumns() []report.BenchColumn {
	var out []report.BenchColumn
	for _, t := range book.BenchTraits {
		k := report.BenchColumn{Name: strings.ReplaceAll(t.Trait, "_", " "), Unit: t.Unit}
		if h, err := book.HandTraitNamed(t.Trait); err == nil {
			k.Words = h.Words
		}
		out = append(out, k)
	}
	return out
}
