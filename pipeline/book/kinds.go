package book

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"offtype/pipeline/exchange"
	"offtype/pipeline/record"
)

// Field is one thing that can be written down about a lot, a plant, a bed …
type Field struct {
	Name   string
	Type   string   // text, number, whole number, date, yes/no, choice, or the kind it names
	Unit   string   // m, g …
	Choice []string // for a choice
	Help   string
	column string
	empty  bool // of a choice: may be left empty, which is kept as such
}

// Kind is a sort of entry that a grower makes by hand.
type Kind struct {
	Name   string
	Key    string // what the name of an entry is, for help
	Fields []Field
	table  string
	key    string // column that names the entry
}

func text(name, help string) Field { return Field{Name: name, Type: "text", Help: help, column: name} }
func date(name, help string) Field { return Field{Name: name, Type: "date", Help: help, column: name} }
func count(name, help string) Field {
	return Field{Name: name, Type: "whole number", Help: help, column: name}
}
func quantity(name, unit, help string) Field {
	return Field{Name: name, Type: "number", Unit: unit, Help: help, column: name}
}
func choice(name, help string, of ...string) Field {
	return Field{Name: name, Type: "choice", Choice: of, Help: help, column: name}
}
func names(kind, help string) Field {
	return Field{Name: kind, Type: kind, Help: help, column: kind + "_id"}
}

var pollinations = []string{"open", "hand, closed", "caged", "unknown"}

// Kinds are the entries that Set makes and changes.
var Kinds = []Kind{
	{Name: "grower", Key: "name", table: "growers", key: "name", Fields: []Field{
		text("place", "village or region, as coarse as you like"), text("country", "two-letter code, for exchange"), text("contact", "shown only where you put it"), text("note", "")}},
	{Name: "bed", Key: "name", table: "beds", key: "name", Fields: []Field{
		names("grower", "whose bed"), quantity("length_m", "m", ""), quantity("width_m", "m", ""), text("soil", ""), text("note", "")}},
	{Name: "variety", Key: "name", table: "varieties", key: "name", Fields: []Field{
		text("species", "botanical name, such as Cucurbita moschata"), choice("protected", "plant variety right", "yes", "no", "unknown"), text("note", "")}},
	{Name: "lot", Key: "code of your own", table: "lots", key: "code", Fields: []Field{
		names("variety", ""), text("supplier", ""), text("supplier_lot", "lot number printed on the packet"), date("bought", ""), text("packet", "what the packet says"),
		count("seeds_sown", ""), count("seeds_germinated", ""), date("sown", ""), choice("origin", "", "own", "bought", "gift", "unknown"),
		choice("kind", "", "open-pollinated", "F1 hybrid", "population", "unknown"), text("generation", "such as F2, or year of the first saving"),
		{Name: "mother", Type: "plant", Help: "PLANTING/NUMBER", column: "mother_id"}, {Name: "father", Type: "plant", Help: "PLANTING/NUMBER", column: "father_id"},
		quantity("isolation_m", "m", "distance kept to the next flowering plant of the species"), choice("pollination", "how the seed was made", pollinations...),
		text("seed_left", "seed kept back, sealed: how much and where"), text("note", "")}},
	{Name: "planting", Key: "name", table: "plantings", key: "name", Fields: []Field{
		count("season", "year"), names("lot", ""), names("bed", ""), date("sown", ""), date("planted", ""), count("plants_set", ""),
		quantity("isolation_m", "m", "distance to the next flowering plant of the species"), text("note", "")}},
	{Name: "plant", Key: "PLANTING/NUMBER", table: "plants", key: "number", Fields: []Field{
		names("lot", "only where it differs from the planting's"), {Name: "control", Type: "yes/no", Help: "same variety, other seed, same bed and sowing", column: "control"},
		text("habit", "bush, semi-trailing, trailing"), text("leaf", ""), text("disease", ""), text("fate", "fruited, no fruit, died, rogued before flowering"),
		date("flowered", ""), date("first_ripe", ""), count("fruit_count", ""), count("ripe_count", ""), quantity("weight_g", "g", "all fruit of the plant"),
		choice("pollination", "of the fruit kept for seed", pollinations...), text("note", "")}},
	{Name: "harvest", Key: "name", table: "harvests", key: "name", Fields: []Field{
		count("season", "year"), date("picked", ""), {Name: "stage", Type: "choice", Choice: []string{"young", "at harvest", "cured", "stored"}, column: "stage", empty: true}, names("grower", ""), names("lot", ""), text("note", "")}},
}

