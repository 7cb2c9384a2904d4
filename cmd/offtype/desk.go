package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"os/exec"
	"runtime"
	"strings"
	"time"

	"offtype/pipeline"
	"offtype/pipeline/book"
	"offtype/pipeline/compare"
	"offtype/pipeline/desk"
	"offtype/pipeline/lens"
	"offtype/pipeline/report"
	"offtype/pipeline/seed"
)

type deskCmd struct {
	Book      string `help:"Harvest book. Default: in your data folder." placeholder:"FILE" type:"path"`
	Listen    string `help:"Address of the page, on this computer only." default:"127.0.0.1:7890" placeholder:"127.0.0.1:PORT"`
	NoBrowser bool   `help:"Do not open the browser; print the address only."`
	Share     bool   `help:"Let a phone on the same network in, after you accept it on this computer."`
}

func (*deskCmd) Help() string {
	return `Example: offtype desk

Opens a page in the browser that does the whole job: photos, outlines, groups, verdicts, weights and tastes,
comparison of years, report. It is served by this computer and for this computer; nothing is sent anywhere.
Photos and corrections are kept in a folder beside the harvest book. With --share a phone on the same network can
take part; this computer must stay on, for the measuring is done here. Stop it with Ctrl-C.` + exitHelp
}

// Run serves the page until Ctrl-C.
func (c *deskCmd) Run(e *env) error {
	l, err := desk.Listen(c.Listen)
	if err != nil {
		return usage(err)
	}
	defer l.Close()
	d, err := desk.New(e.ctx, desk.Options{Book: c.Book, Program: version, Commands: deskCommands(e.now), Log: slog.New(slog.NewTextHandler(e.err, nil))})
	if err != nil {
		return err
	}
	defer d.Close()
	address := "http://" + l.Addr().String() + "/"
	fmt.Fprintf(e.out, "%s\nPhotos and results: %s\nStop with Ctrl-C.\n", address, d.Folder())
	if c.Share {
		if err := d.Share(); err != nil {
			fmt.Fprintf(e.err, "no phone can come in: %v\n", err) // the page is of use all the same
		} else {
			address += "share"
			fmt.Fprintf(e.out, "For a phone: open %s and scan the code.\n", address)
		}
	}
	if !c.NoBrowser {
		openBrowser(e.ctx, address)
	}
	return d.Serve(e.ctx, l)
}

// deskCommands hands the page what the other commands do.
func deskCommands(now func() time.Time) desk.Commands {
	return desk.Commands{
		Side: func(ctx context.Context, b *book.Book, harvest string) (compare.Side, error) {
			return bookSide(&env{ctx: ctx}, b, harvest)
		},
		Seed: func(ctx context.Context, b *book.Book, harvest string) (seed.Input, error) {
			return seedInput(&env{ctx: ctx}, b, harvest)
		},
		Trial: trialPlants,
		Lens:  deskLens,
		Share: shareOf,
		Lots:  lotsByPlant,
		Report: func(ctx context.Context, of desk.ReportOf) (pdf, page []byte, err error) {
			return deskReport(ctx, of, now())
		},
		Sheet: func(ctx context.Context, of desk.ReportOf, which string, w io.Writer) error {
			return deskSheet(ctx, of, now(), which, w)
		},
	}
}

// deskLens calibrates a lens and gives back what was said of single photos.
func deskLens(ctx context.Context, photos []string) (*lens.File, []string, error) {
	var said bytes.Buffer
	f, _, err := (&lensCmd{Photos: photos}).calibrate(&env{ctx: ctx, out: io.Discard, err: &said})
	return f, strings.FieldsFunc(said.String(), func(c rune) bool { return c == '\n' }), err
}

// deskDocument reads a harvest of the book for the report. The harvest's name never counts as a folder here.
func deskDocument(ctx context.Context, of desk.ReportOf, made time.Time) (*report.Document, error) {
	e := &env{ctx: ctx, out: io.Discard, err: io.Discard}
	c := &reportCmd{bookFile: bookFile{Book: of.Book}, Harvest: of.Harvest, Photos: of.Photos}
	d := &report.Document{Paper: "a4", Language: "en", Made: made}
	v, err := c.fromBook(e, d)
	if err != nil {
		return nil, err
	}
	if of.Variety != "" {
		if v, err = pipeline.ReadVariety("description", of.Variety); err != nil {
			return nil, err
		}
	}
	return d, explain(d, v, "")
}

func deskReport(ctx context.Context, of desk.ReportOf, made time.Time) (pdf, page []byte, err error) {
	d, err := deskDocument(ctx, of, made)
	if err != nil {
		return nil, nil, err
	}
	var a, b bytes.Buffer
	if err := d.Both(&a, &b); err != nil {
		return nil, nil, err
	}
	return a.Bytes(), b.Bytes(), nil
}

func deskSheet(ctx context.Context, of desk.ReportOf, made time.Time, which string, w io.Writer) error {
	d, err := deskDocument(ctx, of, made)
	if err != nil {
		return err
	}
	if which == "wall" {
		return d.WallSheet(w)
	}
	return d.BenchSheet(w, benchColumns())
}

// openBrowser asks the system to show the address; where that fails the printed address is enough.
func openBrowser(ctx context.Context, address string) {
	name, args := "xdg-open", []string{address}
	switch runtime.GOOS {
	case "darwin":
		name = "open"
	case "windows":
		name, args = "rundll32", []string{"url.dll,FileProtocolHandler", address}
	}
	cmd := exec.CommandContext(ctx, name, args...)
	if cmd.Start() == nil {
		go cmd.Wait()
	}
}
