package main

import (
	"bytes"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"offtype/pipeline"
	"offtype/pipeline/atomic"
	"offtype/pipeline/gather"
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
		}{{c.Bench, func(w io.Writer) error { return d.BenchSheet(w, gather.BenchColumns()) }}, {c.Wall, d.WallSheet}} {
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
	} else if kept, err = c.inBook(e, d); err != nil {
		return nil, "", err
	}
	if c.Variety != "" {
		if kept, err = pipeline.ReadVariety("--variety", c.Variety); err != nil {
			return nil, "", usage(err)
		}
	}
	if err := gather.Explain(d, kept); err != nil {
		return nil, "", err
	}
	if r := d.Run.Judgement.Variety; d.Description == nil && r != nil {
		if c.Variety != "" {
			return nil, "", usage(fmt.Errorf("--variety %s: it is %q version %s, but the verdicts used %q version %s; name that one, or run again with this one", c.Variety, kept.Description.Name, kept.Description.Version, r.Name, r.Version))
		}
		fmt.Fprintf(e.err, "note: the description \"%s\" is not at hand, so its ranges are left out; name it with --variety FILE\n", r.Name)
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

// inBook reads the harvest from the book.
func (c *reportCmd) inBook(e *env, d *report.Document) (*judge.Variety, error) {
	b, err := c.open(e, false)
	if err != nil {
		return nil, noSource(err, c.Harvest)
	}
	defer b.Close()
	return gather.Report(e.ctx, b, c.Harvest, gather.Originals{Folder: c.Photos, Missing: func(name string, why error) {
		fmt.Fprintf(e.err, "note: photo \"%s\" is shown by its outlines alone: %v; name its folder with --photos\n", name, why)
	}}, d)
}

// shownWhite is the white of --white.
func shownWhite(s string) record.White { return record.White(strings.ToUpper(s)) }
