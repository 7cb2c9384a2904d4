package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"offtype/cluster/lot"
	"offtype/pipeline"
	"offtype/pipeline/book"
	"offtype/pipeline/gather"
	"offtype/pipeline/judge"
	"offtype/pipeline/record"
)

// recordFlags say in which book a run is recorded.
type recordFlags struct {
	Book    string `help:"Harvest book that records the run. Default: the book in your data folder." placeholder:"FILE"`
	Harvest string `help:"Record the run in the harvest book under this name." placeholder:"NAME"`
	Lot     string `help:"Seed lot of the harvest in the book." placeholder:"LOT"`
}

// plain checks what can be told before any photo is read.
func (c *recordFlags) plain() error {
	if c.Book != "" && c.Harvest == "" {
		return errors.New("--book needs --harvest NAME")
	}
	return nil
}

// known tells the judging what the book already knows of the harvest: which plants grew from which seed lot. It also says
// which control plants of the book the verdicts will count like the others. A book that is not there knows nothing; one
// that cannot be read is complained of when the run is recorded.
func (c *recordFlags) known(e *env, o *judge.Options) {
	if c.Harvest == "" {
		return
	}
	b, err := book.Open(e.ctx, c.Book, book.Options{MustExist: true})
	if err != nil {
		return
	}
	defer b.Close()
	h, err := b.Harvest(e.ctx, c.Harvest)
	if err != nil {
		return
	}
	var late []string
	o.Lots, late = gather.Lots(&h, c.Lot, o.Controls)
	if len(late) > 0 {
		fmt.Fprintf(e.err, "note: the book has %s as control, but without --control %s they are judged and counted like the others\n", record.NamedPlants(late, record.NamedAtMost), strings.Join(late, ","))
	}
}

// record stores a whole run in the harvest book, with full outlines, in one piece; without --harvest it does nothing.
func (c *recordFlags) record(e *env, res *pipeline.Result, j *judgeFlags) error {
	if c.Harvest == "" || len(res.Run.Fruits) == 0 || res.Stopped { // the book keeps whole harvests only
		return nil
	}
	b, err := book.Open(e.ctx, c.Book, book.Options{})
	if err != nil {
		return err
	}
	defer b.Close()
	full, err := res.Full()
	if err != nil {
		return err
	}
	if v := full.Judgement.Variety; v != nil && j.Variety != "" {
		text, err := os.ReadFile(j.Variety)
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
	if rec.NewLot != "" {
		fmt.Fprintln(e.err, record.Plain(fmt.Sprintf("seed lot %q was new to the book; add supplier and packet with: offtype book add lot %q", rec.NewLot, rec.NewLot)))
	}
	for _, l := range rec.Said {
		fmt.Fprintln(e.err, l)
	}
	for _, x := range rec.Twice {
		fmt.Fprintln(e.err, record.Plain(fmt.Sprintf("%s of this harvest stand in the book under harvest %q too; if it is the same harvest, give it that name with --harvest, so that its fruit are not counted twice", record.Count(x.Photos, "photo", "photos"), x.Harvest)))
	}
	if j.Stage != "" {
		if err := b.Set(e.ctx, "harvest", c.Harvest, map[string]string{"stage": j.Stage}); err != nil {
			return err
		}
	}
	result, err := filepath.Abs(res.Out)
	if err != nil {
		return err
	}
	return b.SetPlace(e.ctx, c.Harvest, book.Place{Result: result, Options: j.inBook(res.How)})
}

// inBook is how a result was made, so that offtype desk can open it and go on.
func (f *judgeFlags) inBook(how pipeline.Measuring) book.RunOptions {
	return book.RunOptions{
		CardColours: how.CardColours, Camera: how.CameraFile, CardLength: how.CardLength, Coin: how.CoinMM, ScaleLine: how.ScaleLine,
		NoScale: how.NoScale, SameTable: how.SameTable, Pose: how.Pose, Fixes: how.Fixes, MaxPixels: how.MaxPixels,
		Groups: f.Groups, Plants: f.Plants, ItemIsPlant: f.ItemIsPlant, Controls: f.Control, NotAssessable: f.NotAssessable,
		Stage: f.Stage, Species: f.Species, Standard: lot.FromPercent(f.Standard), Acceptance: lot.FromPercent(f.Acceptance),
	}
}
