package main

import (
	"errors"
	"fmt"
	"image"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"offtype/pipeline"
	"offtype/pipeline/atomic"
	"offtype/pipeline/book"
	"offtype/pipeline/compare"
	"offtype/pipeline/gather"
	"offtype/pipeline/report"
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
	sides, loaders, err := c.sides(e)
	if err != nil {
		return err
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
	if err := atomic.Write(filepath.Join(c.Out, "compare.html"), func(w io.Writer) error { return r.WriteHTML(w, sides, c.pictures(loaders)) }); err != nil {
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

// sides reads the harvests, and for result folders what gives their photos' previews.
func (c *compareCmd) sides(e *env) (sides []compare.Side, loaders map[string]report.Loader, err error) {
	loaders = map[string]report.Loader{}
	var b *book.Book
	for _, name := range c.Harvests {
		if isResult(name) {
			res, _, err := pipeline.ReadResult(name)
			if err == nil {
				err = res.Outlines()
			}
			if err != nil {
				return nil, nil, err
			}
			s := compare.Side{Name: c.sideName(name), Run: *res.Run}
			sides, loaders[s.Name] = append(sides, s), res.Loader()
			continue
		}
		if b == nil {
			if b, err = c.open(e, false); err != nil {
				return nil, nil, noSource(err, name)
			}
			defer b.Close()
		}
		s, err := gather.Side(e.ctx, b, name)
		if err != nil {
			return nil, nil, err
		}
		sides = append(sides, s)
	}
	return sides, loaders, nil
}

// sideName is what the page calls a result folder: its own name, or all of its path where that would stand twice.
func (c *compareCmd) sideName(dir string) string {
	base := filepath.Base(filepath.Clean(dir))
	n := 0
	for _, h := range c.Harvests {
		if filepath.Base(filepath.Clean(h)) == base {
			n++
		}
	}
	if n > 1 {
		return filepath.Clean(dir)
	}
	return base
}

// pictures reads a photo's preview: from the result folder that the harvest is, from --photos, or from where it lay
// when it was measured.
func (c *compareCmd) pictures(loaders map[string]report.Loader) compare.Pictures {
	return func(s *compare.Side, name string) (image.Image, float64, error) {
		if load := loaders[s.Name]; load != nil {
			im, scale, _, err := load(name)
			if err == nil && im == nil {
				err = fs.ErrNotExist
			}
			return im, scale, err
		}
		return gather.Originals{Folder: c.Photos}.Picture(&s.Run, name)
	}
}

// isResult reports whether the argument is a result folder of offtype run.
func isResult(arg string) bool {
	st, err := os.Stat(filepath.Join(arg, "fruits.csv"))
	return err == nil && st.Mode().IsRegular()
}

// noSource is the error for a name that is no result folder when the book cannot be opened either. A
// name that looks like a path means a folder.
func noSource(err error, name string) error {
	if strings.ContainsAny(name, `/\`) {
		return usage(fmt.Errorf("%s: is no result folder of offtype run; check the name", name))
	}
	return fmt.Errorf("%w (%q is no result folder either)", err, name)
}
