package book

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"path"
	"strconv"
	"strings"
	"time"
)

// Observation is something seen by hand on a fruit, a plant or a group.
type Observation struct {
	ID    int64
	Photo string // name in the newest measurement; with Fruit
	Fruit int    // number in the newest measurement, 0 when it is on a plant or group
	Plant string
	Group int

	Trait   string
	Value   *float64 // in Unit
	Words   string
	Unit    string
	Entered string // as it was written, with its own unit
	Date    string
	Day     string // Date, or where that is empty the day on which it was entered
	By      string
	Note    string
	Lost    string // why it could not follow its fruit, else empty
}

// Subject names what an observation or decision is about, in one of three ways:
// "table-1.jpg/3" or "3" (fruit; the bare number only where one photo has it), "plant 4", "group 2".
type Subject struct {
	Photo string
	Fruit int
	Plant string
	Group int
}

// ParseSubject reads a subject as growers write it.
func ParseSubject(s string) (Subject, error) {
	s = strings.TrimSpace(s)
	low := strings.ToLower(s)
	switch {
	case strings.HasPrefix(low, "plant"):
		if p := strings.Trim(s[5:], " :="); p != "" {
			return Subject{Plant: p}, nil
		}
	case strings.HasPrefix(low, "group"):
		if n, err := strconv.Atoi(strings.Trim(s[5:], " :=")); err == nil && n > 0 {
			return Subject{Group: n}, nil
		}
	default:
		i := strings.LastIndexAny(s, "/#")
		photo, num := "", s
		if i >= 0 {
			photo, num = s[:i], s[i+1:]
		}
		if n, err := strconv.Atoi(strings.TrimSpace(num)); err == nil && n > 0 {
			return Subject{Photo: photo, Fruit: n}, nil
		}
	}
	return Subject{}, fmt.Errorf("%q names no fruit, plant or group; write PHOTO/NUMBER, %q or %q", s, "plant 4", "group 2")
}

// AddObservation writes down what was observed, beside what stands there already. o.Value, o.Words and
// o.Unit come from the trait's Read; the weight of a fruit is compared with its volume, and a slip is
// refused unless force.
func (b *Book) AddObservation(ctx context.Context, harvest string, s Subject, trait, value, unit string, more Observation, force bool) error {
	_, err := b.observe(ctx, harvest, s, trait, value, unit, more, force, false)
	return err
}

// Observe writes down what was observed, as AddObservation, in place of an observation of the same subject, trait
// and day. One without a date counts for the day it was entered. It returns the replaced one as it was written, empty
// when there was none or it said the same. By and note of the replaced one stay where more leaves them empty. Two
// things are never replaced: the score of another named taster, and a finding that a fruit is bitter.
func (b *Book) Observe(ctx context.Context, harvest string, s Subject, trait, value, unit string, more Observation, force bool) (replaced string, err error) {
	return b.observe(ctx, harvest, s, trait, value, unit, more, force, true)
}

func (b *Book) observe(ctx context.Context, harvest string, s Subject, trait, value, unit string, more Observation, force, replace bool) (replaced string, err error) {
	t, err := HandTraitNamed(trait)
	if err != nil {
		return "", err
	}
	r, err := t.Read(value, unit)
	if err != nil {
		return "", err
	}
	if more.Date != "" {
		if _, err := time.Parse(time.DateOnly, more.Date); err != nil {
			return "", fmt.Errorf("%q is not a date; write 2026-11-02", more.Date)
		}
	}
	more.Trait, more.Entered = t.Name, strings.TrimSpace(value+" "+unit)
	err = b.write(ctx, func(tx *sql.Tx) error {
		hid, err := harvestID(ctx, tx, harvest)
		if err != nil {
			return err
		}
		fruit, plant, group, err := resolve(ctx, tx, hid, s)
		if err != nil {
			return err
		}
		if t.Name == "weight" && !force {
			if err := checkWeight(ctx, tx, hid, fruit, plant, *r.Value); err != nil {
				return err
			}
		}
		w := &benchWriter{b: b, tx: tx, harvest: hid, out: &BenchRead{}}
		if replace {
			old, found, err := w.sameDay(ctx, fruit, plant, group, more)
			if err != nil {
				return err
			}
			if found {
				if replaced, err = w.change(ctx, old, r, more); replaced == more.Entered {
					replaced = ""
				}
				return err
			}
		}
		return w.add(ctx, fruit, plant, group, r, more)
	})
	if err != nil {
		return "", fmt.Errorf("%s of %s in harvest %q: %w", t.Name, s, harvest, err)
	}
	return replaced, nil
}

