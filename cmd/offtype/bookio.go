package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"offtype/pipeline/atomic"
	"offtype/pipeline/book"
	"offtype/pipeline/exchange"
)

type bookExportCmd struct {
	bookFile
	To      string `arg:"" help:"FILE.xlsx, FILE.json, or a new folder for CSV tables with datapackage.json." type:"path"`
	Harvest string `help:"Only this harvest, as one row a fruit with everything measured and observed; a folder then also holds the tables of the MIAPPE standard." placeholder:"NAME"`
}

func (*bookExportCmd) Help() string {
	return `Example: offtype book export book-2026 --harvest autumn-2026

A folder gets CSV tables and datapackage.json (Frictionless Data Package 2.0). Without --harvest the whole book goes
out and offtype book import reads it back; XLSX leaves out outlines. Where your photos lie is never part of it.` + "\n" + exitHelp
}

// Run writes the export.
func (c *bookExportCmd) Run(e *env) error {
	b, err := c.open(e, false)
	if err != nil {
		return err
	}
	defer b.Close()
	xlsx := strings.EqualFold(filepath.Ext(c.To), ".xlsx")
	var tables []exchange.Table
	if c.Harvest != "" {
		tables, err = b.HarvestTables(e.ctx, c.Harvest)
	} else {
		tables, err = b.Tables(e.ctx, book.ExportOptions{NoOutlines: xlsx})
	}
	if err != nil {
		return err
	}
	switch {
	case xlsx:
		about := []string{"Written by offtype " + version, "One sheet a table; docs/book.md explains tables and columns."}
		if c.Harvest == "" {
			about = append(about, "Outlines are left out: use a folder or JSON for an export that holds everything.")
		}
		err = atomic.Write(c.To, func(w io.Writer) error {
			return exchange.WriteXLSX(w, tables, exchange.Workbook{Created: e.now(), About: about})
		})
	case strings.EqualFold(filepath.Ext(c.To), ".json"):
		err = atomic.Write(c.To, func(w io.Writer) error { return exchange.WriteJSON(w, tables) })
	default:
		name, title := "harvest-book", "Harvest book"
		if c.Harvest != "" {
			name, title = "harvest", "Harvest "+c.Harvest
		}
		err = exchange.WritePackage(c.To, exchange.Package{Name: name, Title: title, Created: e.now().UTC().Format(time.RFC3339), Version: version,
			Keywords: []string{"fruit", "phenotype", "variety"}, Tables: tables})
	}
	if err != nil {
		return err
	}
	fmt.Fprintln(e.out, c.To)
	return nil
}

type bookImportCmd struct {
	bookFile
	From string `arg:"" help:"Folder with datapackage.json, FILE.json or FILE.xlsx."`
}

func (*bookImportCmd) Help() string {
	return "Example: offtype book import book-2026 --book restored.book\n\nFills a new, empty book. Two books are not merged.\n" + exitHelp
}

// Run fills the book.
func (c *bookImportCmd) Run(e *env) error {
	st, err := os.Stat(c.From)
	if err != nil {
		return usage(fmt.Errorf("%w; name the folder or file that book export wrote", err))
	}
	b, err := c.open(e, true)
	if err != nil {
		return err
	}
	defer b.Close()
	layout, err := b.Layout(e.ctx)
	if err != nil {
		return err
	}
	var tables []exchange.Table
	if st.IsDir() {
		tables, err = exchange.ReadPackage(c.From, layout)
	} else {
		var f *os.File
		if f, err = os.Open(c.From); err != nil {
			return usage(err)
		}
		defer f.Close()
		switch strings.ToLower(filepath.Ext(c.From)) {
		case ".json":
			tables, err = exchange.ReadJSON(f, layout)
		case ".xlsx":
			tables, err = exchange.ReadXLSX(f, layout)
		default:
			err = errors.New("give a folder with datapackage.json, a .json or an .xlsx")
		}
	}
	if err != nil {
		return usage(fmt.Errorf("import %q: %w", c.From, err))
	}
	return b.Import(e.ctx, tables)
}