// KindNamed returns a kind, or an error that lists them.
func KindNamed(name string) (Kind, error) {
	var all []string
	for _, k := range Kinds {
		if k.Name == name {
			return k, nil
		}
		all = append(all, k.Name)
	}
	return Kind{}, fmt.Errorf("no entries of kind %q; there are: %s", name, strings.Join(all, ", "))
}

// Set makes the entry or changes the named fields of it; an empty value clears a field. A plant
// is named PLANTING/NUMBER, and a planting made by a harvest has the harvest's name.
func (b *Book) Set(ctx context.Context, kind, name string, fields map[string]string) error {
	k, err := KindNamed(kind)
	if err != nil {
		return err
	}
	err = b.write(ctx, func(tx *sql.Tx) error {
		id, err := entry(ctx, tx, k, name, true)
		if err != nil {
			return err
		}
		for _, f := range slices.Sorted(maps.Keys(fields)) {
			if err := setField(ctx, tx, k, id, f, strings.TrimSpace(fields[f])); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("%s %q: %w", kind, name, err)
	}
	return nil
}

// entry finds the row of an entry, and makes it when create is set.
func entry(ctx context.Context, tx *sql.Tx, k Kind, name string, create bool) (int64, error) {
	name = strings.TrimSpace(name)
	if name == "" {
		return 0, fmt.Errorf("no name given; a %s is named by its %s", k.Name, k.Key)
	}
	if k.Name == "plant" {
		return plantEntry(ctx, tx, name, create)
	}
	var id int64
	err := tx.QueryRowContext(ctx, "SELECT id FROM "+k.table+" WHERE "+k.key+" = ?", name).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		if !create {
			return 0, fmt.Errorf("%s %q: %w; add it with: offtype book add %s %q", k.Name, name, ErrNotFound, k.Name, name)
		}
		return insert(ctx, tx, "INSERT INTO "+k.table+" ("+k.key+") VALUES (?)", name)
	}
	return id, err
}

func plantEntry(ctx context.Context, tx *sql.Tx, name string, create bool) (int64, error) {
	i := strings.LastIndexByte(name, '/')
	if i <= 0 || i == len(name)-1 {
		return 0, fmt.Errorf("%q does not name a plant; write PLANTING/NUMBER, such as %q", name, "squash 2026/3")
	}
	planting, _ := KindNamed("planting")
	pid, err := entry(ctx, tx, planting, name[:i], false)
	if err != nil {
		return 0, err
	}
	var id int64
	err = tx.QueryRowContext(ctx, "SELECT id FROM plants WHERE planting_id = ? AND number = ?", pid, name[i+1:]).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		if !create {
			return 0, fmt.Errorf("plant %q: %w; add it with: offtype book add plant %q", name, ErrNotFound, name)
		}
		return insert(ctx, tx, "INSERT INTO plants (planting_id, number) VALUES (?, ?)", pid, name[i+1:])
	}
	return id, err
}

func setField(ctx context.Context, tx *sql.Tx, k Kind, id int64, name, value string) error {
	if k.Name == "harvest" && name == "planting" {
		return linkPlanting(ctx, tx, id, value)
	}
	for _, f := range k.Fields {
		if f.Name != name {
			continue
		}
		v, err := fieldValue(ctx, tx, f, value)
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		if _, err = tx.ExecContext(ctx, "UPDATE "+k.table+" SET "+f.column+" = ? WHERE id = ?", v, id); err != nil {
			return fmt.Errorf("%s = %q does not fit the other fields: %w", name, value, err)
		}
		return nil
	}
	var have []string
	for _, f := range k.Fields {
		have = append(have, f.Name)
	}
	return fmt.Errorf("there is no field %q; a %s has: %s", name, k.Name, strings.Join(have, ", "))
}

