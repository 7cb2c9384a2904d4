// Package exchange writes and reads tables in formats that other programs read: CSV, XLSX, JSON
// and the open Data Package (Frictionless, version 2) with the fields of MIAPPE 1.1.
//
// It knows nothing of the harvest book: it takes tables with typed columns and gives them back.
// Cells are nil (missing), string, int64, float64 or bool; dates are strings like 2026-10-03.
package exchange

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// Type of a column, by the names of the Data Package standard.
type Type string

// The types in use.
const (
	String   Type = "string"
	Integer  Type = "integer"
	Number   Type = "number"
	Boolean  Type = "boolean"
	Date     Type = "date"
	DateTime Type = "datetime"
)

// Field describes a column.
type Field struct {
	Name        string
	Type        Type
	Title       string // for people; also the field of an open standard that it holds
	Unit        string
	Description string
	Required    bool // never missing: an empty text is an empty text
	Enum        []string
}

// ForeignKey says that Field of this table holds values of the key of Resource.
type ForeignKey struct{ Field, Resource, Key string }

// Table is a table with typed columns.
type Table struct {
	Name        string // lower case, digits, "-" and "_"
	Title       string
	Description string
	Fields      []Field
	PrimaryKey  []string
	ForeignKeys []ForeignKey
	Rows        [][]any
}

// text writes a cell as text; nil gives "".
func text(v any) (string, error) {
	switch x := v.(type) {
	case nil:
		return "", nil
	case string:
		return x, nil
	case bool:
		return strconv.FormatBool(x), nil
	case int:
		return strconv.Itoa(x), nil
	case int64:
		return strconv.FormatInt(x, 10), nil
	case float64:
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return "", fmt.Errorf("%v cannot be written", x)
		}
		return strconv.FormatFloat(x, 'g', -1, 64), nil
	}
	return "", fmt.Errorf("a %T cannot be written", v)
}

// parse reads a cell of field f from text.
func parse(f Field, s string) (any, error) {
	if s == "" {
		if f.Required && f.Type == String {
			return "", nil
		}
		if f.Required {
			return nil, fmt.Errorf("column %q is empty; it needs a value", f.Name)
		}
		return nil, nil
	}
	switch f.Type {
	case Integer:
		n, err := strconv.ParseInt(s, 10, 64)
		if err != nil {
			return nil, fmt.Errorf("column %q: %q is not a whole number", f.Name, s)
		}
		return n, nil
	case Number:
		x, err := strconv.ParseFloat(s, 64)
		if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
			return nil, fmt.Errorf("column %q: %q is not a number", f.Name, s)
		}
		return x, nil
	case Boolean:
		switch strings.ToLower(s) {
		case "true", "1":
			return true, nil
		case "false", "0":
			return false, nil
		}
		return nil, fmt.Errorf("column %q: %q is neither true nor false", f.Name, s)
	case Date:
		if _, err := time.Parse(time.DateOnly, s); err != nil {
			return nil, fmt.Errorf("column %q: %q is not a date like 2026-10-03", f.Name, s)
		}
	}
	return s, nil
}

// guarded are the first characters that make a spreadsheet take a text for a formula.
const guarded = "=+-@\t\r"

// Guard puts an apostrophe before a text that a spreadsheet would take for a formula. A text that has the
// apostrophe of its own gets a second one, so that Unguard gives every text back.
func Guard(s string) string {
	if t := strings.TrimLeft(s, "'"); t != "" && strings.IndexByte(guarded, t[0]) >= 0 {
		return "'" + s
	}
	return s
}

// Unguard takes away the apostrophe that Guard put before a text.
func Unguard(s string) string {
	if t := strings.TrimLeft(s, "'"); strings.HasPrefix(s, "'") && t != "" && strings.IndexByte(guarded, t[0]) >= 0 {
		return s[1:]
	}
	return s
}

// ParseNumber reads a number written by hand, with a decimal point or a decimal comma. A number that could mean two
// things ("1,234", "1.234,5") is refused, and so are NaN and infinities.
func ParseNumber(s string) (float64, error) {
	c := strings.Count(s, ",")
	if c > 0 {
		after := s[strings.LastIndexByte(s, ',')+1:]
		if c > 1 || strings.Contains(s, ".") || (len(after) == 3 && !strings.HasPrefix(strings.TrimLeft(s, "+-"), "0,")) {
			return 0, fmt.Errorf("%q could mean two numbers; write it without a mark between thousands and with a point", s)
		}
		s = strings.Replace(s, ",", ".", 1)
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(x, 0) || math.IsNaN(x) {
		return 0, fmt.Errorf("%q is not a number", s)
	}
	return x, nil
}

// columns maps the table's fields to the places of a header; unknown names are an error, since a
// misspelt column would lose what it holds.
func columns(t Table, header []string) ([]int, error) {
	at := map[string]int{}
	for i, f := range t.Fields {
		at[f.Name] = i
	}
	out := make([]int, len(header))
	seen := map[string]bool{}
	for i, h := range header {
		h = strings.TrimSpace(strings.TrimPrefix(h, "\ufeff"))
		j, ok := at[h]
		if !ok {
			return nil, fmt.Errorf("table %q: column %q is not known", t.Name, h)
		}
		if seen[h] {
			return nil, fmt.Errorf("table %q: column %q is there twice", t.Name, h)
		}
		seen[h] = true
		out[i] = j
	}
	for _, f := range t.Fields {
		if f.Required && !seen[f.Name] {
			return nil, fmt.Errorf("table %q: column %q is missing", t.Name, f.Name)
		}
	}
	return out, nil
}
