package book

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"

	"offtype/pipeline/record"
)

// Place says where a harvest's result folder lies on this computer and with which options its photos
// were measured, so that another program can go on there. It is never part of an export.
type Place struct {
	Result  string // folder, absolute
	Options RunOptions
}

// RunOptions are the options of a run that its numbers and verdicts depend on. Files are absolute.
type RunOptions struct {
	CardColours map[int]string `json:",omitempty"` // card number → file of its measured colours
	Camera      string         `json:",omitempty"` // lens file
	CardLength  float64        `json:",omitempty"` // mm that a ruler reads on the card's line
	Coin        float64        `json:",omitempty"` // mm
	ScaleLine   string         `json:",omitempty"`
	NoScale     bool           `json:",omitempty"`
	SameTable   bool           `json:",omitempty"` // the photos of a folder show one table
	Pose        string         `json:",omitempty"`
	Fixes       string         `json:",omitempty"` // folder of corrections
	MaxPixels   int            `json:",omitempty"`

	Groups, Plants       int      `json:",omitempty"`
	ItemIsPlant          bool     `json:",omitempty"`
	Controls             []string `json:",omitempty"`
	NotAssessable        []string `json:",omitempty"`
	Stage, Species       string   `json:",omitempty"`
	Standard, Acceptance float64  `json:",omitempty"`
}

// SetPlace notes where a harvest's result lies, in place of what was noted before.
//
// Errors: ErrNotFound when there is no such harvest.
func (b *Book) SetPlace(ctx context.Context, harvest string, p Place) error {
	options, err := json.Marshal(p.Options)
	if err != nil {
		return err
	}
	return b.write(ctx, func(tx *sql.Tx) error {
		hid, err := harvestID(ctx, tx, harvest)
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `INSERT INTO places (harvest_id, result, options, noted) VALUES (?, ?, ?, ?)
			ON CONFLICT (harvest_id) DO UPDATE SET result = excluded.result, options = excluded.options, noted = excluded.noted`, hid, p.Result, string(options), b.stamp())
		return err
	})
}

// PlaceOf returns where a harvest's result lies. Harvests that an older program recorded have none.
//
// Errors: ErrNotFound when there is no such harvest or no place was noted.
func (b *Book) PlaceOf(ctx context.Context, harvest string) (Place, error) {
	var p Place
	err := b.read(ctx, func(tx *sql.Tx) error {
		hid, err := harvestID(ctx, tx, harvest)
		if err != nil {
			return err
		}
		var options string
		err = tx.QueryRowContext(ctx, "SELECT result, options FROM places WHERE harvest_id = ?", hid).Scan(&p.Result, &options)
		if errors.Is(err, sql.ErrNoRows) {
			return fmt.Errorf("harvest %q: where its result lies was not noted: %w", harvest, ErrNotFound)
		}
		if err != nil {
			return err
		}
		return json.Unmarshal([]byte(options), &p.Options)
	})
	return p, err
}

// Photos lists the photos of the newest measurement with the places where they lay.
func (b *Book) Photos(ctx context.Context, harvest string) ([]record.Photo, error) {
	var run record.Run
	err := b.read(ctx, func(tx *sql.Tx) error {
		hid, err := harvestID(ctx, tx, harvest)
		if err != nil {
			return err
		}
		l := loader{tx: tx, run: &run}
		if l.rid, err = currentRun(ctx, tx, hid); err != nil {
			return err
		}
		return l.photos(ctx)
	})
	return run.Photos, err
}
