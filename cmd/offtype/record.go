package main

import (
	"fmt"
	"os"
	"path/filepath"

	"offtype/pipeline"
	"offtype/pipeline/book"
	"offtype/pipeline/record"
)

// recordInBook stores the run in the harvest book, with full outlines, in one piece.
func recordInBook(e *env, c *runCmd, res *pipeline.Result) error {
	b, err := book.Open(e.ctx, c.Book, book.Options{})
	if err != nil {
		return err
	}
	defer b.Close()
	full, err := res.Full()
	if err != nil {
		return err
	}
	if v := full.Judgement.Variety; v != nil && c.Variety != "" {
		text, err := os.ReadFile(c.Variety)
		if err != nil {
			return fmt.Errorf("keep the variety's description in the book: %w", err)
		}
		if err := b.AddDescription(e.ctx, v.Name, v.Species, v.Version, string(text)); err != nil {
			return err
		}
	}
	full.Photos = append([]record.Photo(nil), full.Photos...)
	for i := range full.Photos { // the book is read from any folder
		if p := &full.Photos[i]; p.Path != "" {
			if abs, err := filepath.Abs(p.Path); err == nil {
				p.Path = abs
			}
		}
	}
	rec, err := b.RecordRun(e.ctx, c.Harvest, c.Lot, *full)
	if err != nil {
		return fmt.Errorf("record harvest %q in the book: %w", c.Harvest, err)
	}
	for _, l := range rec.Said {
		fmt.Fprintln(e.err, l)
	}
	if c.Stage != "" {
		if err := b.Set(e.ctx, "harvest", c.Harvest, map[string]string{"stage": c.Stage}); err != nil {
			return err
		}
	}
	place, err := c.place()
	if err != nil {
		return err
	}
	return b.SetPlace(e.ctx, c.Harvest, place)
}

// place is where the result lies and how it was made, so that offtype desk can open it and go on.
func (c *runCmd) place() (book.Place, error) {
	o := book.RunOptions{
		CardLength: c.CardLength, Coin: c.Coin, ScaleLine: c.ScaleLine, NoScale: c.NoScale, SameTable: c.SameTable, MaxPixels: c.MaxMP * 1_000_000,
		Groups: c.Groups, Plants: c.Plants, ItemIsPlant: c.ItemIsPlant, Controls: c.Control, NotAssessable: c.NotAssessable,
		Stage: c.Stage, Species: c.Species, Standard: c.Standard / 100, Acceptance: c.Acceptance / 100,
	}
	if c.Pose != "auto" {
		o.Pose = c.Pose
	}
	p := book.Place{Result: c.Out, Options: o}
	files := map[*string]string{&p.Result: c.Out, &p.Options.Camera: c.Camera, &p.Options.Fixes: c.Fixes}
	for to, name := range files {
		if name == "" {
			continue
		}
		abs, err := filepath.Abs(name)
		if err != nil {
			return p, err
		}
		*to = abs
	}
	for _, s := range c.CardColours { // checked by options
		n, file, err := numbered("--card-colours", s)
		if err != nil {
			return p, err
		}
		if file, err = filepath.Abs(file); err != nil {
			return p, err
		}
		if p.Options.CardColours == nil {
			p.Options.CardColours = map[int]string{}
		}
		p.Options.CardColours[n] = file
	}
	return p, nil
}
