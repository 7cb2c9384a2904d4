package main

import (
	"fmt"
	"io"
	"strings"

	"offtype/pipeline/book"
	"offtype/pipeline/record"
)

type bookShowCmd struct {
	bookFile
	Harvest string `arg:"" optional:"" help:"Harvest to show. Default: the list of harvests."`
	Lots    bool   `help:"List the seed lots."`
	Notes   bool   `help:"List all notes and pictures with their numbers."`
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
		return c.lots(e, b)
	case c.Notes:
		return c.notes(e, b)
	case c.Harvest != "":
		h, err := b.Harvest(e.ctx, c.Harvest)
		if err != nil {
			return err
		}
		if c.JSON {
			return writeJSON(e.out, h)
		}
		notes, err := b.Notes(e.ctx)
		if err != nil {
			return err
		}
		return showHarvest(e.out, &h, h.NotesOn(notes))
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
		fmt.Fprintf(e.out, "%s: season %s%s%s, %s, %d fruit, measurement %d of %s\n", s.Name, orInt(s.Season), named(", lot ", s.Lot), named(", ", s.Variety), record.Count(s.Photos, "photo", "photos"), s.Fruits, s.Revision, or(s.Recorded))
	}
	return nil
}

func (c *bookShowCmd) lots(e *env, b *book.Book) error {
	lots, err := b.Lots(e.ctx)
	if err != nil {
		return err
	}
	if c.JSON {
		return writeJSON(e.out, lots)
	}
	for _, l := range lots {
		showLot(e.out, "", &l)
	}
	return nil
}

func showLot(w io.Writer, before string, l *book.Lot) {
	fmt.Fprintf(w, "%s%s: %s, %s, %s, lot number %s, bought %s\n", before, l.Code, or(l.Variety), l.Kind, or(l.Supplier), or(l.SupplierLot), or(l.Bought))
	showPictures(w, "lot "+l.Code, l.Pictures)
}

// showPictures prints pictures with the numbers that book remove takes.
func showPictures(w io.Writer, of string, ps []book.Picture) {
	for _, p := range ps {
		fmt.Fprintf(w, "picture %d, %s: %s, %s %s\n", p.ID, of, p.Kind, p.File, strings.TrimSpace(p.Taken+" "+p.Note))
	}
}

// notes lists what was written and pictured about anything in the book.
func (c *bookShowCmd) notes(e *env, b *book.Book) error {
	notes, err := b.Notes(e.ctx)
	if err != nil {
		return err
	}
	pictures, err := b.Pictures(e.ctx)
	if err != nil {
		return err
	}
	if c.JSON {
		return writeJSON(e.out, map[string]any{"notes": notes, "pictures": pictures})
	}
	showNotes(e.out, notes)
	for _, p := range pictures {
		showPictures(e.out, p.Of, []book.Picture{p.Picture})
	}
	if len(notes)+len(pictures) == 0 {
		fmt.Fprintln(e.out, "no notes and no pictures yet; write one with: offtype book note harvest NAME TEXT")
	}
	return nil
}

func showNotes(w io.Writer, notes []book.Note) {
	for _, n := range notes {
		fmt.Fprintf(w, "note %d, %s: %s (%s)\n", n.ID, strings.TrimSpace(n.Kind+" "+n.Name), n.Text, strings.TrimSpace(n.Made+" "+n.Written))
	}
}

func showHarvest(w io.Writer, h *book.Harvest, notes []book.Note) error {
	fmt.Fprintf(w, "harvest %s, season %s, picked or photographed %s%s\n", h.Name, orInt(h.Season), or(h.Picked), named(", fruit ", h.Stage))
	if h.Grower != nil {
		fmt.Fprintf(w, "grower %s, %s\n", h.Grower.Name, or(h.Grower.Place))
	}
	for _, l := range h.Lots {
		showLot(w, "seed lot ", &l)
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
		fmt.Fprintf(w, "plant %s (%s)%s%s\n", p.Number, p.Planting, named(", lot ", p.Lot), named(": ", strings.Join(more, "; ")))
		showPictures(w, "plant "+p.Planting+"/"+p.Number, p.Pictures)
	}
	for _, o := range h.Observations {
		fmt.Fprintf(w, "observation %d, %s: %s %s%s\n", o.ID, subjectOf(o), o.Trait, valueOf(o), lost(o.Lost))
	}
	for _, d := range h.Decisions {
		fmt.Fprintf(w, "decision %d, %s: %s = %s (%s)%s\n", d.ID, subjectOf(book.Observation{Photo: d.Photo, Fruit: d.Fruit, Plant: d.Plant}), d.Kind, d.Value, or(d.Reason), lost(d.Lost))
	}
	showNotes(w, notes)
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

// named is before and s, or nothing where s is empty.
func named(before, s string) string {
	if s == "" {
		return ""
	}
	return before + s
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
