package reference

import (
	"strings"
	"testing"
)

const otherHand = `format: 1
name: Other
species: Cucurbita moschata
version: "1"
traits:
  length: {unit: mm, low: 320, high: 400}
  width: {unit: mm, mean: 110, spread: 6}
skin: {lab: [40, -10, 20], tolerance: 6}
`

// A fruit of either variety leans wholly to its side; traits that do not tell the two apart are left out.
func TestLean(t *testing.T) {
	ours := mustParse(t, strings.Replace(hand, "stage: cured\n", "", 1))
	other := mustParse(t, otherHand)
	for _, c := range []struct {
		length          float64
		lab             [3]float64
		length2, colour Side
	}{
		{208, [3]float64{70, 13, 36}, LikeOurs, LikeOurs},
		{358, [3]float64{40, -10, 20}, LikeOther, LikeOther},
		{208, [3]float64{40, -10, 20}, LikeOurs, LikeOther},
	} {
		f := typical()
		f.Length.V, f.Skin = c.length, &c.lab
		ls := Lean(ours, other, []Fruit{f, f, f, f}, "")
		seen := 0
		for _, l := range ls {
			if l.Trait == "width" {
				t.Error("width does not tell the two apart")
			}
			if l.Trait == "lightness of the skin" {
				seen++
				if l.Side != c.colour {
					t.Errorf("%v: %+v, want %s", c, l, c.colour)
				}
			}
			if l.Trait == "length" {
				seen++
				if l.Low > l.At || l.High < l.At {
					t.Errorf("interval %+v", l)
				}
			}
		}
		if seen == 0 {
			t.Errorf("%v: nothing compared in %+v", c, ls)
		}
	}
}

// The dominance relations are those of the Cucurbit Genetics Cooperative's reports; each hint needs its species.
func TestGeneHints(t *testing.T) {
	green := typical()
	green.Skin, green.Pattern = &[3]float64{40, -12, 20}, "stripes"
	for species, want := range map[string]string{"Cucurbita moschata": "gene Gr", "Cucurbita pepo": "l-1 series", "Cucurbita maxima": ""} {
		d := mustParse(t, strings.Replace(hand, "Cucurbita moschata", species, 1))
		got := strings.Join(GeneHints(d, []Fruit{green, green}), " ")
		if want == "" && got != "" || !strings.Contains(got, want) {
			t.Errorf("%s: %q, want %q", species, got, want)
		}
		if h := GeneHints(d, []Fruit{typical()}); len(h) > 0 {
			t.Errorf("%s: a true fruit gives %q", species, h)
		}
	}
}
