package main

import (
	"encoding/json"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"offtype/pipeline/book"
)

type bookCmd struct {
	Show   bookShowCmd   `cmd:"" help:"List the harvests, or show one harvest or the seed lots."`
	Add    bookAddCmd    `cmd:"" help:"Write down a grower, bed, variety, seed lot, planting, plant or harvest, or change it."`
	Note   bookNoteCmd   `cmd:"" help:"Write a note."`
	Photo  bookPhotoCmd  `cmd:"" name:"picture" help:"Note a picture that is looked at, not measured: packet, row, leaf, flower, vine, cut fruit."`
	Remove bookRemoveCmd `cmd:"" help:"Take back an observation, decision, note or picture by its number."`
	Check  bookCheckCmd  `cmd:"" help:"Look for damage."`
	Backup bookBackupCmd `cmd:"" help:"Write a copy of the book."`
	Export bookExportCmd `cmd:"" help:"Write the book as CSV (Data Package), XLSX or JSON."`
	Import bookImportCmd `cmd:"" help:"Fill a new book from an export."`
}

func (*bookCmd) Help() string {
	return `Example: offtype book add lot L-2026 supplier="Example Seeds" supplier_lot=A123 kind=open-pollinated

The harvest book is one file that holds seasons, seed lots, plants, measured fruit and what you observed by hand.
Without --book it lies in your data folder. Several programs may use it at once. docs/book.md describes it.` + "\n" + exitHelp
}

// bookFile is the flag that names the book.
type bookFile struct {
	Book string `help:"The harvest book. Default: the book in your data folder." placeholder:"FILE" type:"path"`
}

// open opens the book; it must exist unless create is set.
func (f *bookFile) open(e *env, create bool) (*book.Book, error) {
	return book.Open(e.ctx, f.Book, book.Options{MustExist: !create})
}

type bookShowCmd struct {
	bookFile
	Harvest string `arg:"" optional:"" help:"Harvest to show. Default: the list of harvests."`
	Lots    bool   `help:"List the seed lots."`
	JSON    bool   `help:"Print as JSON."`
}

func (*bookShowCmd) Help() string { return "Example: offtype book show autumn-2026\n" + exitHelp }

// Run lists or shows.
func (c *bookShowCmd) Run(e *env) error {
	b, err := c.open(e, false)
	if err != nil {
		return err
	}
	defer b.Close()
	switch {
	case c.Lots:
		lots, err := b.Lots(e.ctx)
		if err != nil {
			return err
		}
		if c.JSON {
			return writeJSON(e.out, lots)
		}
		for _, l := range lots {
			fmt.Fprintf(e.out, "%s: %s, %s, %s, lot number %s, bought %s\n", l.Code, or(l.Variety), l.Kind, or(l.Supplier), or(l.SupplierLot), or(l.Bought))
		}
		return nil
	case c.Harvest != "":
		h, err := b.Harvest(e.ctx, c.Harvest)
		if err != nil {
			return err
		}
		if c.JSON {
			return writeJSON(e.out, h)
		}
		return showHarvest(e.out, &h)
	}
	list, err := b.ListHarvests(e.ctx)
	if err != nil {
		return err
	}
	if c.JSON {
		return writeJSON(e.out, list)
	}
	if len(list) == 0 {
		fmt.Fprintln(e.out, "the book holds no harvest yet; record one with: offtype run PHOTOS --harvest NAME --lot LOT")
	}
	for _, s := range list {
		fmt.Fprintf(e.out, "%s: season %s, lot %s, %s, %d photos, %d fruit, measurement %d of %s\n", s.Name, orInt(s.Season), or(s.Lot), or(s.Variety), s.Photos, s.Fruits, s.Revision, or(s.Recorded))
	}
	return nil
}

