package book

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"offtype/pipeline/exchange"
	"offtype/pipeline/record"
)

// BenchTraits are the columns of the sheet that is filled in at the bench, with the unit to write in.
var BenchTraits = []struct{ Trait, Unit string }{
	{"weight", "g"}, {"rind_thumbnail", ""}, {"rind_force", "N"}, {"rind_thickness", "mm"}, {"flesh_thickness", "mm"}, {"flesh_colour", ""},
	{"brix", "°Bx"}, {"dry_matter", "%"}, {"seed_maturity", ""}, {"bitter", ""}, {"taste", "1–9"}, {"disease", ""}, {"keeping", "d"}, {"saved_seed", ""},
}

func benchHead(trait, unit string) string {
	if unit == "" {
		return trait
	}
	return trait + " (" + unit + ")"
}

// BenchTable gives the sheet for a harvest: a row for each fruit, then one for each plant and group,
// with empty columns for what is observed by hand.
func (b *Book) BenchTable(ctx context.Context, harvest string) (exchange.Table, error) {
	run, err := b.LoadRunWith(ctx, harvest, LoadOptions{NoOutlines: true})
	if err != nil {
		return exchange.Table{}, err
	}
	t := exchange.Table{Name: "bench", Title: "Observations by hand, harvest " + harvest}
	for _, f := range []string{"photo", "fruit", "plant", "group"} {
		t.Fields = append(t.Fields, exchange.Field{Name: f, Type: exchange.String})
	}
	for _, x := range BenchTraits {
		t.Fields = append(t.Fields, exchange.Field{Name: benchHead(x.Trait, x.Unit), Type: exchange.String})
	}
	for _, f := range []string{"date", "by", "note"} {
		t.Fields = append(t.Fields, exchange.Field{Name: f, Type: exchange.String})
	}
	add := func(photo, fruit, plant, group any) {
		row := make([]any, len(t.Fields))
		row[0], row[1], row[2], row[3] = photo, fruit, plant, group
		t.Rows = append(t.Rows, row)
	}
	var plants []string
	groups := map[int]bool{}
	for _, g := range run.Groups {
		groups[g.Group] = true
	}
	for _, f := range run.Fruits {
		add(f.Photo, strconv.Itoa(f.Number), f.Plant, nil)
		plants = append(plants, f.Plant)
	}
	for _, p := range record.SortedPlants(plants) {
		add(nil, nil, p, nil)
	}
	for _, g := range slices.Sorted(maps.Keys(groups)) {
		add(nil, nil, nil, strconv.Itoa(g))
	}
	return t, nil
}

// BenchRead says what became of a sheet.
type BenchRead struct {
	Added, Changed, Same int
	Problems             []string // a sentence a cell; the rest of the sheet was taken
}

