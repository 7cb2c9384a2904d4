package book

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"offtype/pipeline/exchange"
)

// HandTrait is something observed by hand or with a simple tool.
type HandTrait struct {
	Name   string
	Unit   string             // unit it is kept in; empty for words and scores
	Units  map[string]float64 // other units and their factor to Unit
	Lo, Hi float64            // possible values in Unit; both 0: words
	Words  []string           // states, when it is one of few
	Help   string
	More   bool // value and words both count (taste)
}

// HandTraits are the observations the book takes. The bounds are wide: they catch a slip of the
// unit, not an unusual fruit (common practice, no source).
var HandTraits = []HandTrait{
	{Name: "weight", Unit: "g", Units: map[string]float64{"kg": 1000, "g": 1}, Lo: 0.5, Hi: 1_200_000, Help: "whole fruit"},
	{Name: "rind_thumbnail", Words: []string{"soft", "dents", "hard"}, Help: "thumbnail test: goes in; leaves a mark; leaves none"},
	{Name: "rind_force", Unit: "N", Units: map[string]float64{"N": 1, "kgf": 9.80665, "lbf": 4.4482216152605}, Lo: 0.1, Hi: 1000, Help: "penetrometer; note the tip in the note"},
	{Name: "rind_thickness", Unit: "mm", Units: map[string]float64{"mm": 1, "cm": 10}, Lo: 0.05, Hi: 40},
	{Name: "flesh_thickness", Unit: "mm", Units: map[string]float64{"mm": 1, "cm": 10}, Lo: 0.5, Hi: 200, Help: "at the thinnest place of the cut half"},
	{Name: "flesh_colour", Help: "words"},
	{Name: "brix", Unit: "°Bx", Units: map[string]float64{"°Bx": 1, "Bx": 1, "%": 1}, Lo: 0.1, Hi: 40, Help: "refractometer"},
	{Name: "dry_matter", Unit: "%", Units: map[string]float64{"%": 1}, Lo: 0.5, Hi: 60, Help: "share of the fresh weight"},
	{Name: "seed_maturity", Words: []string{"flat", "soft", "full", "full and hard"}},
	{Name: "days_to_maturity", Unit: "d", Units: map[string]float64{"d": 1, "days": 1, "weeks": 7}, Lo: 10, Hi: 400, Help: "from sowing to the first ripe fruit"},
	{Name: "disease", Help: "words"},
	{Name: "keeping", Unit: "d", Units: map[string]float64{"d": 1, "days": 1, "weeks": 7}, Lo: 0, Hi: 1000, Help: "days in store until it spoiled or was eaten"},
	{Name: "taste", Unit: "1–9", Units: map[string]float64{"1–9": 1, "1-9": 1}, Lo: 1, Hi: 9, More: true, Help: "1 very poor … 9 excellent, words after it; never taste a fruit that could be bitter by more than a rice grain, and spit it out"},
	{Name: "bitter", Words: []string{"no", "yes"}, Help: "a rice-grain raw piece, spat out; bitter fruit are poisonous and are thrown away"},
	{Name: "saved_seed", Words: []string{"yes", "no"}, Help: "seed was kept from this fruit"},
	{Name: "other", Help: "words"},
}

// meant leads from words that a gardener may use to the names of the book.
var meant = map[string]string{
	"rind": "rind_thumbnail, rind_force or rind_thickness", "skin": "rind_thumbnail, rind_force or rind_thickness", "hardness": "rind_thumbnail or rind_force",
	"flesh": "flesh_colour or flesh_thickness", "colour": "flesh_colour", "color": "flesh_colour", "sweetness": "brix", "sugar": "brix",
	"bitterness": "bitter, with yes or no", "flavour": "taste, with a number from 1 to 9", "flavor": "taste, with a number from 1 to 9", "mass": "weight",
	"seed": "seed_maturity, or saved_seed", "seeds": "seed_maturity, or saved_seed", "storage": "keeping", "days": "days_to_maturity, or keeping", "note": "other", "notes": "other",
}

// HandTraitNamed returns a trait, or an error that lists them.
func HandTraitNamed(name string) (HandTrait, error) {
	name = strings.ReplaceAll(strings.ToLower(strings.TrimSpace(name)), " ", "_")
	var all []string
	for _, t := range HandTraits {
		if t.Name == name {
			return t, nil
		}
		all = append(all, t.Name)
	}
	if near := meant[name]; near != "" {
		return HandTrait{}, fmt.Errorf("%q is not something the book takes; write %s (all of them: %s)", name, near, strings.Join(all, ", "))
	}
	return HandTrait{}, fmt.Errorf("%q is not something the book takes; it takes: %s", name, strings.Join(all, ", "))
}

// Reading is an observation turned into the trait's unit.
type Reading struct {
	Value *float64
	Words string
	Unit  string
}

