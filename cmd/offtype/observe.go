package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"offtype/pipeline/atomic"
	"offtype/pipeline/book"
	"offtype/pipeline/exchange"
)

type observeCmd struct {
	bookFile
	Harvest string   `arg:"" help:"Name of the harvest in the book."`
	Subject string   `arg:"" optional:"" help:"The fruit as PHOTO/NUMBER, \"plant 4\" or \"group 2\"."`
	Trait   string   `arg:"" optional:"" help:"What was observed, such as weight, brix, taste."`
	Value   string   `arg:"" optional:"" help:"The value, with its unit or with the unit after it."`
	Unit    []string `arg:"" optional:"" help:"The unit."`

	Template string `help:"Write a sheet to fill in at the bench: FILE.xlsx or FILE.csv." placeholder:"FILE" type:"path"`
	Read     string `help:"Read a filled-in sheet." placeholder:"FILE" type:"existingfile"`
	Traits   bool   `help:"List what can be observed, with units."`
	Date     string `help:"Day of the observation, as 2026-11-02." placeholder:"DAY"`
	By       string `help:"Who observed." placeholder:"NAME"`
	Note     string `help:"A note." placeholder:"TEXT"`
	Force    bool   `help:"Take a weight that does not fit the fruit's volume or is far from usual."`
	JSON     bool   `help:"Print what was done as JSON."`
}

func (*observeCmd) Help() string {
	return `Examples:
  offtype observe autumn-2026 table-1.jpg/3 weight 712 g
  offtype observe autumn-2026 "plant 4" disease mildew
  offtype observe autumn-2026 --template bench.xlsx      then fill it in, and
  offtype observe autumn-2026 --read bench.xlsx

What was entered for the same fruit, plant or group and the same day is replaced, and the old value is said.
Units are checked, and a weight is compared with the measured volume, so that 712 g typed as kg is caught.
Never taste more than a rice grain of a fruit that could be bitter, raw, and spit it out: bitter squash is poisonous.` + "\n" + exitHelp
}

// unlessForced goes on where a weight was refused as a likely slip.
const unlessForced = ", or enter it with --force if the scale really says so"

// Run writes observations down.
func (c *observeCmd) Run(e *env) error {
	if c.Traits {
		for _, t := range book.HandTraits {
			unit := t.Unit
			if len(t.Words) > 0 {
				unit = strings.Join(t.Words, ", ")
			}
			fmt.Fprintf(e.out, "%-17s %-32s %s\n", t.Name, unit, t.Help)
		}
		return nil
	}
	unit, err := c.shift()
	if err != nil {
		return usage(err)
	}
	if (c.Template != "") && (c.Read != "") || (c.Subject != "") && (c.Template != "" || c.Read != "") {
		return usage(errors.New("give one of: a fruit with trait and value, --template, --read"))
	}
	b, err := c.open(e, false)
	if err != nil {
		return err
	}
	defer b.Close()
	switch {
	case c.Template != "":
		return c.template(e, b)
	case c.Read != "":
		return c.read(e, b)
	case c.Value == "":
		return usage(errors.New("name fruit, trait and value, such as: offtype observe HARVEST table-1.jpg/3 weight 712 g"))
	}
	s, err := book.ParseSubject(c.Subject)
	if err != nil {
		return usage(err)
	}
	if err := c.knowsPlant(e, b, s); err != nil {
		return err
	}
	replaced, err := b.Observe(e.ctx, c.Harvest, s, c.Trait, c.Value, unit, book.Observation{Date: c.Date, By: c.By, Note: c.Note}, c.Force)
	switch {
	case errors.Is(err, book.ErrNotFound):
		return err
	case errors.Is(err, book.ErrSlip):
		return usage(fmt.Errorf("%w"+unlessForced, err))
	case err != nil:
		return usage(err)
	case c.JSON:
		return writeJSON(e.out, map[string]any{"harvest": c.Harvest, "of": s.String(), "trait": c.Trait, "value": c.Value, "unit": unit, "replaces": replaced})
	}
	line := fmt.Sprintf("%s of %s written: %s", c.Trait, s, strings.TrimSpace(c.Value+" "+unit))
	if replaced != "" {
		line += "; replaces " + replaced
	}
	fmt.Fprintln(e.out, line)
	if c.Trait == "bitter" && strings.EqualFold(c.Value, "yes") {
		fmt.Fprintln(e.out, "Bitter fruit are poisonous: throw it away with its seed. Do not eat, feed, sell or taste on; other fruit of the plant may be bitter too.")
	}
	return nil
}

