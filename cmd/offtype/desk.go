package main

import (
	"context"
	"fmt"
	"log/slog"
	"os/exec"
	"runtime"

	"offtype/pipeline/desk"
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
	d, err := desk.New(e.ctx, desk.Options{Book: c.Book, Program: version, Now: e.now, Log: slog.New(slog.NewTextHandler(e.err, nil))})
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