// Read checks a value as it was written and turns it into the trait's unit: "712 g", "0,712 kg",
// "7 sweet, a little dry". unit may be empty when the value holds it; a number with no unit at
// all is refused where more than one would be possible.
func (t HandTrait) Read(value, unit string) (Reading, error) {
	value, unit = strings.TrimSpace(value), strings.TrimSpace(unit)
	if value == "" {
		return Reading{}, fmt.Errorf("%s: no value", t.Name)
	}
	if t.Lo == 0 && t.Hi == 0 {
		return t.readWords(value, unit)
	}
	num, rest := splitNumber(value)
	x, err := exchange.ParseNumber(num)
	if num == "" {
		return Reading{}, fmt.Errorf("%s: %q is not a number; write a number%s", t.Name, value, t.numberHint())
	}
	if err != nil {
		return Reading{}, fmt.Errorf("%s: %w", t.Name, err)
	}
	words := ""
	switch {
	case t.More:
		words = strings.TrimLeft(rest, " ,;:")
	case rest != "" && unit != "" && rest != unit:
		return Reading{}, fmt.Errorf("%s: %q holds another unit than %q", t.Name, value, unit)
	case rest != "":
		unit = rest
	}
	f := 1.0
	if unit == "" && t.ambiguous() {
		return Reading{}, fmt.Errorf("%s: %q has no unit; write one of %s", t.Name, value, t.unitList())
	}
	if unit != "" {
		var ok bool
		if f, ok = t.Units[unit]; !ok {
			return Reading{}, fmt.Errorf("%s: unit %q does not fit; write one of %s", t.Name, unit, t.unitList())
		}
	}
	x *= f
	if x < t.Lo || x > t.Hi {
		return Reading{}, fmt.Errorf("%s: %s is outside what is possible (%s to %s %s); check number and unit", t.Name, strings.TrimSpace(num+" "+unit), plainNumber(t.Lo), plainNumber(t.Hi), t.Unit)
	}
	if t.Unit == "1–9" && x != math.Trunc(x) {
		return Reading{}, fmt.Errorf("%s: %q is not a whole score from 1 to 9", t.Name, value)
	}
	return Reading{Value: &x, Words: words, Unit: t.Unit}, nil
}

// plainNumber writes a number without an exponent.
func plainNumber(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func (t HandTrait) readWords(value, unit string) (Reading, error) {
	if unit != "" {
		return Reading{}, fmt.Errorf("%s: is written in words, without a unit (%q)", t.Name, unit)
	}
	if len(t.Words) == 0 {
		return Reading{Words: value}, nil
	}
	for _, w := range t.Words {
		if strings.EqualFold(w, value) {
			return Reading{Words: w}, nil
		}
	}
	return Reading{}, fmt.Errorf("%s: %q is none of: %s", t.Name, value, strings.Join(t.Words, "; "))
}

// numberHint says more of the number that is expected.
func (t HandTrait) numberHint() string {
	if t.Name == "taste" {
		return " from 1 (very poor) to 9 (excellent); bitterness has a trait of its own, bitter"
	}
	return " with its unit: " + t.unitList()
}

// ambiguous reports whether the trait can be written in units of different size.
func (t HandTrait) ambiguous() bool {
	for _, f := range t.Units {
		if f != 1 {
			return true
		}
	}
	return false
}

func (t HandTrait) unitList() string {
	var out []string
	for _, u := range []string{"g", "kg", "mm", "cm", "N", "kgf", "lbf", "°Bx", "Bx", "%", "d", "days", "weeks", "1–9", "1-9"} {
		if _, ok := t.Units[u]; ok {
			out = append(out, u)
		}
	}
	return strings.Join(out, ", ")
}

// splitNumber cuts "712 g" into "712" and "g".
func splitNumber(s string) (num, rest string) {
	i := strings.IndexFunc(s, func(r rune) bool { return !strings.ContainsRune("0123456789.,+-", r) })
	if i < 0 {
		return s, ""
	}
	return strings.TrimRight(s[:i], ","), strings.TrimSpace(s[i:])
}

// decimals of a density that is shown: two below 10, none above.
func decimals(d float64) int {
	if d < 10 {
		return 2
	}
	return 0
}

// Bounds of a whole fruit's density, g/cm³. Read: whole gourds 0.64–0.80, melon 1.075; whole
// winter squash about 0.75–0.95 is from memory. The limits are wider by half, to catch only a
// slip of the unit or of a digit.
const (
	minDensity = 0.35
	maxDensity = 1.6
)

// CheckWeight compares a weight with the measured volume and returns a sentence when they cannot
// belong together, with what may have been meant.
func CheckWeight(grams, volumeCM3 float64) string {
	if !(volumeCM3 > 0) || !(grams > 0) {
		return ""
	}
	d := grams / volumeCM3
	if d >= minDensity && d <= maxDensity {
		return ""
	}
	meant := ""
	for _, f := range []struct {
		by   float64
		text string
	}{{1000, "perhaps it was meant in kg"}, {0.001, "perhaps it was meant in g"}, {10, "perhaps with a digit missing"}, {0.1, "perhaps with a digit too many"}} {
		if x := d * f.by; x >= minDensity && x <= maxDensity {
			meant = "; " + f.text
			break
		}
	}
	return fmt.Sprintf("%g g does not fit a fruit of %.0f cm³ (%s g/cm³; fruit have %g to %g)%s", grams, volumeCM3, strconv.FormatFloat(d, 'f', decimals(d), 64), minDensity, maxDensity, meant)
}

// Usual weights where no volume says what a fruit can weigh, g: from a small hot pepper to a large pumpkin, and what one
// plant bears. Our own choice, wide, to catch a slip of the unit: heavier ones are grown, for shows.
const (
	minUsualG = 1
	maxFruitG = 50_000
	maxPlantG = 150_000
)

// usualWeight returns a sentence when what (a fruit, say) hardly ever weighs that much or that little.
func usualWeight(what string, grams, most float64) string {
	meant := ""
	switch {
	case grams >= minUsualG && grams <= most:
		return ""
	case grams < minUsualG:
		meant = "; perhaps it was meant in kg"
	case grams/1000 >= minUsualG && grams/1000 <= most:
		meant = "; perhaps it was meant in g"
	}
	return fmt.Sprintf("%s g is no usual weight for %s (%d g to %s kg)%s", plainNumber(grams), what, minUsualG, plainNumber(most/1000), meant)
}
