package book

import (
	"reflect"
	"strings"
	"unicode"

	"offtype/measure/geom"
	"offtype/pipeline/record"
)

// Trait names and units of the measured values, as in fruits.csv. Fields of record.Fruit that are
// not listed get a name made from the field's.
var traitOf = map[string][2]string{
	"Length":      {"length_mm", "mm"},
	"Width":       {"width_mm", "mm"},
	"Ratio":       {"ratio", ""},
	"Midline":     {"midline_mm", "mm"},
	"Bend":        {"bend_deg", "°"},
	"BroadestAt":  {"broadest_at", ""},
	"Volume":      {"volume_cm3", "cm³"},
	"Neck":        {"neck", ""},
	"Taper":       {"taper", ""},
	"Lopsided":    {"lopsided", ""},
	"SecondShare": {"second_share", ""},
	"GrooveDepth": {"groove_depth", ""},
	"Roughness":   {"roughness", ""},
	"StalkLength": {"stalk_mm", "mm"},
}

var (
	valueType = reflect.TypeFor[record.Value]()
	labType   = reflect.TypeFor[*record.Lab]()
	pointType = reflect.TypeFor[[]geom.Px]()
	fruitType = reflect.TypeFor[record.Fruit]()
)

// field is a field of record.Fruit that has a table of its own.
type field struct {
	index      int
	name, unit string
}

// The fields of record.Fruit by the table that holds them; typed columns are in ownColumns and
// all others go into the detail column.
var (
	valueFields  = fieldsOf(valueType)
	colourFields = fieldsOf(labType)
	pointFields  = fieldsOf(pointType)
	notInDetail  = elsewhere()
)

func fieldsOf(t reflect.Type) []field {
	var out []field
	for i := range fruitType.NumField() {
		f := fruitType.Field(i)
		if f.Type != t {
			continue
		}
		name, unit := snake(f.Name), ""
		if n, ok := traitOf[f.Name]; ok {
			name, unit = n[0], n[1]
		}
		out = append(out, field{i, name, unit})
	}
	return out
}

// elsewhere lists the fields of record.Fruit that are not part of the detail column.
func elsewhere() map[string]bool {
	m := map[string]bool{"Photo": true, "Number": true, "Plant": true, "X": true, "Y": true, "Pose": true, "Pattern": true, "Ribs": true, "Notes": true}
	for _, fs := range [][]field{valueFields, colourFields, pointFields} {
		for _, f := range fs {
			m[fruitType.Field(f.index).Name] = true
		}
	}
	return m
}

// snake turns a Go field name into a trait name: StalkLength → stalk_length.
func snake(s string) string {
	var b strings.Builder
	for i, r := range s {
		if unicode.IsUpper(r) && i > 0 && !unicode.IsUpper(rune(s[i-1])) {
			b.WriteByte('_')
		}
		b.WriteRune(unicode.ToLower(r))
	}
	return b.String()
}