// shift takes "plant 4" that was written without quotation marks, as two words, for one, and returns the unit.
func (c *observeCmd) shift() (string, error) {
	words := c.Unit
	switch strings.ToLower(c.Subject) {
	case "plant", "group", "fruit":
		if _, err := strconv.Atoi(c.Trait); err == nil {
			c.Subject, c.Trait, c.Value = strings.TrimPrefix(c.Subject+" "+c.Trait, "fruit "), c.Value, ""
			if len(words) > 0 {
				c.Value, words = words[0], words[1:]
			}
		}
	}
	if len(words) > 1 {
		return "", fmt.Errorf("too many words: %s; write one value and its unit, and put words that belong together in quotation marks, such as \"a little bitter\"", strings.Join(words, " "))
	}
	return strings.Join(words, ""), nil
}

// knowsPlant refuses a plant number that the harvest does not know, which is a slip more often
// than a plant without fruit.
func (c *observeCmd) knowsPlant(e *env, b *book.Book, s book.Subject) error {
	if s.Plant == "" {
		return nil
	}
	h, err := b.Harvest(e.ctx, c.Harvest)
	if err != nil {
		return err
	}
	for i := range h.Plants {
		if h.Plants[i].Number == s.Plant {
			return nil
		}
	}
	if len(h.Plants) == 0 {
		return nil // no tags: nothing to compare with
	}
	return usage(fmt.Errorf("plant %s is not known in harvest %q; check the number, or add it first: offtype book add plant %s/%s", s.Plant, c.Harvest, h.Plants[0].Planting, s.Plant))
}

func (c *observeCmd) template(e *env, b *book.Book) error {
	if _, err := os.Stat(c.Template); err == nil {
		return usage(fmt.Errorf("%s is there already; name a new file, so that nothing filled in is lost", c.Template))
	}
	t, err := b.BenchTable(e.ctx, c.Harvest)
	if err != nil {
		return err
	}
	if strings.EqualFold(filepath.Ext(c.Template), ".xlsx") {
		err = atomic.Write(c.Template, func(w io.Writer) error {
			return exchange.WriteXLSX(w, []exchange.Table{t}, exchange.Workbook{Created: e.now()})
		})
	} else {
		err = atomic.Write(c.Template, func(w io.Writer) error { return exchange.WriteCSV(w, t) })
	}
	if err != nil {
		return err
	}
	fmt.Fprintf(e.out, "%s: fill it in, then: offtype observe %q --read %s\n", c.Template, c.Harvest, c.Template)
	return nil
}

func (c *observeCmd) read(e *env, b *book.Book) error {
	f, err := os.Open(c.Read)
	if err != nil {
		return usage(err)
	}
	defer f.Close()
	var rows [][]string
	if strings.EqualFold(filepath.Ext(c.Read), ".xlsx") {
		rows, err = exchange.RawXLSX(f, "bench")
	} else {
		rows, err = exchange.RawCSV(f)
	}
	if err != nil {
		return usage(fmt.Errorf("read %q: %w", c.Read, err))
	}
	r, err := b.ReadBench(e.ctx, c.Harvest, rows, c.Force)
	if err != nil {
		return usage(fmt.Errorf("read %q: %w", c.Read, err))
	}
	for i, p := range r.Problems {
		if strings.Contains(p, book.ErrSlip.Error()) {
			p += unlessForced
			r.Problems[i] = p
		}
		fmt.Fprintf(e.err, "%s: %s\n", c.Read, p)
	}
	if c.JSON {
		if err := writeJSON(e.out, map[string]any{"added": r.Added, "changed": r.Changed, "same": r.Same, "problems": r.Problems}); err != nil {
			return err
		}
	} else {
		fmt.Fprintf(e.out, "%d observations added, %d changed, %d already there, %d not taken\n", r.Added, r.Changed, r.Same, len(r.Problems))
	}
	switch {
	case len(r.Problems) > 0 && r.Added+r.Changed+r.Same == 0:
		return &exitError{exitNothing, nil}
	case len(r.Problems) > 0:
		return &exitError{exitPartly, nil}
	}
	return nil
}
