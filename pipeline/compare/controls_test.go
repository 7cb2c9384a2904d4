package compare

import (
	"fmt"
	"strings"
	"testing"

	"offtype/pipeline/record"
)

// Control plants in both harvests: what they changed by is the season's, and a change that goes no further is said to be.
func TestControlsTellTheSeason(t *testing.T) {
	make := func(seed, moved float64, controls int) Pair {
		side := func(name string, main, control float64) Side {
			s := Side{Name: name}
			s.Run.Judgement.Variety = &record.VarietyRef{Name: "V", Version: "1", Species: "S"}
			for p := 1; p <= 8+controls; p++ {
				at, plant := main, fmt.Sprint(p)
				v := record.PlantVerdict{Plant: plant, Fruits: 2, Verdict: record.TrueToType}
				if p > 8 {
					at, v.Verdict, v.Reasons = control, record.NotJudged, []string{record.ControlReason}
				}
				s.Run.Judgement.Plants = append(s.Run.Judgement.Plants, v)
				for k := range 2 {
					f := record.Fruit{Photo: "p", Number: 2*p + k, Plant: plant, Ribs: -1}
					f.Length = record.Value{V: at + 2*float64((p*7)%5) + float64(k), U: 1}
					for _, x := range []*record.Value{&f.Width, &f.Ratio, &f.Midline, &f.Bend, &f.BroadestAt, &f.Volume, &f.Neck, &f.Taper, &f.Lopsided, &f.SecondShare, &f.GrooveDepth} {
						*x = record.None()
					}
					s.Run.Fruits = append(s.Run.Fruits, f)
				}
			}
			return s
		}
		a, b := side("2025", 200, 200), side("2026", 200+seed+moved, 200+moved)
		return build(t, a, b).Pairs[0]
	}
	for _, c := range []struct {
		seed, moved float64
		controls    int
		want        []string
		not         string
	}{
		{0, 30, 3, []string{"2026 is longer than 2025 by 30 mm", "The control plants (3, then 3) changed by +30 mm", "without that 0 mm remain", "the season alone can have made this change", "is not written down"}, "more than the season"},
		{25, 5, 3, []string{"2026 is longer than 2025 by 30 mm", "changed by +5 mm", "without that +25 mm remain", "more than the season made of the control plants"}, "the season alone"},
		{30, 0, 1, []string{"With so few control plants nobody can say how sure that is"}, "more than the season"},
		{30, 0, 0, []string{"Without control plants of known seed in both years"}, "The control plants"},
	} {
		p := make(c.seed, c.moved, c.controls)
		said := strings.Join(append(p.Sentences, p.Warnings...), "\n")
		for _, w := range c.want {
			if !strings.Contains(said, w) {
				t.Errorf("seed %g, season %g, %d control plants: %q is not in\n%s", c.seed, c.moved, c.controls, w, said)
			}
		}
		if strings.Contains(said, c.not) {
			t.Errorf("seed %g, season %g, %d control plants: %q is in\n%s", c.seed, c.moved, c.controls, c.not, said)
		}
	}
}

// A control plant that bears its harvest's lot got it from the harvest: its own seed is not known.
func TestControlLots(t *testing.T) {
	run := &record.Run{}
	for _, p := range []string{"7", "8"} {
		run.Judgement.Plants = append(run.Judgement.Plants, record.PlantVerdict{Plant: p, Reasons: []string{record.ControlReason}})
	}
	for _, c := range []struct {
		of   map[string]string
		want string
	}{{map[string]string{"": "L1", "7": "T", "8": "T"}, "T"}, {map[string]string{"": "L1", "7": "T", "8": "L1"}, ""}, {map[string]string{"": "L1", "7": "T"}, ""}, {map[string]string{"7": "U", "8": "T"}, "T U"}} {
		if got := strings.Join(ControlLots(run, c.of), " "); got != c.want {
			t.Errorf("%v: %q, want %q", c.of, got, c.want)
		}
	}
}
