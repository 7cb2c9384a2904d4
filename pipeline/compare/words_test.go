package compare

import (
	"strings"
	"testing"

	"offtype/pipeline/record"
)

// alike is a harvest of n plants with one fruit each, all with the same number of ribs.
func alike(name string, n, ribs int) Side {
	s := Side{Name: name}
	none := record.None()
	for i := range n {
		f := record.Fruit{Photo: "a.jpg", Number: i + 1, Plant: string(rune('a' + i)), Ribs: ribs, Length: record.Value{V: 200 + float64(i*7%10), U: 1}, Width: record.Value{V: 100 + float64(i*3%10), U: 1},
			Ratio: none, Midline: none, Bend: none, BroadestAt: none, Volume: none, Neck: none, Taper: none, GrooveDepth: none, SecondShare: none, Roughness: none, StalkLength: none}
		s.Run.Fruits = append(s.Run.Fruits, f)
		s.Run.Groups = append(s.Run.Groups, record.Membership{Key: f.Key(), Plant: f.Plant, Group: 1, Membership: 1})
	}
	return s
}

// A number of ribs that is the same on all plants of a harvest is a change when the next harvest has another; with
// few plants it is not known.
func TestChangeWithoutSpread(t *testing.T) {
	for _, c := range []struct {
		n           int
		never, says string
	}{{10, "The fruit did not change", "It is the same on all of each harvest"}, {2, "", "Too few plants"}} {
		p := build(t, alike("2025", c.n, 10), alike("2026", c.n, 12)).Pairs[0]
		said := strings.Join(p.Sentences, " ")
		for _, s := range p.Sections {
			said += strings.Join(s.Sentences, " ")
			for _, x := range s.Traits {
				said += " " + x.Sentence
			}
		}
		if !strings.Contains(said, c.says) || c.never != "" && strings.Contains(said, c.never) {
			t.Errorf("%d plants: %s", c.n, said)
		}
	}
}

// A range that leaves out no change is no "did not change", even where too few plants keep it from counting.
func TestNotFoundIsNotUnchanged(t *testing.T) {
	x := func(v float64) *float64 { return &v }
	for _, c := range []struct {
		low, high float64
		want, not string
	}{{-6, 8, "did not change beyond what chance gives", "cannot be said"}, {47, 80, "Whether the fruit changed cannot be said for certain", "did not change"}, {-9, -3, "cannot be said for certain", "did not change"}} {
		s := &Section{FromPlants: 2, ToPlants: 6, Traits: []Trait{{Name: "length_mm", Label: "length", Unit: "mm", Low: x(c.low), High: x(c.high)}}}
		if got := strings.Join(sectionSentences(s, &Pair{Unit: "plant"}), " "); !strings.Contains(got, c.want) || strings.Contains(got, c.not) {
			t.Errorf("%g to %g: %s", c.low, c.high, got)
		}
	}
}
