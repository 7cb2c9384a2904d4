package reference

import (
	"math"
	"testing"
)

func parseTraits(traits string) (*Description, error) {
	return Parse([]byte("format: 1\nname: x\nspecies: y\nversion: \"1\"\ntraits:\n" + traits))
}

// A size has no logarithm at 0: "from 0 to 250 mm" is "up to 250 mm", and a mean of 0 is a slip.
func TestSizesFromZero(t *testing.T) {
	d, err := parseTraits("  length: {low: 0, high: 250}\n")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		mm   float64
		want Call
	}{{100, True}, {240, True}, {600, OffType}} {
		f := NoFruit()
		f.Length = Measured{V: c.mm, U: 1}
		v := d.Judge([]Fruit{f}, DefaultOptions()).Fruits[0]
		if v.Call != c.want || math.IsNaN(v.P) {
			t.Errorf("%g mm: call %v, p %v, want %v", c.mm, v.Call, v.P, c.want)
		}
	}
	for _, traits := range []string{"  bend: {high: .inf}\n", "  bend: {mean: .nan}\n", "  length: {mean: 200, spread: .inf}\n", "  length: {mean: 0, spread: 5}\n", "  width: {high: 0}\n", "  ratio: {mean: 0}\n", "  length: {low: 0}\n"} {
		if _, err := parseTraits(traits); err == nil {
			t.Errorf("%q: error %v", traits, err)
		}
	}
}

func TestColoursOfNumbers(t *testing.T) {
	for _, c := range []string{"skin: {lab: [50, .nan, 3]}\n", "skin: {lab: [50, 0, 3], spread: [1, .nan, 2]}\n", "skin: {lab: [50, 0, 3], tolerance: .inf}\n",
		"marks: {mean: [1, .nan, 1], spread: [1, 1, 1], plants_spread: [1, 1, 1]}\n", "marks: {mean: [1, 1, 1], spread: [1, -1, 1], plants_spread: [1, 1, 1]}\n"} {
		if _, err := Parse([]byte("format: 1\nname: x\nspecies: y\nversion: \"1\"\n" + c)); err == nil {
			t.Errorf("%q was taken", c)
		}
	}
}

// Words of a packet that speak of flesh, keeping or even size say nothing about the skin or the outline.
func TestWordsAsideFromTheFruit(t *testing.T) {
	d, err := FromWords("Deep orange flesh, tan skin, 10 cm wide, long-keeping, uniform fruit", Head{Name: "x"})
	if err != nil {
		t.Fatal(err)
	}
	if d.Skin == nil || d.Skin.Lab[0] != 70 || d.Skin.Lab[1] != 12 { // tan
		t.Errorf("skin %+v, want tan", d.Skin)
	}
	if d.Traits.Ratio != nil || len(d.Shape) > 0 || len(d.Pattern) > 0 {
		t.Errorf("ratio %+v, shape %v, pattern %v from words that do not say them", d.Traits.Ratio, d.Shape, d.Pattern)
	}
	d, err = FromWords("orange-fleshed, long, uniformly coloured, dark green", Head{Name: "x"})
	if err != nil {
		t.Fatal(err)
	}
	if d.Skin == nil || d.Skin.Lab[0] != 35 || d.Traits.Ratio == nil || len(d.Pattern) != 1 || d.Pattern[0] != "none" {
		t.Errorf("skin %+v, ratio %+v, pattern %v", d.Skin, d.Traits.Ratio, d.Pattern)
	}
}