// ErrSlip marks an observation refused as a likely slip of the pen.
var ErrSlip = errors.New("looks like a slip")

// checkWeight refuses the weight of a fruit that does not fit its measured volume, and one of a fruit without a measured
// volume or of a plant that is hardly ever seen. Without a scale a volume is none. A group may hold any number of fruit.
func checkWeight(ctx context.Context, tx *sql.Tx, harvest int64, fruit, plant any, grams float64) error {
	var v sql.NullFloat64
	if fruit != nil {
		err := tx.QueryRowContext(ctx, `SELECT CASE WHEN json_extract(m.detail, '$.Unscaled') THEN NULL ELSE d.value END FROM measurements m JOIN photos p ON p.id = m.photo_id JOIN runs r ON r.id = p.run_id
			JOIN measured d ON d.measurement_id = m.id JOIN traits t ON t.id = d.trait_id AND t.name = 'volume_cm3'
			WHERE m.fruit_id = ? AND r.harvest_id = ? AND r.finished IS NOT NULL ORDER BY r.revision DESC LIMIT 1`, fruit, harvest).Scan(&v)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
	}
	says := ""
	switch {
	case v.Float64 > 0:
		says = CheckWeight(grams, v.Float64)
	case fruit != nil:
		says = usualWeight("a fruit", grams, maxFruitG)
	case plant != nil:
		says = usualWeight("all fruit of a plant", grams, maxPlantG)
	}
	if says != "" {
		return fmt.Errorf("%w: %s; correct it", ErrSlip, says)
	}
	return nil
}

func textOrNil(s string) any {
	if s == "" {
		return nil
	}
	return s
}

func (s Subject) String() string {
	switch {
	case s.Plant != "":
		return "plant " + s.Plant
	case s.Group != 0:
		return fmt.Sprintf("group %d", s.Group)
	case s.Photo != "":
		return fmt.Sprintf("%s/%d", s.Photo, s.Fruit)
	}
	return fmt.Sprintf("fruit %d", s.Fruit)
}

// resolve finds the rows a subject names; exactly one of the three is not nil.
func resolve(ctx context.Context, tx *sql.Tx, harvest int64, s Subject) (fruit, plant, group any, err error) {
	switch {
	case s.Plant != "":
		id, err := ensurePlant(ctx, tx, harvest, s.Plant)
		return nil, id, nil, err
	case s.Group != 0:
		run, err := currentRun(ctx, tx, harvest)
		if err != nil {
			return nil, nil, nil, err
		}
		var n int
		if err := tx.QueryRowContext(ctx, "SELECT count(*) FROM memberships WHERE run_id = ? AND grp = ?", run, s.Group).Scan(&n); err != nil {
			return nil, nil, nil, err
		}
		if n == 0 {
			return nil, nil, nil, fmt.Errorf("group %d: %w", s.Group, ErrNotFound)
		}
		return nil, nil, s.Group, nil
	}
	id, err := findFruit(ctx, tx, harvest, s)
	return id, nil, nil, err
}

