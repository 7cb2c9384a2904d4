package book

import (
	"context"
	"database/sql"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"

	"offtype/pipeline/exchange"
)

// tableOrder lists the tables of the book so that each comes after those it points to, with a
// sentence for readers of an export. lots and plants point to each other (mother plants): lots
// come first and their parents are checked at the end of the import.
var tableOrder = []struct{ name, about string }{
	{"growers", "who grew it"},
	{"beds", "beds"},
	{"varieties", "varieties"},
	{"descriptions", "versions of the varieties' descriptions that verdicts used"},
	{"lots", "seed lots"},
	{"plantings", "sowings and plantings: lot, bed, season"},
	{"plants", "plants with their number"},
	{"pictures", "pictures that are looked at, not measured; the files are not part of an export"},
	{"harvests", "harvests"},
	{"harvest_plantings", "which plantings lie in which harvest"},
	{"runs", "each time a harvest was measured: program version, settings, finding on the lot"},
	{"photos", "photos by SHA-256"},
	{"fruits", "the fruit themselves: harvest, photo and first number"},
	{"measurements", "what a run found of a fruit"},
	{"traits", "measured traits with unit"},
	{"measured", "measured values with expanded uncertainty (k = 2)"},
	{"colours", "colours in CIELAB (D65, 2°) with uncertainty as ΔE00 (k = 2)"},
	{"outlines", "outlines in photo pixels, packed"},
	{"memberships", "groups"},
	{"verdicts", "verdicts with reasons"},
	{"corrections", "not in use: corrections of outlines lie beside the photos"},
	{"observations", "observations by hand"},
	{"decisions", "decisions by hand"},
	{"notes", "notes"},
}

// ExportOptions says what of the book to give out.
type ExportOptions struct {
	NoOutlines bool // leave out outlines: the fruit can then not be drawn or recognised by overlap
}

