package book

import (
	"context"
	"database/sql"
	"sort"
	"time"
)

// Note is a note with the number that Remove takes it back by.
type Note struct {
	ID            int64
	Kind, Name    string // what it is about; no name: the whole book
	Text          string
	Made, Written string // when, and by whom
}

// Day is the day on which the note was written, where the computer is now; the book keeps UTC.
func (n Note) Day() string {
	t, err := time.Parse(time.RFC3339, n.Made)
	if err != nil {
		return day10(n.Made)
	}
	return t.Local().Format(time.DateOnly)
}

// noteNames gives the name of what each kind of note is about.
const noteNames = `CASE n.subject
	WHEN 'grower' THEN (SELECT name FROM growers WHERE id = n.subject_id)
	WHEN 'bed' THEN (SELECT name FROM beds WHERE id = n.subject_id)
	WHEN 'variety' THEN (SELECT name FROM varieties WHERE id = n.subject_id)
	WHEN 'lot' THEN (SELECT code FROM lots WHERE id = n.subject_id)
	WHEN 'planting' THEN (SELECT name FROM plantings WHERE id = n.subject_id)
	WHEN 'plant' THEN (SELECT g.name || '/' || p.number FROM plants p JOIN plantings g ON g.id = p.planting_id WHERE p.id = n.subject_id)
	WHEN 'harvest' THEN (SELECT name FROM harvests WHERE id = n.subject_id)
	END`

// Notes lists all notes of the book, oldest first.
func (b *Book) Notes(ctx context.Context) ([]Note, error) {
	var out []Note
	err := b.read(ctx, func(tx *sql.Tx) error {
		return each(ctx, tx, func(rows *sql.Rows) error {
			var n Note
			if err := rows.Scan(&n.ID, &n.Kind, &n.Name, &n.Text, &n.Made, &n.Written); err != nil {
				return err
			}
			out = append(out, n)
			return nil
		}, "SELECT n.id, n.subject, coalesce("+noteNames+", ''), n.text, n.made, n.made_by FROM notes n ORDER BY n.id")
	})
	return out, err
}

// NotesOn returns the notes about a harvest, its lots and its plants, oldest first.
func (h *Harvest) NotesOn(all []Note) []Note {
	about := map[[2]string]bool{{"harvest", h.Name}: true}
	for _, l := range h.Lots {
		about[[2]string{"lot", l.Code}] = true
		about[[2]string{"variety", l.Variety}] = l.Variety != ""
	}
	for _, p := range h.Plants {
		about[[2]string{"plant", p.Planting + "/" + p.Number}] = true
		about[[2]string{"planting", p.Planting}] = true
	}
	if h.Grower != nil {
		about[[2]string{"grower", h.Grower.Name}] = true
	}
	var out []Note
	for _, n := range all {
		if about[[2]string{n.Kind, n.Name}] {
			out = append(out, n)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].ID < out[j].ID })
	return out
}

// PictureOf is a picture with what it shows.
type PictureOf struct {
	Picture
	Of string // lot CODE or plant PLANTING/NUMBER
}

// Pictures lists all pictures of the book, oldest entry first.
func (b *Book) Pictures(ctx context.Context) ([]PictureOf, error) {
	var out []PictureOf
	err := b.read(ctx, func(tx *sql.Tx) error {
		return each(ctx, tx, func(rows *sql.Rows) error {
			var p PictureOf
			if err := rows.Scan(&p.ID, &p.File, &p.SHA256, &p.Kind, &p.Taken, &p.Note, &p.Of); err != nil {
				return err
			}
			out = append(out, p)
			return nil
		}, `SELECT x.id, x.file, x.sha256, x.kind, coalesce(x.taken, ''), x.note,
			coalesce('lot ' || l.code, 'plant ' || g.name || '/' || p.number, '') FROM pictures x LEFT JOIN lots l ON l.id = x.lot_id
			LEFT JOIN plants p ON p.id = x.plant_id LEFT JOIN plantings g ON g.id = p.planting_id ORDER BY x.id`)
	})
	return out, err
}
