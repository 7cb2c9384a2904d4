package report

import (
	"fmt"
	"math"

	"offtype/cluster/reference"
	"offtype/pipeline/record"
)

// trait is a measured trait as the report shows it.
type trait struct {
	key      string
	unit     string
	decimals int
	of       func(*record.Fruit) record.Value
	expect   func(*reference.Traits) *reference.Range
	plot     bool // has a dot plot
}

func fruitRibs(f *record.Fruit) record.Value {
	if f.Ribs < 0 {
		return record.None()
	}
	return record.Value{V: float64(f.Ribs), U: math.NaN()}
}

// traits in the order of the sheets; their names are in the texts, under the key.
var traits = []trait{
	{"length", "mm", 0, func(f *record.Fruit) record.Value { return f.Length }, func(t *reference.Traits) *reference.Range { return t.Length }, true},
	{"width", "mm", 0, func(f *record.Fruit) record.Value { return f.Width }, func(t *reference.Traits) *reference.Range { return t.Width }, true},
	{"ratio", "", 2, func(f *record.Fruit) record.Value { return f.Ratio }, func(t *reference.Traits) *reference.Range { return t.Ratio }, true},
	{"midline", "mm", 0, func(f *record.Fruit) record.Value { return f.Midline }, func(t *reference.Traits) *reference.Range { return t.Midline }, false},
	{"volume", "cm³", 0, func(f *record.Fruit) record.Value { return f.Volume }, func(t *reference.Traits) *reference.Range { return t.Volume }, true},
	{"broadest", "", 2, func(f *record.Fruit) record.Value { return f.BroadestAt }, func(t *reference.Traits) *reference.Range { return t.Broadest }, true},
	{"neck", "", 2, func(f *record.Fruit) record.Value { return f.Neck }, func(t *reference.Traits) *reference.Range { return t.Neck }, true},
	{"taper", "", 2, func(f *record.Fruit) record.Value { return f.Taper }, func(t *reference.Traits) *reference.Range { return t.Taper }, false},
	{"bend", "°", 0, func(f *record.Fruit) record.Value { return f.Bend }, func(t *reference.Traits) *reference.Range { return t.Bend }, true},
	{"ribs", "", 0, fruitRibs, func(t *reference.Traits) *reference.Range { return t.Ribs }, false},
	{"groove", "", 3, func(f *record.Fruit) record.Value { return f.GrooveDepth }, func(t *reference.Traits) *reference.Range { return t.Groove }, false},
	{"share", "", 2, func(f *record.Fruit) record.Value { return f.SecondShare }, func(*reference.Traits) *reference.Range { return nil }, false},
	{"stalk", "mm", 0, func(f *record.Fruit) record.Value { return f.StalkLength }, func(*reference.Traits) *reference.Range { return nil }, false},
}

// limits returns what the description expects of the trait: low and high, NaN where it sets none.
func (t *trait) limits(d *reference.Description) (lo, hi float64) {
	lo, hi = math.NaN(), math.NaN()
	if d == nil {
		return lo, hi
	}
	r := t.expect(&d.Traits)
	if r == nil {
		return lo, hi
	}
	if r.Mean != nil && r.Spread != nil {
		lo, hi = *r.Mean-1.96**r.Spread, *r.Mean+1.96**r.Spread
	}
	if r.Low != nil {
		lo = *r.Low
	}
	if r.High != nil {
		hi = *r.High
	}
	return lo, hi
}

// sized reports whether the trait needs a scale.
func (t *trait) sized() bool { return t.unit == "mm" || t.unit == "cm³" }

func (t *trait) text(v float64) string { return record.Fixed(v, t.decimals) }

// rangeText writes what the description expects.
func (t *trait) rangeText(d *reference.Description, w *docTexts) string {
	lo, hi := t.limits(d)
	switch {
	case math.IsNaN(lo) && math.IsNaN(hi):
		return "–"
	case math.IsNaN(lo):
		return fmt.Sprintf(w.UpTo, t.text(hi))
	case math.IsNaN(hi):
		return fmt.Sprintf(w.From, t.text(lo))
	}
	return t.text(lo) + " – " + t.text(hi)
}

// against says how a value lies to the description's range; half an unwritten digit is allowed.
func (t *trait) against(v record.Value, d *reference.Description, w *docTexts) string {
	lo, hi := t.limits(d)
	if !v.Ok() || math.IsNaN(lo) && math.IsNaN(hi) {
		return "–"
	}
	u := v.U
	if math.IsNaN(u) {
		u = 0
	}
	slack := .5 * math.Pow(10, -float64(t.decimals))
	word := func(by float64, where string) string {
		if by <= u {
			return fmt.Sprintf(w.WithinU, where)
		}
		return where
	}
	switch {
	case v.V > hi+slack:
		return word(v.V-hi, w.Above)
	case v.V < lo-slack:
		return word(lo-v.V, w.Below)
	}
	return w.Within
}

// uncertainty writes U with the trait's decimals, at least one of the last digit.
func (t *trait) uncertainty(v record.Value) string {
	if !v.Ok() || math.IsNaN(v.U) {
		return "–"
	}
	return t.text(math.Max(v.U, math.Pow(10, -float64(t.decimals))))
}