// Tables gives the whole book as tables, for any format of package exchange. Where the original
// photos lie on this computer is left out.
func (b *Book) Tables(ctx context.Context, opt ExportOptions) ([]exchange.Table, error) {
	var out []exchange.Table
	err := b.read(ctx, func(tx *sql.Tx) error {
		for _, t := range tableOrder {
			if opt.NoOutlines && t.name == "outlines" {
				continue
			}
			x, err := describe(ctx, tx, t.name, t.about)
			if err != nil {
				return err
			}
			if err := readTable(ctx, tx, &x); err != nil {
				return fmt.Errorf("table %s: %w", t.name, err)
			}
			out = append(out, x)
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("export book %q: %w", b.path, err)
	}
	return out, nil
}

// Layout gives the tables without rows, for reading an export.
func (b *Book) Layout(ctx context.Context) ([]exchange.Table, error) {
	var out []exchange.Table
	err := b.read(ctx, func(tx *sql.Tx) error {
		for _, t := range tableOrder {
			x, err := describe(ctx, tx, t.name, t.about)
			if err != nil {
				return err
			}
			out = append(out, x)
		}
		return nil
	})
	return out, err
}

// private columns never leave the computer.
func private(table, column string) bool {
	return table == "photos" && column == "path" || table == "pictures" && column == "file"
}

// describe reads the columns of a table from the database itself.
func describe(ctx context.Context, tx *sql.Tx, name, about string) (exchange.Table, error) {
	t := exchange.Table{Name: name, Title: about}
	err := each(ctx, tx, func(rows *sql.Rows) error {
		var cid, notNull, pk int
		var col, typ string
		var def sql.NullString
		if err := rows.Scan(&cid, &col, &typ, &notNull, &def, &pk); err != nil {
			return err
		}
		if private(name, col) {
			return nil
		}
		f := exchange.Field{Name: col, Required: notNull == 1 || pk > 0}
		switch typ {
		case "INTEGER":
			f.Type = exchange.Integer
		case "REAL":
			f.Type = exchange.Number
		case "BLOB":
			f.Type, f.Description = exchange.String, "base64"
		default:
			f.Type = exchange.String
			if dateColumns[col] {
				f.Type = exchange.Date
			}
		}
		if i := strings.LastIndexByte(col, '_'); i > 0 && unitSuffix[col[i+1:]] != "" {
			f.Unit = unitSuffix[col[i+1:]]
		}
		if pk > 0 {
			t.PrimaryKey = append(t.PrimaryKey, col)
		}
		t.Fields = append(t.Fields, f)
		return nil
	}, "SELECT cid, name, type, \"notnull\", dflt_value, pk FROM pragma_table_info(?) ORDER BY cid", name)
	if err != nil {
		return t, err
	}
	if len(t.Fields) == 0 {
		return t, fmt.Errorf("table %s: %w", name, ErrNotFound)
	}
	err = each(ctx, tx, func(rows *sql.Rows) error {
		var k exchange.ForeignKey
		if err := rows.Scan(&k.Field, &k.Resource, &k.Key); err != nil {
			return err
		}
		t.ForeignKeys = append(t.ForeignKeys, k)
		return nil
	}, "SELECT \"from\", \"table\", coalesce(\"to\", 'id') FROM pragma_foreign_key_list(?) ORDER BY id, seq", name)
	return t, err
}

var dateColumns = map[string]bool{"bought": true, "sown": true, "planted": true, "flowered": true, "first_ripe": true, "picked": true, "observed": true}

var unitSuffix = map[string]string{"m": "m", "g": "g", "mm": "mm", "px": "px"}

func readTable(ctx context.Context, tx *sql.Tx, t *exchange.Table) error {
	cols := make([]string, len(t.Fields))
	for i, f := range t.Fields {
		cols[i] = `"` + f.Name + `"`
	}
	order := strings.Join(t.PrimaryKey, ", ")
	row := make([]any, len(cols))
	ptr := make([]any, len(cols))
	for i := range row {
		ptr[i] = &row[i]
	}
	return each(ctx, tx, func(rows *sql.Rows) error {
		if err := rows.Scan(ptr...); err != nil {
			return err
		}
		out := make([]any, len(row))
		for i, v := range row {
			if raw, ok := v.([]byte); ok {
				out[i] = base64.StdEncoding.EncodeToString(raw)
			} else {
				out[i] = v
			}
		}
		t.Rows = append(t.Rows, out)
		return nil
	}, "SELECT "+strings.Join(cols, ", ")+" FROM "+t.Name+" ORDER BY "+order)
}

func hasField(t exchange.Table, name string) bool {
	for _, f := range t.Fields {
		if f.Name == name {
			return true
		}
	}
	return false
}

// Import fills an empty book with the tables of an export, in one transaction.
//
// A book that holds harvests or lots is refused: two books cannot be merged by row numbers.
func (b *Book) Import(ctx context.Context, tables []exchange.Table) error {
	err := b.write(ctx, func(tx *sql.Tx) error {
		for _, t := range []string{"harvests", "lots", "varieties", "growers"} {
			var n int
			if err := tx.QueryRowContext(ctx, "SELECT count(*) FROM "+t).Scan(&n); err != nil {
				return err
			}
			if n > 0 {
				return errors.New("the book is not empty; import into a new one with --book NEW.book")
			}
		}
		if _, err := tx.ExecContext(ctx, "PRAGMA defer_foreign_keys = on"); err != nil {
			return err
		}
		for _, t := range tables {
			if err := writeTable(ctx, tx, t); err != nil {
				return err
			}
		}
		return each(ctx, tx, func(rows *sql.Rows) error {
			var table, parent string
			var row sql.NullInt64
			var fk int
			if err := rows.Scan(&table, &row, &parent, &fk); err != nil {
				return err
			}
			return fmt.Errorf("table %q: row %d points to a row of %q that the import lacks", table, row.Int64, parent)
		}, "PRAGMA foreign_key_check")
	})
	if err != nil {
		return fmt.Errorf("import into book %q: %w", b.path, err)
	}
	return nil
}

func writeTable(ctx context.Context, tx *sql.Tx, t exchange.Table) error {
	known := false
	for _, k := range tableOrder {
		known = known || k.name == t.Name
	}
	if !known {
		return fmt.Errorf("table %q is not known", t.Name)
	}
	layout, err := describe(ctx, tx, t.Name, "")
	if err != nil {
		return err
	}
	var cols, marks []string
	for _, f := range t.Fields {
		if !hasField(layout, f.Name) {
			return fmt.Errorf("table %q: column %q is not known", t.Name, f.Name)
		}
		cols, marks = append(cols, `"`+f.Name+`"`), append(marks, "?")
	}
	if t.Name == "pictures" { // the file's place is private and is not in an export
		cols, marks = append(cols, "file"), append(marks, "''")
	}
	st, err := tx.PrepareContext(ctx, "INSERT INTO "+t.Name+" ("+strings.Join(cols, ", ")+") VALUES ("+strings.Join(marks, ", ")+")")
	if err != nil {
		return err
	}
	defer st.Close()
	for n, r := range t.Rows {
		args := append([]any(nil), r...)
		for i, f := range t.Fields {
			if f.Description != "base64" || args[i] == nil {
				continue
			}
			raw, err := base64.StdEncoding.DecodeString(args[i].(string))
			if err == nil {
				_, err = unpackPoints(raw)
			}
			if err != nil {
				return fmt.Errorf("table %q row %d: column %q: %w", t.Name, n+1, f.Name, err)
			}
			args[i] = raw
		}
		if _, err := st.ExecContext(ctx, args...); err != nil {
			return fmt.Errorf("table %q row %d: %w", t.Name, n+1, err)
		}
	}
	return nil
}
