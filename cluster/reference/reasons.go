package reference

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

// speaks is the least distance of a trait, in standard deviations, that is worth a sentence.
const speaks = 2.5

// NothingAgainst is the only reason of a unit that nothing speaks against.
const NothingAgainst = "nothing measured speaks against the variety"

// trifle: leaving the described range by less than this many standard deviations of a fruit is not worth a
// sentence when something else is.
const trifle = 0.5

// mostReasons is the largest number of sentences on traits.
const mostReasons = 6

// reasons writes what speaks against a unit, strongest first, or that nothing does.
func (j *judge) reasons(fs []Fruit, rows []int, v Verdict, pattern string) []string {
	var out []string
	colour, little := false, "" // little: the strongest of those that are trifles
	for _, d := range v.Traits {
		if math.Abs(d.Z) < speaks || len(out) >= mostReasons {
			break
		}
		switch d.Name {
		case "skin":
			if !colour {
				colour = true
				out = append(out, j.colourReason(fs, rows))
			}
		case "marks", "stripes":
			if pattern == "" && !slices.Contains(out, marksDiffer) {
				out = append(out, marksDiffer)
			}
		default:
			if !j.trifling(d) {
				out = append(out, j.traitReason(d))
			} else if little == "" {
				little = j.traitReason(d)
			}
		}
	}
	if pattern != "" {
		out = append(out, pattern)
	}
	if len(out) == 0 && little != "" {
		out = append(out, little)
	}
	if len(out) > 0 {
		return out
	}
	if v.Call != True {
		for _, d := range v.Traits {
			if dm := j.dimOf(d); len(out) < 2 && d.figured() && (d.Value > dm.high || d.Value < dm.low) {
				out = append(out, j.traitReason(d))
			}
		}
		if len(out) > 0 { // outside, though not by much more than true fruit
			if len(v.Traits) > len(out) {
				out = append(out, "all traits together lie unusually far from the description")
			}
			return out
		}
		out = append(out, "No single trait is far out, but several together lie unusually far from the description.")
		for _, d := range v.Traits[:min(2, len(v.Traits))] {
			if dm := j.dimOf(d); d.figured() {
				out = append(out, fmt.Sprintf("%s is %s; the variety's mean is %s", upper(d.Label), figure(d.Value, dm.trait.Unit), figure(d.Mean, dm.trait.Unit)))
			}
		}
		return out
	}
	return []string{NothingAgainst}
}

// figured reports whether a trait has a figure to name: colours and marks are told in words.
func (d Deviation) figured() bool {
	return d.Name != "skin" && d.Name != "marks" && d.Name != "stripes"
}

// trifling reports a trait that is just past the described range.
func (j *judge) trifling(d Deviation) bool {
	dm := j.dimOf(d)
	work := dm.trait.Scale.Work
	x := work(d.Value)
	over := x - work(dm.high)
	if !(over > 0) { // no high bound, or inside
		over = work(dm.low) - x
	}
	return over > 0 && over < trifle*dm.sd
}

const marksDiffer = "its marks differ in colour or in their share of the skin from those described"

func (j *judge) dimOf(d Deviation) dim {
	for _, dm := range j.m.dims {
		if dm.name == d.Name && dm.trait.Label == d.Label {
			return dm
		}
	}
	return dim{}
}

// traitReason tells by how much a trait leaves what the description allows: "42 mm longer than the
// description allows (up to 240 mm)".
func (j *judge) traitReason(d Deviation) string {
	dm := j.dimOf(d)
	unit := dm.trait.Unit
	bound, over := "", 0.0
	switch {
	case d.Value > dm.high:
		bound, over = "up to "+figure(dm.high, unit), d.Value-dm.high
	case d.Value < dm.low:
		bound, over = "from "+figure(dm.low, unit), d.Value-dm.low
	default:
		return fmt.Sprintf("%s than plants of the variety are on average (mean %s, measured %s%s)",
			dm.trait.Differs(d.Value-d.Mean), figure(d.Mean, unit), figure(d.Value, unit), means(dm))
	}
	s := fmt.Sprintf("%s than the description allows (%s", dm.trait.Differs(over), bound)
	if unit == "" {
		s += ", measured " + figure(d.Value, unit) + means(dm)
	}
	return s + ")"
}

// means says what a number without unit is, to stand behind it.
func means(d dim) string {
	if d.trait.Means == "" {
		return ""
	}
	return "; " + d.trait.Means
}

// colourReason tells how the main colour differs.
func (j *judge) colourReason(fs []Fruit, rows []int) string {
	want := j.d.Skin.Lab
	var got [3]float64
	n := 0.0
	for _, r := range rows {
		if s := fs[r].Skin; s != nil {
			n++
			for i := range got {
				got[i] += s[i]
			}
		}
	}
	for i := range got {
		got[i] /= n
	}
	s := "skin " + strings.Join(ColourWords([3]float64{want[0], want[1], want[2]}, got), " and ") + " than described"
	if j.o.DeltaE == nil {
		return s
	}
	de := j.o.DeltaE([3]float64{want[0], want[1], want[2]}, got)
	if j.d.Skin.Tolerance != nil {
		return fmt.Sprintf("%s (colour difference ΔE00 %.1f, where 10 is plain to see; the description allows %.1f)", s, de, *j.d.Skin.Tolerance)
	}
	return fmt.Sprintf("%s (colour difference ΔE00 %.1f, where 10 is plain to see)", s, de)
}

// ColourWords says in plain comparatives how colour b differs from a (CIELAB): the one or two axes
// that differ most. At least one word is returned.
func ColourWords(a, b [3]float64) []string {
	words := [3][2]string{{"darker", "paler"}, {"greener", "redder"}, {"less yellow", "yellower"}}
	d := [3]float64{b[0] - a[0], b[1] - a[1], b[2] - a[2]}
	top := max(math.Abs(d[0]), math.Abs(d[1]), math.Abs(d[2]))
	var out []string
	for _, i := range [3]int{0, 1, 2} {
		if math.Abs(d[i]) >= 0.6*top && len(out) < 2 {
			k := 0
			if d[i] > 0 {
				k = 1
			}
			out = append(out, words[i][k])
		}
	}
	return out
}

// wrongPattern is a sentence when more fruit show patterns that the description does not name than show one that
// it names.
func (j *judge) wrongPattern(fs []Fruit, rows []int) string {
	if len(j.d.Pattern) == 0 {
		return ""
	}
	votes := map[string]int{}
	named, other := 0, 0
	for _, r := range rows {
		switch p := fs[r].Pattern; {
		case p == "":
		case slices.Contains(j.d.Pattern, p):
			named++
		default:
			votes[p]++
			other++
		}
	}
	if other <= named {
		return ""
	}
	top := ""
	for _, p := range slices.Sorted(maps.Keys(votes)) {
		if votes[p] > votes[top] {
			top = p
		}
	}
	name := func(p string) string {
		if p == "none" {
			return "no pattern"
		}
		return p
	}
	var want []string
	for _, p := range j.d.Pattern {
		want = append(want, name(p))
	}
	return fmt.Sprintf("shows %s; the description says %s", name(top), strings.Join(want, " or "))
}

// figure writes a value with its unit.
func figure(x float64, unit string) string {
	switch {
	case unit == "°":
		return fmt.Sprintf("%.0f°", x)
	case unit != "" && math.Abs(x) >= 20:
		return fmt.Sprintf("%.0f %s", x, unit)
	case unit != "":
		return fmt.Sprintf("%.1f %s", x, unit)
	}
	return fmt.Sprintf("%.2f", x)
}

func upper(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
