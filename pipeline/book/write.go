package book

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"

	"offtype/measure/geom"
	"offtype/pipeline/record"
)

type querier interface {
	QueryContext(context.Context, string, ...any) (*sql.Rows, error)
	QueryRowContext(context.Context, string, ...any) *sql.Row
}

// insert runs an INSERT and returns the new row's id.
func insert(ctx context.Context, tx *sql.Tx, query string, args ...any) (int64, error) {
	res, err := tx.ExecContext(ctx, query, args...)
	if err != nil {
		return 0, err
	}
	return res.LastInsertId()
}

// number turns NaN into an empty cell: SQLite has no NaN.
func number(f float64) any {
	if math.IsNaN(f) {
		return nil
	}
	return f
}

// ribs turns "cannot be told" into an empty cell.
func ribs(n int) any {
	if n < 0 {
		return nil
	}
	return n
}

// fruitWriter writes fruit with prepared statements. Close it.
type fruitWriter struct {
	fruit, value, colour, outline *sql.Stmt
	trait                         map[string]int64
}

func newFruitWriter(ctx context.Context, tx *sql.Tx) (w *fruitWriter, err error) {
	w = &fruitWriter{trait: map[string]int64{}}
	defer func() {
		if err != nil {
			w.close()
		}
	}()
	for _, s := range []struct {
		to  **sql.Stmt
		sql string
	}{
		{&w.fruit, "INSERT INTO measurements (photo_id, fruit_id, seq, number, plant, x_px, y_px, pose, pattern, ribs, notes, detail) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"},
		{&w.value, "INSERT INTO measured (measurement_id, trait_id, value, u) VALUES (?, ?, ?, ?)"},
		{&w.colour, "INSERT INTO colours (measurement_id, part, l, a, b, u) VALUES (?, ?, ?, ?, ?, ?)"},
		{&w.outline, "INSERT INTO outlines (measurement_id, part, points) VALUES (?, ?, ?)"},
	} {
		if *s.to, err = tx.PrepareContext(ctx, s.sql); err != nil {
			return nil, err
		}
	}
	for _, f := range valueFields {
		var id int64
		err = tx.QueryRowContext(ctx, "SELECT id FROM traits WHERE name = ?", f.name).Scan(&id)
		if errors.Is(err, sql.ErrNoRows) {
			id, err = insert(ctx, tx, "INSERT INTO traits (name, unit) VALUES (?, ?)", f.name, f.unit)
		}
		if err != nil {
			return nil, err
		}
		w.trait[f.name] = id
	}
	return w, nil
}

func (w *fruitWriter) close() {
	for _, s := range []*sql.Stmt{w.fruit, w.value, w.colour, w.outline} {
		if s != nil {
			s.Close()
		}
	}
}

// put writes what was found of one fruit.
func (w *fruitWriter) put(ctx context.Context, photo, fruit int64, row fruitRow) error {
	f := row.f
	res, err := w.fruit.ExecContext(ctx, photo, fruit, row.seq, f.Number, f.Plant, number(f.X), number(f.Y), string(f.Pose), f.Pattern,
		ribs(f.Ribs), strings.Join(f.Notes, ";"), row.detail)
	if err != nil {
		return err
	}
	id, err := res.LastInsertId()
	if err != nil {
		return err
	}
	v := reflect.ValueOf(f).Elem()
	for _, c := range valueFields {
		x := v.Field(c.index).Interface().(record.Value)
		if math.IsNaN(x.V) && math.IsNaN(x.U) {
			continue
		}
		if _, err := w.value.ExecContext(ctx, id, w.trait[c.name], number(x.V), number(x.U)); err != nil {
			return fmt.Errorf("%s: %w", c.name, err)
		}
	}
	for _, c := range colourFields {
		x := v.Field(c.index).Interface().(*record.Lab)
		if x == nil {
			continue
		}
		if _, err := w.colour.ExecContext(ctx, id, c.name, number(x.L), number(x.A), number(x.B), number(x.U)); err != nil {
			return fmt.Errorf("colour %s: %w", c.name, err)
		}
	}
	for _, c := range pointFields {
		pts := v.Field(c.index).Interface().([]geom.Px)
		if pts == nil {
			continue
		}
		if _, err := w.outline.ExecContext(ctx, id, c.name, packPoints(pts)); err != nil {
			return fmt.Errorf("outline %s: %w", c.name, err)
		}
	}
	return nil
}