func showHarvest(w io.Writer, h *book.Harvest) error {
	fmt.Fprintf(w, "harvest %s, season %s, picked %s, photographed %s\n", h.Name, orInt(h.Season), or(h.Picked), h.Stage)
	if h.Grower != nil {
		fmt.Fprintf(w, "grower %s, %s\n", h.Grower.Name, or(h.Grower.Place))
	}
	for _, l := range h.Lots {
		fmt.Fprintf(w, "seed lot %s: %s, %s, %s, lot number %s, bought %s\n", l.Code, or(l.Variety), l.Kind, or(l.Supplier), or(l.SupplierLot), or(l.Bought))
	}
	for _, p := range h.Plants {
		var more []string
		for _, s := range []string{p.Habit, p.Leaf, p.Disease, p.Fate, p.Note} {
			if s != "" {
				more = append(more, s)
			}
		}
		if p.Control {
			more = append(more, "control")
		}
		fmt.Fprintf(w, "plant %s (%s), lot %s %s\n", p.Number, p.Planting, or(p.Lot), strings.Join(more, "; "))
	}
	for _, o := range h.Observations {
		fmt.Fprintf(w, "observation %d, %s: %s %s%s\n", o.ID, subjectOf(o), o.Trait, valueOf(o), lost(o.Lost))
	}
	for _, d := range h.Decisions {
		fmt.Fprintf(w, "decision %d, %s: %s = %s (%s)%s\n", d.ID, subjectOf(book.Observation{Photo: d.Photo, Fruit: d.Fruit, Plant: d.Plant}), d.Kind, d.Value, or(d.Reason), lost(d.Lost))
	}
	for _, n := range h.Notes {
		fmt.Fprintf(w, "note: %s\n", n)
	}
	_, err := fmt.Fprintf(w, "measurement %d, recorded %s by offtype %s\n", h.Revision, or(h.Recorded), or(h.Program))
	return err
}

func subjectOf(o book.Observation) string {
	switch {
	case o.Plant != "":
		return "plant " + o.Plant
	case o.Group != 0:
		return fmt.Sprintf("group %d", o.Group)
	case o.Photo == "" && o.Fruit == 0:
		return "harvest"
	}
	return fmt.Sprintf("%s/%d", o.Photo, o.Fruit)
}

func valueOf(o book.Observation) string {
	var parts []string
	if o.Value != nil {
		parts = append(parts, strings.TrimSpace(fmt.Sprintf("%g %s", *o.Value, o.Unit)))
	}
	if o.Words != "" {
		parts = append(parts, o.Words)
	}
	return strings.Join(parts, ", ")
}

func lost(why string) string {
	if why == "" {
		return ""
	}
	return " [" + why + "]"
}

func or(s string) string {
	if s == "" {
		return "–"
	}
	return s
}

func orInt(n *int) string {
	if n == nil {
		return "–"
	}
	return fmt.Sprint(*n)
}

func writeJSON(w io.Writer, v any) error {
	j := json.NewEncoder(w)
	j.SetEscapeHTML(false)
	j.SetIndent("", " ")
	return j.Encode(v)
}

type bookAddCmd struct {
	bookFile
	Kind   string   `arg:"" help:"grower, bed, variety, lot, planting, plant or harvest."`
	Name   string   `arg:"" optional:"" help:"Its name; a plant is named PLANTING/NUMBER. Without a name the fields are listed."`
	Fields []string `arg:"" optional:"" help:"What to write down, as field=value."`
}

func (*bookAddCmd) Help() string {
	return `Example: offtype book add plant "autumn 2026/3" habit=trailing fruit_count=4 weight_g=5200

Makes the entry, or changes the named fields of one that is there. offtype book add lot (without a name) lists the
fields of a seed lot. A planting made by a harvest bears the harvest's name; harvest NAME planting=OTHER joins more.` + "\n" + exitHelp
}

// Run makes or changes an entry.
func (c *bookAddCmd) Run(e *env) error {
	k, err := book.KindNamed(c.Kind)
	if err != nil {
		return usage(err)
	}
	if c.Name == "" {
		fmt.Fprintf(e.out, "a %s is named by its %s and has these fields:\n", k.Name, k.Key)
		for _, f := range k.Fields {
			what := f.Type
			if len(f.Choice) > 0 {
				what = strings.Join(f.Choice, "; ")
			}
			fmt.Fprintf(e.out, "  %-18s %s %s\n", f.Name, what, strings.TrimSpace(f.Unit+" "+f.Help))
		}
		return nil
	}
	fields := map[string]string{}
	for _, s := range c.Fields {
		name, value, ok := strings.Cut(s, "=")
		if !ok {
			return usage(fmt.Errorf("%q is not field=value", s))
		}
		fields[strings.TrimSpace(name)] = value
	}
	b, err := c.open(e, true)
	if err != nil {
		return err
	}
	defer b.Close()
	if err := b.Set(e.ctx, c.Kind, c.Name, fields); err != nil {
		return err
	}
	fmt.Fprintf(e.out, "%s %q written\n", c.Kind, c.Name)
	return nil
}

