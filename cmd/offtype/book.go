package main

import (
	"encoding/json"
	"fmt"
	"io"
	"path/filepath"
	"strings"

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
	fmt.Fprintf(e.out, "%s \"%s\" written\n", c.Kind, c.Name)
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
	Number int64  `arg:"" help:"Its number, as offtype book show HARVEST and book show --notes print it."`
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
		c.File = strings.TrimSuffix(b.Path(), ext) + e.now().Format("-2006-01-02") + ext
	}
	if err := b.Backup(e.ctx, c.File); err != nil {
		return err
	}
	fmt.Fprintf(e.out, "%s\n", c.File)
	return nil
}