// ensureLot finds or makes the lot of the run; 0 when none was named.
func (r *recorder) ensureLot(ctx context.Context, tx *sql.Tx) (id int64, err error) {
	if r.lot == "" {
		return 0, nil
	}
	err = tx.QueryRowContext(ctx, "SELECT id FROM lots WHERE code = ?", r.lot).Scan(&id)
	if !errors.Is(err, sql.ErrNoRows) {
		return id, err
	}
	r.out.NewLot = r.lot
	return insert(ctx, tx, "INSERT INTO lots (code) VALUES (?)", r.lot)
}

// ensureHarvest finds or makes the harvest and its planting.
func (r *recorder) ensureHarvest(ctx context.Context, tx *sql.Tx, lot int64) (int64, error) {
	var id int64
	var have sql.NullInt64
	err := tx.QueryRowContext(ctx, "SELECT id, lot_id FROM harvests WHERE name = ?", r.harvest).Scan(&id, &have)
	if errors.Is(err, sql.ErrNoRows) {
		season, picked := r.season()
		id, err = insert(ctx, tx, "INSERT INTO harvests (name, season, picked, lot_id) VALUES (?, ?, ?, ?)", r.harvest, season, picked, ref(lot))
		if err != nil {
			return 0, err
		}
	} else if err != nil {
		return 0, err
	}
	if lot != 0 && have.Int64 != lot {
		if have.Valid {
			r.out.Said = append(r.out.Said, fmt.Sprintf("harvest %q now belongs to seed lot %q", r.harvest, r.lot))
		}
		if _, err := tx.ExecContext(ctx, "UPDATE harvests SET lot_id = ? WHERE id = ?", lot, id); err != nil {
			return 0, err
		}
		if _, err := tx.ExecContext(ctx, "UPDATE plantings SET lot_id = ? WHERE name = ? AND id IN (SELECT planting_id FROM harvest_plantings WHERE harvest_id = ?)", lot, r.harvest, id); err != nil {
			return 0, err
		}
	}
	return id, nil
}

// ref turns "none" into an empty reference.
func ref(id int64) any {
	if id == 0 {
		return nil
	}
	return id
}

// season takes the year and the day of the harvest from the first dated photo, or from a year in
// the harvest's name; both may be empty.
func (r *recorder) season() (year, day any) {
	for _, p := range r.run.Photos {
		if d := day10(p.Taken); d != "" {
			return yearOf(d), d
		}
	}
	return yearOf(r.harvest), nil
}

// day10 turns an Exif or ISO date and time into a date, or "" when it is none.
func day10(s string) string {
	if len(s) < 10 {
		return ""
	}
	d := strings.ReplaceAll(s[:10], ":", "-")
	for i, c := range d {
		if (i == 4 || i == 7) != (c == '-') || (c != '-' && (c < '0' || c > '9')) {
			return ""
		}
	}
	return d
}

// yearOf finds a year from 1900 to 2199 in s, nil when there is none.
func yearOf(s string) any {
	for i := 0; i+4 <= len(s); i++ {
		w := s[i : i+4]
		if strings.Trim(w, "0123456789") == "" && (w[:2] == "19" || w[:2] == "20" || w[:2] == "21") {
			n := 0
			fmt.Sscan(w, &n)
			return n
		}
	}
	return nil
}

// ensurePlants makes the plants whose tags were seen and which no planting of the harvest holds.
func (r *recorder) ensurePlants(ctx context.Context, tx *sql.Tx) error {
	for _, p := range r.plants() {
		if _, err := ensurePlant(ctx, tx, r.hid, p); err != nil {
			return fmt.Errorf("plant %s: %w", p, err)
		}
	}
	return nil
}

