package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"offtype/pipeline/atomic"
	"offtype/pipeline/book"
	"offtype/pipeline/compare"
	"offtype/pipeline/exchange"
	"offtype/pipeline/photo"
	"offtype/pipeline/picture"
	"offtype/pipeline/record"
)

type compareCmd struct {
	bookFile
	Harvests []string `arg:"" help:"Harvests of the book, or result folders of offtype run, in the order of time."`
	Out      string   `help:"Folder for compare.json and compare.html." default:"." placeholder:"DIR" type:"path"`
	Photos   string   `help:"Folder where the photos lie now, when they were moved." placeholder:"DIR" type:"existingdir"`
	White    string   `help:"White point that mean colours are shown with: d65 or d50 (adapted by Bradford)." enum:"d65,d50" default:"d65"`
	JSON     bool     `help:"Print the comparison as JSON too."`
}

func (*compareCmd) Help() string {
	return `Example: offtype compare autumn-2025 autumn-2026 --out comparison

Says what changed from one harvest to the next: off-type plants, groups, size, shape and colour, each with the range
that fits your plants, and what could explain it otherwise. Plants are the unit, so tags matter. A name with a
slash or a dot in front (./result-2025) is a result folder.` + "\n" + exitHelp
}

// Run compares and writes the two files.
func (c *compareCmd) Run(e *env) error {
	if len(c.Harvests) < 2 {
		return usage(errors.New("name at least two harvests"))
	}
	var b *book.Book
	var sides []compare.Side
	for _, name := range c.Harvests {
		if isResult(name) {
			s, err := folderSide(name)
			if err != nil {
				return err
			}
			sides = append(sides, s)
			continue
		}
		if b == nil {
			var err error
			if b, err = c.open(e, false); err != nil {
				return noSource(err, name)
			}
			defer b.Close()
		}
		s, err := bookSide(e, b, name)
		if err != nil {
			return err
		}
		sides = append(sides, s)
	}
	opt := compare.DefaultOptions()
	opt.Program, opt.White = "offtype "+version, shownWhite(c.White)
	r, err := compare.Build(sides, opt)
	if err != nil {
		return err
	}
	if err := atomic.Write(filepath.Join(c.Out, "compare.json"), r.Write); err != nil {
		return err
	}
	if err := atomic.Write(filepath.Join(c.Out, "compare.html"), func(w io.Writer) error { return r.WriteHTML(w, sides, c.pictures) }); err != nil {
		return err
	}
	if c.JSON {
		return r.Write(e.out)
	}
	for _, p := range r.Pairs {
		fmt.Fprintf(e.out, "%s against %s\n", p.To, p.From)
		for _, s := range p.Sentences {
			fmt.Fprintln(e.out, "  "+s)
		}
		for _, s := range p.Warnings {
			fmt.Fprintln(e.out, "  note: "+s)
		}
	}
	fmt.Fprintln(e.out, filepath.Join(c.Out, "compare.html"))
	return nil
}

// pictures reads a photo's preview from where it lay when it was measured, or from --photos.
func (c *compareCmd) pictures(s *compare.Side, name string) (image.Image, float64, error) {
	path := ""
	for _, p := range s.Run.Photos {
		if p.Name == name {
			path = p.Path
		}
	}
	if c.Photos != "" {
		path = filepath.Join(c.Photos, filepath.FromSlash(name))
	}
	if path == "" {
		return nil, 0, fs.ErrNotExist
	}
	ph, err := photo.Read(path, photo.DefaultOptions())
	if err != nil {
		return nil, 0, err
	}
	im, scale := picture.Shrink(ph.Pix, ph.Width, ph.Height, picture.PreviewSide)
	return im, scale, nil
}

// isResult reports whether the argument is a result folder of offtype run.
func isResult(arg string) bool {
	st, err := os.Stat(filepath.Join(arg, "fruits.csv"))
	return err == nil && st.Mode().IsRegular()
}

// bookSide reads a harvest from the book.
func bookSide(e *env, b *book.Book, name string) (compare.Side, error) {
	h, err := b.Harvest(e.ctx, name)
	if err != nil {
		return compare.Side{}, err
	}
	s := compare.Side{Name: name, Stage: h.Stage}
	if h.Season != nil {
		s.Season = fmt.Sprint(*h.Season)
	}
	if h.Lot != nil {
		s.Lot = h.Lot.Code
	}
	for _, o := range h.Observations {
		if o.Value == nil || o.Lost != "" || o.Group != 0 {
			continue
		}
		x := compare.Hand{Plant: o.Plant, Trait: o.Trait, Unit: o.Unit, Value: *o.Value}
		if o.Fruit != 0 {
			x.Key = record.Key{Photo: o.Photo, Number: o.Fruit}
		}
		s.Hand = append(s.Hand, x)
	}
	s.Run, err = b.LoadRun(e.ctx, name)
	return s, err
}

// folderSide reads the tables of a result folder. Outlines are not part of them.
func folderSide(dir string) (compare.Side, error) {
	s := compare.Side{Name: filepath.Base(filepath.Clean(dir))}
	f, err := os.Open(filepath.Join(dir, "fruits.csv"))
	if err != nil {
		return s, err
	}
	defer f.Close()
	if s.Run.Fruits, err = record.ReadFruits(f); err != nil {
		return s, fmt.Errorf("%s: %w", filepath.Join(dir, "fruits.csv"), err)
	}
	if err := optional(filepath.Join(dir, "judgement.json"), func(r io.Reader) error { return json.NewDecoder(r).Decode(&s.Run.Judgement) }); err != nil {
		return s, err
	}
	return s, optional(filepath.Join(dir, "groups.csv"), func(r io.Reader) error {
		rows, err := exchange.RawCSV(r)
		if err != nil || len(rows) == 0 {
			return err
		}
		s.Run.Groups, err = memberships(rows)
		return err
	})
}

// optional reads a file that may be missing.
func optional(path string, read func(io.Reader) error) error {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	defer f.Close()
	if err := read(f); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return nil
}

// memberships reads the rows of groups.csv that a comparison needs.
func memberships(rows [][]string) ([]record.Membership, error) {
	at := map[string]int{}
	for i, h := range rows[0] {
		at[h] = i
	}
	for _, h := range []string{"photo", "fruit", "group"} {
		if _, ok := at[h]; !ok {
			return nil, fmt.Errorf("column %q is missing", h)
		}
	}
	var out []record.Membership
	for n, r := range rows[1:] {
		if len(r) != len(rows[0]) {
			return nil, fmt.Errorf("row %d: %d cells, want %d", n+1, len(r), len(rows[0]))
		}
		m := record.Membership{Key: record.Key{Photo: r[at["photo"]]}}
		if _, err := fmt.Sscan(r[at["fruit"]], &m.Number); err != nil {
			return nil, fmt.Errorf("row %d: fruit %q is not a number", n+1, r[at["fruit"]])
		}
		if _, err := fmt.Sscan(r[at["group"]], &m.Group); err != nil {
			return nil, fmt.Errorf("row %d: group %q is not a number", n+1, r[at["group"]])
		}
		out = append(out, m)
	}
	return out, nil
}

// noSource is the error for a name that is no result folder when the book cannot be opened either. A
// name that looks like a path means a folder.
func noSource(err error, name string) error {
	if strings.ContainsAny(name, `/\`) {
		return usage(fmt.Errorf("%s: is no result folder of offtype run; check the name", name))
	}
	return fmt.Errorf("%w (%q is no result folder either)", err, name)
}