type bookNoteCmd struct {
	bookFile
	Kind string `arg:"" help:"What the note is about: book, grower, bed, variety, lot, planting, plant or harvest."`
	Name string `arg:"" help:"Its name; empty (\"\") for the whole book."`
	Text string `arg:"" help:"The note."`
	By   string `help:"Who wrote it." placeholder:"NAME"`
}

func (*bookNoteCmd) Help() string {
	return `Example: offtype book note harvest autumn-2026 "hail on 12 August"` + "\n" + exitHelp
}

// Run writes the note.
func (c *bookNoteCmd) Run(e *env) error {
	b, err := c.open(e, true)
	if err != nil {
		return err
	}
	defer b.Close()
	return b.AddNote(e.ctx, c.Kind, c.Name, c.Text, c.By)
}

type bookPhotoCmd struct {
	bookFile
	File  string `arg:"" help:"The picture." type:"existingfile"`
	Kind  string `help:"packet front, packet back, row, leaf, flower, vine, cut fruit, other." required:"" placeholder:"KIND"`
	Lot   string `help:"Seed lot that it shows." placeholder:"CODE"`
	Plant string `help:"Plant that it shows, as PLANTING/NUMBER." placeholder:"PLANT"`
	Taken string `help:"Day, as 2026-07-14." placeholder:"DAY"`
	Note  string `help:"A note." placeholder:"TEXT"`
}

func (*bookPhotoCmd) Help() string {
	return `Example: offtype book picture packet.jpg --kind "packet front" --lot L-2026

The book keeps where the picture lies, not the picture itself.` + "\n" + exitHelp
}

// Run notes the picture.
func (c *bookPhotoCmd) Run(e *env) error {
	b, err := c.open(e, true)
	if err != nil {
		return err
	}
	defer b.Close()
	return b.AddPicture(e.ctx, c.File, c.Kind, c.Lot, c.Plant, c.Taken, c.Note)
}

type bookRemoveCmd struct {
	bookFile
	Kind   string `arg:"" help:"observation, decision, note or picture."`
	Number int64  `arg:"" help:"Its number, as offtype book show prints it."`
}

func (*bookRemoveCmd) Help() string {
	return "Example: offtype book remove observation 12\n" + exitHelp
}

// Run removes the entry.
func (c *bookRemoveCmd) Run(e *env) error {
	b, err := c.open(e, false)
	if err != nil {
		return err
	}
	defer b.Close()
	return b.Remove(e.ctx, c.Kind, c.Number)
}

type bookCheckCmd struct {
	bookFile
	JSON bool `help:"Print as JSON."`
}

func (*bookCheckCmd) Help() string { return "Example: offtype book check\n" + exitHelp }

// Run checks the book.
func (c *bookCheckCmd) Run(e *env) error {
	b, err := c.open(e, false)
	if err != nil {
		return err
	}
	defer b.Close()
	problems, err := b.Check(e.ctx)
	if err != nil {
		return err
	}
	if c.JSON {
		if problems == nil {
			problems = []string{}
		}
		if err := writeJSON(e.out, map[string]any{"book": b.Path(), "problems": problems}); err != nil {
			return err
		}
	} else {
		for _, p := range problems {
			fmt.Fprintln(e.err, p)
		}
		if len(problems) == 0 {
			fmt.Fprintf(e.out, "%s: no fault found\n", b.Path())
		}
	}
	if len(problems) > 0 {
		return &exitError{exitNothing, nil}
	}
	return nil
}

type bookBackupCmd struct {
	bookFile
	File string `arg:"" optional:"" help:"File to write. Default: the book's name with the day." type:"path"`
}

func (*bookBackupCmd) Help() string {
	return "Example: offtype book backup /media/stick/harvest.book\n\nThe copy is whole even while others write. An existing file is not overwritten.\n" + exitHelp
}

// Run writes the copy.
func (c *bookBackupCmd) Run(e *env) error {
	b, err := c.open(e, false)
	if err != nil {
		return err
	}
	defer b.Close()
	if c.File == "" {
		ext := filepath.Ext(b.Path())
		c.File = strings.TrimSuffix(b.Path(), ext) + time.Now().Format("-2006-01-02") + ext
	}
	if err := b.Backup(e.ctx, c.File); err != nil {
		return err
	}
	fmt.Fprintf(e.out, "%s\n", c.File)
	return nil
}
