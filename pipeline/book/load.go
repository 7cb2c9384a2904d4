package book

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"

	"offtype/pipeline/record"
)

// LoadOptions says what of a run to read.
type LoadOptions struct {
	Revision   int  // 0: the newest finished one
	NoOutlines bool // leave out outlines and drawn lines: faster
}

// LoadRun reads the newest measurement of a harvest as it was recorded.
//
// Errors: ErrNotFound when there is no such harvest or it was never measured.
func (b *Book) LoadRun(ctx context.Context, harvest string) (record.Run, error) {
	return b.LoadRunWith(ctx, harvest, LoadOptions{})
}

// LoadRunWith is LoadRun with options.
func (b *Book) LoadRunWith(ctx context.Context, harvest string, opt LoadOptions) (record.Run, error) {
	var run record.Run
	err := b.read(ctx, func(tx *sql.Tx) error {
		l := loader{tx: tx, opt: opt, run: &run}
		return l.all(ctx, harvest)
	})
	if err != nil {
		return record.Run{}, readError(harvest, err)
	}
	return run, nil
}

type loader struct {
	tx  *sql.Tx
	opt LoadOptions
	run *record.Run
	rid int64
	at  map[int64]int // measurement → index in run.Fruits
}

func (l *loader) all(ctx context.Context, harvest string) error {
	hid, err := harvestID(ctx, l.tx, harvest)
	if err != nil {
		return err
	}
	if l.opt.Revision > 0 {
		err = l.tx.QueryRowContext(ctx, "SELECT id FROM runs WHERE harvest_id = ? AND revision = ? AND finished IS NOT NULL", hid, l.opt.Revision).Scan(&l.rid)
		if errors.Is(err, sql.ErrNoRows) {
			return fmt.Errorf("revision %d: %w", l.opt.Revision, ErrNotFound)
		}
	} else if l.rid, err = currentRun(ctx, l.tx, hid); err == nil && l.rid == 0 {
		return fmt.Errorf("nothing was measured yet: %w; measure photos of harvest %q first", ErrNotFound, harvest)
	}
	if err != nil {
		return err
	}
	for _, f := range []func(context.Context) error{l.head, l.photos, l.fruits, l.values, l.colours, l.outlines, l.groups, l.verdicts} {
		if err := f(ctx); err != nil {
			return err
		}
	}
	return nil
}

// harvestID finds a harvest by name.
func harvestID(ctx context.Context, q querier, name string) (id int64, err error) {
	err = q.QueryRowContext(ctx, "SELECT id FROM harvests WHERE name = ?", name).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, fmt.Errorf("harvest %q: %w; offtype book show lists the harvests", name, ErrNotFound)
	}
	return id, err
}

func (l *loader) head(ctx context.Context) error {
	var settings, lot, detail, judgement string
	if err := l.tx.QueryRowContext(ctx, "SELECT program, settings, lot_finding, detail, judgement FROM runs WHERE id = ?", l.rid).
		Scan(&l.run.Program, &settings, &lot, &detail, &judgement); err != nil {
		return err
	}
	if err := json.Unmarshal([]byte(settings), &l.run.Settings); err != nil {
		return fmt.Errorf("settings: %w", err)
	}
	if err := decode(lot, &l.run.Judgement.Lot); err != nil {
		return fmt.Errorf("lot: %w", err)
	}
	if err := decode(judgement, &l.run.Judgement); err != nil {
		return fmt.Errorf("judgement: %w", err)
	}
	return decode(detail, l.run)
}

// each calls f for each row of a query.
func (l *loader) each(ctx context.Context, f func(*sql.Rows) error, query string, args ...any) error {
	return each(ctx, l.tx, f, query, args...)
}