// ensurePlant finds the plant among the harvest's plantings, or makes it in the planting that
// bears the harvest's name.
func ensurePlant(ctx context.Context, tx *sql.Tx, harvest int64, number string) (int64, error) {
	var id int64
	err := tx.QueryRowContext(ctx, `SELECT p.id FROM plants p JOIN harvest_plantings h ON h.planting_id = p.planting_id
		WHERE h.harvest_id = ? AND p.number = ? ORDER BY p.id LIMIT 1`, harvest, number).Scan(&id)
	if !errors.Is(err, sql.ErrNoRows) {
		return id, err
	}
	var planting int64
	err = tx.QueryRowContext(ctx, "SELECT id FROM plantings WHERE name = (SELECT name FROM harvests WHERE id = ?)", harvest).Scan(&planting)
	if errors.Is(err, sql.ErrNoRows) {
		planting, err = insert(ctx, tx, "INSERT INTO plantings (name, season, lot_id) SELECT name, season, lot_id FROM harvests WHERE id = ?", harvest)
	}
	if err != nil {
		return 0, err
	}
	if _, err := tx.ExecContext(ctx, "INSERT OR IGNORE INTO harvest_plantings (harvest_id, planting_id) VALUES (?, ?)", harvest, planting); err != nil {
		return 0, err
	}
	if err := tx.QueryRowContext(ctx, "SELECT id FROM plants WHERE planting_id = ? AND number = ?", planting, number).Scan(&id); err == nil {
		return id, nil
	}
	return insert(ctx, tx, "INSERT INTO plants (planting_id, number) VALUES (?, ?)", planting, number)
}

// ensureDescription keeps which version of which variety's description the verdicts used.
func (r *recorder) ensureDescription(ctx context.Context, tx *sql.Tx) (any, error) {
	v := r.run.Judgement.Variety
	if v == nil || v.Name == "" {
		return nil, nil
	}
	if _, err := tx.ExecContext(ctx, "INSERT OR IGNORE INTO varieties (name, species) VALUES (?, ?)", v.Name, v.Species); err != nil {
		return nil, err
	}
	var variety, id int64
	if err := tx.QueryRowContext(ctx, "SELECT id FROM varieties WHERE name = ?", v.Name).Scan(&variety); err != nil {
		return nil, err
	}
	if _, err := tx.ExecContext(ctx, "UPDATE varieties SET species = ? WHERE id = ? AND species = ''", v.Species, variety); err != nil {
		return nil, err
	}
	if _, err := tx.ExecContext(ctx, "UPDATE lots SET variety_id = ? WHERE variety_id IS NULL AND id = (SELECT lot_id FROM harvests WHERE id = ?)", variety, r.hid); err != nil {
		return nil, err
	}
	err := tx.QueryRowContext(ctx, "SELECT id FROM descriptions WHERE variety_id = ? AND version = ? ORDER BY id DESC LIMIT 1", variety, v.Version).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		id, err = insert(ctx, tx, "INSERT INTO descriptions (variety_id, version, added) VALUES (?, ?, ?)", variety, v.Version, r.b.stamp())
	}
	return id, err
}

// AddDescription keeps the text of a version of a variety's description, so that a verdict can be
// checked years later. A run recorded afterwards with that variety and version points to it. The
// same text again changes nothing.
func (b *Book) AddDescription(ctx context.Context, variety, species, version, text string) error {
	sum := sha256.Sum256([]byte(text))
	err := b.write(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, "INSERT OR IGNORE INTO varieties (name, species) VALUES (?, ?)", variety, species); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `INSERT OR IGNORE INTO descriptions (variety_id, version, sha256, text, added) SELECT id, ?, ?, ?, ? FROM varieties WHERE name = ?`,
			version, hex.EncodeToString(sum[:]), text, b.stamp(), variety)
		return err
	})
	if err != nil {
		return fmt.Errorf("keep the description of %q, version %q: %w", variety, version, err)
	}
	return nil
}

// Description returns the text of the description that the newest verdicts of a harvest used, "" when
// none was kept.
func (b *Book) Description(ctx context.Context, harvest string) (text string, err error) {
	err = b.read(ctx, func(tx *sql.Tx) error {
		hid, err := harvestID(ctx, tx, harvest)
		if err != nil {
			return err
		}
		run, err := currentRun(ctx, tx, hid)
		if err != nil {
			return err
		}
		err = tx.QueryRowContext(ctx, "SELECT d.text FROM runs r JOIN descriptions d ON d.id = r.description_id WHERE r.id = ?", run).Scan(&text)
		if errors.Is(err, sql.ErrNoRows) {
			return nil
		}
		return err
	})
	return text, err
}