// ReadBench writes the observations of a filled-in sheet (header first) into the book. Cells with a
// fault are listed and left out; the others are taken. An observation of the same trait, subject and day
// that is already there is changed to the new value, so that a corrected sheet can be read again.
func (b *Book) ReadBench(ctx context.Context, harvest string, rows [][]string, force bool) (BenchRead, error) {
	var out BenchRead
	if len(rows) == 0 {
		return out, errors.New("the sheet is empty; make one with offtype observe HARVEST --template FILE")
	}
	at, traits, err := benchColumns(rows[0])
	if err != nil {
		return out, err
	}
	cell := func(row []string, name string) string {
		if i, ok := at[name]; ok && i < len(row) {
			return strings.TrimSpace(row[i])
		}
		return ""
	}
	err = b.write(ctx, func(tx *sql.Tx) error {
		out = BenchRead{}
		hid, err := harvestID(ctx, tx, harvest)
		if err != nil {
			return err
		}
		w := &benchWriter{b: b, tx: tx, harvest: hid, traits: traits, force: force, out: &out}
		for n, row := range rows[1:] {
			if empty(row, traits) {
				continue
			}
			more := Observation{Date: exchange.SerialDate(cell(row, "date")), By: cell(row, "by"), Note: cell(row, "note")}
			s, err := benchSubject(cell(row, "photo"), cell(row, "fruit"), cell(row, "plant"), cell(row, "group"))
			if err == nil && more.Date != "" {
				_, err = fieldValue(ctx, tx, date("date", ""), more.Date)
			}
			if err != nil {
				out.Problems = append(out.Problems, fmt.Sprintf("row %d: %v", n+2, err))
				continue
			}
			if err := w.row(ctx, n+2, s, row, more); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return BenchRead{}, fmt.Errorf("read sheet into harvest %q: %w", harvest, err)
	}
	return out, nil
}

// benchTrait is a column of the sheet.
type benchTrait struct {
	col   int
	trait HandTrait
	unit  string
}

func benchColumns(head []string) (at map[string]int, traits []benchTrait, err error) {
	at = map[string]int{}
	for i, h := range head {
		h = strings.TrimSpace(h)
		name, unit, _ := strings.Cut(h, "(")
		name, unit = strings.TrimSpace(name), strings.TrimSuffix(strings.TrimSpace(unit), ")")
		switch name {
		case "":
		case "photo", "fruit", "plant", "group", "date", "by", "note":
			at[name] = i
		default:
			t, err := HandTraitNamed(name)
			if err != nil {
				return nil, nil, fmt.Errorf("column %q: %w", h, err)
			}
			traits = append(traits, benchTrait{i, t, unit})
		}
	}
	if len(traits) == 0 {
		return nil, nil, errors.New("no column names an observation; make a sheet with offtype observe HARVEST --template FILE")
	}
	return at, traits, nil
}

func empty(row []string, traits []benchTrait) bool {
	for _, t := range traits {
		if t.col < len(row) && strings.TrimSpace(row[t.col]) != "" {
			return false
		}
	}
	return true
}

func benchSubject(photo, fruit, plant, group string) (Subject, error) {
	switch {
	case fruit != "":
		n, err := strconv.Atoi(fruit)
		if err != nil || n < 1 {
			return Subject{}, fmt.Errorf("fruit %q is not a number", fruit)
		}
		return Subject{Photo: photo, Fruit: n}, nil
	case plant != "":
		return Subject{Plant: plant}, nil
	case group != "":
		n, err := strconv.Atoi(group)
		if err != nil || n < 1 {
			return Subject{}, fmt.Errorf("group %q is not a number", group)
		}
		return Subject{Group: n}, nil
	}
	return Subject{}, errors.New("names no fruit, plant or group")
}

// benchWriter writes the cells of a sheet into the book.
type benchWriter struct {
	b       *Book
	tx      *sql.Tx
	harvest int64
	traits  []benchTrait
	force   bool
	out     *BenchRead
}

// row writes the cells of one row; only database errors are returned.
func (w *benchWriter) row(ctx context.Context, line int, s Subject, cells []string, more Observation) error {
	fruit, plant, group, err := resolve(ctx, w.tx, w.harvest, s)
	if err != nil {
		w.out.Problems = append(w.out.Problems, fmt.Sprintf("row %d: %v", line, err))
		return nil
	}
	for _, t := range w.traits {
		if t.col >= len(cells) || strings.TrimSpace(cells[t.col]) == "" {
			continue
		}
		value, unit := strings.TrimSpace(cells[t.col]), t.unit
		if num, rest := splitNumber(value); rest != "" && num != "" && !t.trait.More {
			unit = "" // the cell says its own unit
		}
		r, err := t.trait.Read(value, unit)
		if err == nil && t.trait.Name == "weight" && !w.force {
			if err = checkWeight(ctx, w.tx, w.harvest, fruit, plant, *r.Value); err != nil && !errors.Is(err, ErrSlip) {
				return err
			}
		}
		if err != nil {
			w.out.Problems = append(w.out.Problems, fmt.Sprintf("row %d, %s: %v", line, s, err))
			continue
		}
		more.Trait, more.Entered = t.trait.Name, strings.TrimSpace(value+" "+unit)
		if err := w.cell(ctx, fruit, plant, group, r, more); err != nil {
			return err
		}
	}
	return nil
}

// cell writes one observation, over the one of the same subject, trait and day. By and note of that one stay where
// the sheet leaves them empty.
func (w *benchWriter) cell(ctx context.Context, fruit, plant, group any, r Reading, more Observation) error {
	var old Observation
	err := w.tx.QueryRowContext(ctx, `SELECT id, value, words, entered_as, coalesce(observed, ''), observer, note FROM observations WHERE harvest_id = ? AND fruit_id IS ? AND plant_id IS ? AND grp IS ? AND trait = ? AND observed IS ? ORDER BY id DESC LIMIT 1`,
		w.harvest, fruit, plant, group, more.Trait, textOrNil(more.Date)).Scan(&old.ID, &old.Value, &old.Words, &old.Entered, &old.Date, &old.By, &old.Note)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return w.add(ctx, fruit, plant, group, r, more)
	case err != nil:
		return err
	}
	_, err = w.change(ctx, old, r, more)
	return err
}

// sameDay finds the observation that one of the same subject, trait and day replaces.
func (w *benchWriter) sameDay(ctx context.Context, fruit, plant, group any, more Observation) (old Observation, found bool, err error) {
	today := w.b.now().Local().Format(time.DateOnly)
	err = each(ctx, w.tx, func(rows *sql.Rows) error {
		var o Observation
		var entered string
		if err := rows.Scan(&o.ID, &o.Value, &o.Words, &o.Entered, &o.Date, &entered, &o.By, &o.Note); err != nil {
			return err
		}
		switch {
		case found:
		case o.Date != more.Date && cmp.Or(o.Date, localDay(entered)) != cmp.Or(more.Date, today): // two without a date are one
		case more.Trait == "taste" && o.By != "" && more.By != "" && o.By != more.By: // each taster's score counts
		case more.Trait == "bitter" && o.Words == "yes": // holds until it is taken back from the book
		default:
			old, found = o, true
		}
		return nil
	}, `SELECT id, value, words, entered_as, coalesce(observed, ''), entered, observer, note FROM observations WHERE harvest_id = ? AND fruit_id IS ? AND plant_id IS ? AND grp IS ? AND trait = ? ORDER BY id DESC`,
		w.harvest, fruit, plant, group, more.Trait)
	return old, found, err
}

// localDay is the day here of a time as the book writes it.
func localDay(stamp string) string {
	t, err := time.Parse(time.RFC3339, stamp)
	if err != nil {
		return day10(stamp)
	}
	return t.Local().Format(time.DateOnly)
}

func (w *benchWriter) add(ctx context.Context, fruit, plant, group any, r Reading, more Observation) error {
	w.out.Added++
	_, err := insert(ctx, w.tx, `INSERT INTO observations (harvest_id, fruit_id, plant_id, grp, trait, value, words, unit, entered_as, observed, observer, note, entered)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`, w.harvest, fruit, plant, group, more.Trait, r.Value, r.Words, r.Unit, more.Entered, textOrNil(more.Date), more.By, more.Note, w.b.stamp())
	return err
}

// change writes the new values over an observation and returns what stood there, empty where nothing changed.
func (w *benchWriter) change(ctx context.Context, old Observation, r Reading, more Observation) (was string, err error) {
	by, note := cmp.Or(more.By, old.By), cmp.Or(more.Note, old.Note)
	same := old.Words == r.Words && (old.Value == nil) == (r.Value == nil) && (r.Value == nil || *r.Value == *old.Value)
	if same && by == old.By && note == old.Note {
		w.out.Same++
		return "", nil
	}
	w.out.Changed++
	if !same {
		was = old.Entered
	}
	_, err = w.tx.ExecContext(ctx, "UPDATE observations SET value = ?, words = ?, unit = ?, entered_as = ?, observed = ?, observer = ?, note = ?, entered = ? WHERE id = ?",
		r.Value, r.Words, r.Unit, more.Entered, textOrNil(cmp.Or(more.Date, old.Date)), by, note, w.b.stamp(), old.ID)
	return was, err
}