// findFruit finds a fruit of the newest measurement by photo and number. The photo may be named by
// its base name, with or without the ending, or be left out where only one photo has the number.
func findFruit(ctx context.Context, tx *sql.Tx, harvest int64, s Subject) (int64, error) {
	run, err := currentRun(ctx, tx, harvest)
	if err != nil {
		return 0, err
	}
	ids := map[string]int64{}
	var names []string
	err = each(ctx, tx, func(rows *sql.Rows) error {
		var name string
		var id int64
		if err := rows.Scan(&name, &id); err != nil {
			return err
		}
		if s.Photo == "" || s.Photo == name || s.Photo == path.Base(name) || s.Photo == strings.TrimSuffix(path.Base(name), path.Ext(name)) {
			if s.Photo == name {
				ids, names = map[string]int64{}, nil
			}
			if _, exact := ids[s.Photo]; !exact {
				ids[name] = id
				names = append(names, name)
			}
		}
		return nil
	}, "SELECT p.name, m.fruit_id FROM measurements m JOIN photos p ON p.id = m.photo_id WHERE p.run_id = ? AND m.number = ? ORDER BY p.seq", run, s.Fruit)
	if err != nil {
		return 0, err
	}
	switch len(names) {
	case 0:
		return 0, fmt.Errorf("%s: %w; look up photo and number in the report", s, ErrNotFound)
	case 1:
		return ids[names[0]], nil
	}
	return 0, fmt.Errorf("%d photos have a fruit %d (%s); write PHOTO/%d", len(names), s.Fruit, strings.Join(names, ", "), s.Fruit)
}

// AddDecision keeps what a person decided about a fruit, a plant or the whole harvest, apart from
// what was computed. kind: group, verdict, group name, plant, not assessable.
func (b *Book) AddDecision(ctx context.Context, harvest string, s Subject, kind, value, reason, by string) error {
	err := b.write(ctx, func(tx *sql.Tx) error {
		hid, err := harvestID(ctx, tx, harvest)
		if err != nil {
			return err
		}
		var fruit, plant any
		if s != (Subject{}) {
			if s.Group != 0 {
				return errors.New("a decision is about a fruit, a plant or the harvest")
			}
			if fruit, plant, _, err = resolve(ctx, tx, hid, s); err != nil {
				return err
			}
		}
		_, err = insert(ctx, tx, "INSERT INTO decisions (harvest_id, fruit_id, plant_id, kind, value, reason, made, made_by) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
			hid, fruit, plant, kind, value, reason, b.stamp(), by)
		return err
	})
	if err != nil {
		return fmt.Errorf("decision %q on %s in harvest %q: %w", kind, s, harvest, err)
	}
	return nil
}

// AddNote writes a note about an entry of a kind, or about the whole book (kind "book", no name).
func (b *Book) AddNote(ctx context.Context, kind, name, text, by string) error {
	if strings.TrimSpace(text) == "" {
		return errors.New("the note is empty")
	}
	return b.write(ctx, func(tx *sql.Tx) error {
		var id int64
		if kind != "book" {
			k, err := KindNamed(kind)
			if err != nil {
				return err
			}
			if id, err = entry(ctx, tx, k, name, false); err != nil {
				return err
			}
		}
		_, err := insert(ctx, tx, "INSERT INTO notes (subject, subject_id, text, made, made_by) VALUES (?, ?, ?, ?, ?)", kind, id, text, b.stamp(), by)
		return err
	})
}

// Remove takes back one observation, decision or note by its number.
func (b *Book) Remove(ctx context.Context, kind string, id int64) error {
	table, ok := map[string]string{"observation": "observations", "decision": "decisions", "note": "notes", "picture": "pictures"}[kind]
	if !ok {
		return fmt.Errorf("%q cannot be removed; observation, decision, note or picture can", kind)
	}
	return b.write(ctx, func(tx *sql.Tx) error {
		res, err := tx.ExecContext(ctx, "DELETE FROM "+table+" WHERE id = ?", id)
		if err != nil {
			return err
		}
		if n, err := res.RowsAffected(); err == nil && n == 0 {
			return fmt.Errorf("%s %d: %w", kind, id, ErrNotFound)
		}
		return nil
	})
}
