package record

import (
	"fmt"
	"math"
)

// groupColours tell groups apart on photos and drawings: readable by colour-blind eyes (Okabe and Ito's set, brightened
// for photos), each with a dash of its own, so that colour is never the only sign. The first group is the
// quiet one. From the ninth group on they repeat.
var (
	groupColours = []string{"#ffffff", "#f5c710", "#56b4e9", "#e69f00", "#cc79a7", "#00c08b", "#ff7f50", "#b0a0ff"}
	groupDashes  = []string{"", "14 6", "3 7", "14 5 3 5", "22 8", "8 8", "2 4", "18 4 2 4 2 4"}
)

// GroupLook returns the colour (#rrggbb) and the dash (SVG stroke-dasharray, empty: none) of group g; below 1
// those of no group.
func GroupLook(g int) (colour, dash string) {
	if g < 1 {
		return groupColours[0], ""
	}
	return groupColours[(g-1)%len(groupColours)], groupDashes[(g-1)%len(groupDashes)]
}

// Caption names a fruit below its picture, among those of so many photos: "plant 3, no. 2", or, without a plant, "no. 2"
// and the photo's name where there is more than one photo, for each has a no. 2.
func (f *Fruit) Caption(photos int) string {
	s := fmt.Sprintf("no. %d", f.Number)
	switch {
	case f.Plant != "":
		return "plant " + f.Plant + ", " + s
	case photos > 1:
		return s + ", " + f.Photo
	}
	return s
}

// PhotosMeasured counts the photos of the run that gave fruit.
func (r *Run) PhotosMeasured() int {
	n := 0
	for i := range r.Photos {
		if r.Photos[i].Status == StatusOK && r.Photos[i].Fruits > 0 {
			n++
		}
	}
	return n
}

// LongestMM is the larger of length and width, 0 when neither was measured.
func (f *Fruit) LongestMM() float64 {
	long := 0.0
	for _, v := range []Value{f.Length, f.Width} {
		if v.Ok() {
			long = math.Max(long, v.V)
		}
	}
	return long
}

// SizeWords is the size in a few words: "213 × 98 mm". Without a scale sizes mean nothing outside the photo: the ratio
// alone is said.
func (f *Fruit) SizeWords() string {
	switch {
	case f.Unscaled && f.Ratio.Ok():
		return fmt.Sprintf("length ÷ width %.2f", f.Ratio.V)
	case f.Unscaled:
		return "no scale"
	case f.Length.Ok() && f.Width.Ok():
		return fmt.Sprintf("%.0f × %.0f mm", f.Length.V, f.Width.V)
	case f.Width.Ok():
		return fmt.Sprintf("%.0f mm across", f.Width.V)
	case f.Ratio.Ok():
		return fmt.Sprintf("length ÷ width %.2f", f.Ratio.V)
	}
	return "not measured"
}

// Alt describes the picture of a fruit to those who cannot see it.
func (f *Fruit) Alt() string {
	return fmt.Sprintf("Fruit %d of %s, %s", f.Number, f.Photo, f.SizeWords())
}

// Why says what is worth reading about a group: what speaks for its verdict, or, where it was not judged, what sets it
// apart from the others.
func (g *GroupVerdict) Why() []string {
	if len(g.Apart) > 0 && (len(g.Reasons) == 0 || g.Verdict == NotJudged) {
		return g.Apart
	}
	return g.Reasons
}

// Unplaced reports a fruit that was put to a group though nothing was measured on it that tells groups apart: its
// probability says nothing.
func (m *Membership) Unplaced() bool { return m.Unsure && !m.Alone && m.Membership >= 0.9 }
