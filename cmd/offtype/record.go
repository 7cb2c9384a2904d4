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
	return nil
}