func each(ctx context.Context, q querier, f func(*sql.Rows) error, query string, args ...any) error {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := f(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

func (l *loader) photos(ctx context.Context) error {
	return l.each(ctx, func(rows *sql.Rows) error {
		var p record.Photo
		var status, detail string
		if err := rows.Scan(&p.Name, &p.SHA256, &p.Path, &status, &p.Taken, &p.Make, &p.Model, &p.Message, &detail); err != nil {
			return err
		}
		p.Status = record.Status(status)
		if err := decode(detail, &p); err != nil {
			return fmt.Errorf("photo %q: %w", p.Name, err)
		}
		l.run.Photos = append(l.run.Photos, p)
		return nil
	}, "SELECT name, sha256, path, status, taken, make, model, message, detail FROM photos WHERE run_id = ? AND status <> 'listed' ORDER BY seq", l.rid)
}

func (l *loader) fruits(ctx context.Context) error {
	l.at = map[int64]int{}
	blank := record.Fruit{}
	v := reflect.ValueOf(&blank).Elem()
	for _, f := range valueFields {
		v.Field(f.index).Set(reflect.ValueOf(record.None()))
	}
	return l.each(ctx, func(rows *sql.Rows) error {
		f := blank
		var id int64
		var x, y sql.NullFloat64
		var n sql.NullInt64
		var pose, notes, detail string
		if err := rows.Scan(&id, &f.Photo, &f.Number, &f.Plant, &x, &y, &pose, &f.Pattern, &n, &notes, &detail); err != nil {
			return err
		}
		f.X, f.Y, f.Pose, f.Ribs = orNaN(x), orNaN(y), record.Pose(pose), -1
		if n.Valid {
			f.Ribs = int(n.Int64)
		}
		if notes != "" {
			f.Notes = strings.Split(notes, ";")
		}
		if err := decode(detail, &f); err != nil {
			return fmt.Errorf("fruit %d of %q: %w", f.Number, f.Photo, err)
		}
		l.at[id] = len(l.run.Fruits)
		l.run.Fruits = append(l.run.Fruits, f)
		return nil
	}, `SELECT m.id, p.name, m.number, m.plant, m.x_px, m.y_px, m.pose, m.pattern, m.ribs, m.notes, m.detail
		FROM measurements m JOIN photos p ON p.id = m.photo_id WHERE p.run_id = ? ORDER BY m.seq, m.id`, l.rid)
}

func orNaN(x sql.NullFloat64) float64 {
	if x.Valid {
		return x.Float64
	}
	return math.NaN()
}

// fruit returns the fruit of a measurement as a reflected struct.
func (l *loader) fruit(id int64) (reflect.Value, bool) {
	i, ok := l.at[id]
	if !ok {
		return reflect.Value{}, false
	}
	return reflect.ValueOf(&l.run.Fruits[i]).Elem(), true
}

func byName(fs []field) map[string]int {
	m := map[string]int{}
	for _, f := range fs {
		m[f.name] = f.index
	}
	return m
}

func (l *loader) values(ctx context.Context) error {
	to := byName(valueFields)
	return l.each(ctx, func(rows *sql.Rows) error {
		var id int64
		var name string
		var v, u sql.NullFloat64
		if err := rows.Scan(&id, &name, &v, &u); err != nil {
			return err
		}
		f, ok := l.fruit(id)
		i, known := to[name]
		if ok && known {
			f.Field(i).Set(reflect.ValueOf(record.Value{V: orNaN(v), U: orNaN(u)}))
		}
		return nil
	}, `SELECT v.measurement_id, t.name, v.value, v.u FROM photos p JOIN measurements m ON m.photo_id = p.id
		JOIN measured v ON v.measurement_id = m.id JOIN traits t ON t.id = v.trait_id WHERE p.run_id = ?`, l.rid)
}

func (l *loader) colours(ctx context.Context) error {
	to := byName(colourFields)
	return l.each(ctx, func(rows *sql.Rows) error {
		var id int64
		var part string
		var c [4]sql.NullFloat64
		if err := rows.Scan(&id, &part, &c[0], &c[1], &c[2], &c[3]); err != nil {
			return err
		}
		f, ok := l.fruit(id)
		i, known := to[part]
		if ok && known {
			f.Field(i).Set(reflect.ValueOf(&record.Lab{L: orNaN(c[0]), A: orNaN(c[1]), B: orNaN(c[2]), U: orNaN(c[3])}))
		}
		return nil
	}, `SELECT c.measurement_id, c.part, c.l, c.a, c.b, c.u FROM photos p JOIN measurements m ON m.photo_id = p.id
		JOIN colours c ON c.measurement_id = m.id WHERE p.run_id = ?`, l.rid)
}

func (l *loader) outlines(ctx context.Context) error {
	if l.opt.NoOutlines {
		return nil
	}
	to := byName(pointFields)
	return l.each(ctx, func(rows *sql.Rows) error {
		var id int64
		var part string
		var b []byte
		if err := rows.Scan(&id, &part, &b); err != nil {
			return err
		}
		f, ok := l.fruit(id)
		i, known := to[part]
		if !ok || !known {
			return nil
		}
		pts, err := unpackPoints(b)
		if err != nil {
			return err
		}
		f.Field(i).Set(reflect.ValueOf(pts))
		return nil
	}, `SELECT o.measurement_id, o.part, o.points FROM photos p JOIN measurements m ON m.photo_id = p.id
		JOIN outlines o ON o.measurement_id = m.id WHERE p.run_id = ?`, l.rid)
}

func (l *loader) groups(ctx context.Context) error {
	return l.each(ctx, func(rows *sql.Rows) error {
		var g record.Membership
		var p sql.NullFloat64
		if err := rows.Scan(&g.Photo, &g.Number, &g.Plant, &g.Group, &p, &g.Unsure, &g.Alone); err != nil {
			return err
		}
		g.Membership = orNaN(p)
		l.run.Groups = append(l.run.Groups, g)
		return nil
	}, "SELECT photo, fruit, plant, grp, membership, unsure, alone FROM memberships WHERE run_id = ? ORDER BY seq", l.rid)
}

func (l *loader) verdicts(ctx context.Context) error {
	j := &l.run.Judgement
	return l.each(ctx, func(rows *sql.Rows) error {
		var subject, detail string
		if err := rows.Scan(&subject, &detail); err != nil {
			return err
		}
		switch subject {
		case "fruit":
			return add(&j.Fruits, detail)
		case "group":
			return add(&j.Groups, detail)
		case "plant":
			return add(&j.Plants, detail)
		}
		return nil
	}, "SELECT subject, detail FROM verdicts WHERE run_id = ? ORDER BY subject, seq", l.rid)
}

// add decodes one entry onto the end of a list.
func add[T any](list *[]T, detail string) error {
	var v T
	if err := decode(detail, &v); err != nil {
		return err
	}
	*list = append(*list, v)
	return nil
}
