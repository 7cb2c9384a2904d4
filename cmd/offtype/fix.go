package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"

	"offtype/pipeline/atomic"
	"offtype/pipeline/record"
	"offtype/pipeline/segment"
)

type fixCmd struct {
	Photo string   `arg:"" help:"The photo to correct. It is never changed itself."`
	Drop  []string `help:"Take away what was outlined at this point." placeholder:"X,Y" sep:"none"`
	Split []string `help:"Cut the fruit at X,Y along the line through two points." placeholder:"X,Y:X1,Y1,X2,Y2" sep:"none"`
	Merge []string `help:"Join two outlines that are one fruit, each named by a point." placeholder:"X,Y:X,Y" sep:"none"`
	Add   []string `help:"Add a fruit: outline points, or a text file of them. It is moved to the photo's edge near it." placeholder:"FILE|POINTS" sep:"none"`
	Exact bool     `help:"With --add: keep the outline exactly as given."`
	Pose  []string `help:"Say how a fruit lies: side, upright or unclear." placeholder:"X,Y=POSE" sep:"none"`
	Stem  []string `help:"Say where the stem end of the fruit at X,Y is." placeholder:"X,Y:X,Y" sep:"none"`
	Plant []string `help:"Say which plant a fruit belongs to, 0 for none." placeholder:"X,Y=N" sep:"none"`
	Fixes string   `help:"Folder of corrections. Default: beside the photo." placeholder:"DIR"`
	Undo  bool     `help:"Take back the last correction of this photo."`
	List  bool     `help:"List the corrections of this photo."`
	JSON  bool     `help:"Print the corrections as JSON."`
}

func (*fixCmd) Help() string {
	return `Example: offtype fix harvest/p1.jpg --drop 1204,880 --stem 310,450:295,390

Corrects what the program found in a photo. A point is x,y in pixels of the upright photo;
fruits.csv gives one for each fruit (x_px, y_px). Each correction names its fruit by a point inside it. Corrections
are kept in PHOTO.fix.json and are applied at every later run, on top of what the program finds by itself.` + exitHelp
}

// Run adds corrections to the photo's file, takes one back, or lists them.
func (c *fixCmd) Run(e *env) error {
	if st, err := os.Stat(c.Photo); err != nil || st.IsDir() {
		return usage(fmt.Errorf("%s: no such photo; check the name", c.Photo))
	}
	path := segment.FixPath(c.Photo, c.Fixes)
	f, err := segment.ReadFixes(path)
	if err != nil {
		return usage(fmt.Errorf("%w; correct the file or remove it", err))
	}
	more, err := c.typed()
	if err != nil {
		return usage(err)
	}
	switch {
	case c.Undo && len(more) > 0:
		return usage(errors.New("--undo and a new correction cannot go together; give one of them"))
	case c.Undo && len(f.Fixes) == 0:
		return &exitError{exitNothing, fmt.Errorf("%s has no corrections to take back", c.Photo)}
	case c.Undo:
		f.Fixes = f.Fixes[:len(f.Fixes)-1]
	case len(more) == 0 && !c.List && !c.JSON:
		return usage(errors.New("nothing to do; give a correction, --undo or --list (offtype fix --help)"))
	}
	f.Fixes = append(f.Fixes, more...)
	if c.Undo || len(more) > 0 {
		if err := f.Write(path); err != nil {
			return err
		}
	}
	return c.show(e, f, path)
}

// typed returns the corrections of the command line, in the order of the help.
func (c *fixCmd) typed() ([]segment.Fix, error) {
	var out []segment.Fix
	for _, g := range []struct {
		op    string
		texts []string
	}{{"drop", c.Drop}, {"split", c.Split}, {"merge", c.Merge}, {"add", c.Add}, {"pose", c.Pose}, {"stem", c.Stem}, {"plant", c.Plant}} {
		for _, t := range g.texts {
			text := t
			if g.op == "add" {
				if b, err := atomic.Read(t, atomic.MostText); err == nil {
					text = string(b)
				}
			}
			x, err := segment.FixFromText(g.op, text)
			if err != nil {
				return nil, fmt.Errorf("--%w", err)
			}
			x.Exact = g.op == "add" && c.Exact
			out = append(out, x)
		}
	}
	if c.Exact && len(c.Add) == 0 {
		return nil, errors.New("--exact belongs to --add")
	}
	return out, nil
}

func (c *fixCmd) show(e *env, f *segment.Fixes, path string) error {
	if c.JSON {
		j := json.NewEncoder(e.out)
		j.SetIndent("", " ")
		return j.Encode(f)
	}
	if !c.List {
		fmt.Fprintf(e.out, "%s: %s; run offtype run again to apply\n", path, record.Count(len(f.Fixes), "correction", "corrections"))
		return nil
	}
	if len(f.Fixes) == 0 {
		fmt.Fprintln(e.out, "no corrections")
	}
	for i, x := range f.Fixes {
		fmt.Fprintf(e.out, "%d\t%s\n", i+1, x.Text())
	}
	return nil
}
