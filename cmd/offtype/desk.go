package main

import (
	"context"
	"fmt"
	"os/exec"
	"runtime"

	"offtype/pipeline/book"
	"offtype/pipeline/compare"
	"offtype/pipeline/desk"
	"offtype/pipeline/seed"
)

type deskCmd struct {
	Book      string `help:"Harvest book. Default: in your data folder." placeholder:"FILE" type:"path"`
	Listen    string `help:"Address of the page, on this computer only." default:"127.0.0.1:7890" placeholder:"127.0.0.1:PORT"`
	NoBrowser bool   `help:"Do not open the browser; print the address only."`
}

func (*deskCmd) Help() string {
	return `Example: offtype desk

Opens a page in the browser that does the whole job: photos, outlines, groups, verdicts, weights and tastes,
comparison of years, report. It is served by this computer and for this computer; nothing is sent anywhere.
Photos and corrections are kept in a folder beside the harvest book. Stop it with Ctrl-C.` + exitHelp
}

// Run serves the page until Ctrl-C.
func (c *deskCmd) Run(e *env) error {
	l, err := desk.Listen(c.Listen)
	if err != nil {
		return usage(err)
	}
	defer l.Close()
	d, err := desk.New(e.ctx, desk.Options{Book: c.Book, Program: version, Commands: deskCommands()})
	if err != nil {
		return err
	}
	defer d.Close()
	address := "http://" + l.Addr().String() + "/"
	fmt.Fprintf(e.out, "%s\nPhotos and results: %s\nStop with Ctrl-C.\n", address, d.Folder())
	if !c.NoBrowser {
		openBrowser(e.ctx, address)
	}
	return d.Serve(e.ctx, l)
}

// deskCommands hands the page what the other commands do.
func deskCommands() desk.Commands {
	return desk.Commands{
		Side: func(ctx context.Context, b *book.Book, harvest string) (compare.Side, error) {
			return bookSide(&env{ctx: ctx}, b, harvest)
		},
		Seed: func(ctx context.Context, b *book.Book, harvest string) (seed.Input, error) {
			return seedInput(&env{ctx: ctx}, b, harvest)
		},
		Trial: trialPlants,
		Share: shareOf,
	}
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