// linkPlanting says that fruit of a planting lie in the harvest.
func linkPlanting(ctx context.Context, tx *sql.Tx, harvest int64, planting string) error {
	k, _ := KindNamed("planting")
	id, err := entry(ctx, tx, k, planting, false)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, "INSERT OR IGNORE INTO harvest_plantings (harvest_id, planting_id) VALUES (?, ?)", harvest, id)
	return err
}

// fieldValue turns text into what the column holds.
func fieldValue(ctx context.Context, tx *sql.Tx, f Field, s string) (any, error) {
	switch f.Type {
	case "text":
		return s, nil
	case "choice":
		if s == "" {
			if f.empty {
				return "", nil
			}
			s = "unknown"
		}
		for _, c := range f.Choice {
			if s == c {
				return s, nil
			}
		}
		return nil, fmt.Errorf("%q is none of: %s", s, strings.Join(f.Choice, "; "))
	}
	if s == "" {
		return nil, nil
	}
	switch f.Type {
	case "date":
		if _, err := time.Parse(time.DateOnly, s); err != nil {
			return nil, fmt.Errorf("%q is not a date; write 2026-05-14", s)
		}
		return s, nil
	case "number":
		x, err := exchange.ParseNumber(strings.TrimSpace(strings.TrimSuffix(s, f.Unit)))
		if err != nil {
			return nil, err
		}
		return x, nil
	case "whole number":
		n, err := strconv.Atoi(s)
		if err != nil || n < 0 {
			return nil, fmt.Errorf("%q is not a whole number", s)
		}
		return n, nil
	case "yes/no":
		switch strings.ToLower(s) {
		case "yes", "1", "true":
			return 1, nil
		case "no", "0", "false":
			return 0, nil
		}
		return nil, fmt.Errorf("%q is neither yes nor no", s)
	}
	k, err := KindNamed(f.Type)
	if err != nil {
		return nil, err
	}
	return entry(ctx, tx, k, s, false)
}

// PictureKinds are the kinds of picture that AddPicture takes.
var PictureKinds = []string{"packet front", "packet back", "row", "leaf", "flower", "vine", "cut fruit", "other"}

// AddPicture notes a picture that is looked at, not measured. Exactly one of lot and plant
// (PLANTING/NUMBER) is named. The file stays where it is; its SHA-256 is kept, so that a later
// change shows.
func (b *Book) AddPicture(ctx context.Context, file, kind, lot, plant, taken, note string) error {
	sum, err := record.FileSHA256(file)
	if err != nil {
		return fmt.Errorf("picture %q: %w", file, err)
	}
	full, err := filepath.Abs(file)
	if err != nil {
		return fmt.Errorf("picture %q: %w", file, err)
	}
	err = b.write(ctx, func(tx *sql.Tx) error {
		var lid, pid any
		if lot != "" {
			k, _ := KindNamed("lot")
			if lid, err = entry(ctx, tx, k, lot, false); err != nil {
				return err
			}
		}
		if plant != "" {
			if pid, err = plantEntry(ctx, tx, plant, false); err != nil {
				return err
			}
		}
		if (lid == nil) == (pid == nil) {
			return errors.New("name either the lot or the plant it shows")
		}
		if _, err := fieldValue(ctx, tx, choice("kind", "", PictureKinds...), kind); err != nil {
			return fmt.Errorf("kind: %w", err)
		}
		day, err := fieldValue(ctx, tx, date("taken", ""), taken)
		if err != nil {
			return fmt.Errorf("taken: %w", err)
		}
		_, err = insert(ctx, tx, "INSERT INTO pictures (file, sha256, kind, taken, lot_id, plant_id, note) VALUES (?, ?, ?, ?, ?, ?, ?)", full, sum, kind, day, lid, pid, note)
		return err
	})
	if err != nil {
		return fmt.Errorf("picture %q: %w", file, err)
	}
	return nil
}
