package judge

import (
	"math/rand/v2"
	"strings"
	"testing"

	"offtype/cluster/reference"
	"offtype/pipeline/record"
)

// carrots are n roots that vary by so much, the first off of them short and thick; tagged ones are plants of one root.
func carrots(n, off int, tagged bool, spread float64) *record.Run {
	rng := rand.New(rand.NewPCG(2, 5))
	run := &record.Run{}
	for i := range n {
		l, w := 180*(1+spread*rng.NormFloat64()), 32*(1+spread*rng.NormFloat64())
		if i < off {
			l, w = l*0.5, w*1.5
		}
		f := record.Fruit{Photo: "b", Number: i + 1, Ribs: -1}
		for _, x := range []*record.Value{&f.Midline, &f.Bend, &f.BroadestAt, &f.Volume, &f.Neck, &f.Taper, &f.Lopsided, &f.SecondShare, &f.GrooveDepth} {
			*x = record.None()
		}
		f.Length, f.Width, f.Ratio = record.Value{V: l, U: 1}, record.Value{V: w, U: 1}, record.Value{V: l / w, U: 0.02}
		if tagged {
			f.Plant = string(rune('A' + i))
		}
		run.Fruits = append(run.Fruits, f)
	}
	return run
}

func carrotDescription(t *testing.T) *Variety {
	t.Helper()
	d, err := Learn(carrots(26, 0, true, 0.07).Fruits, nil, nil, reference.Head{Name: "N", Species: "Daucus carota", Version: "1"})
	if err != nil {
		t.Fatal(err)
	}
	return &Variety{"v.yaml", d}
}

// Where each root is a plant, twelve off-type roots are not "a single off-type plant"; where nobody knows which plant bore
// what, neither is said.
func TestCauseCountsPlants(t *testing.T) {
	v := carrotDescription(t)
	for _, c := range []struct {
		o         Options
		off       int
		want, not string
	}{
		{Options{ItemIsPlant: true}, 12, "Several plants of one other type", "A single off-type plant"},
		{Options{}, 12, "", "off-type plant"},
		{Options{Plants: 30}, 12, "", "A single off-type plant"},
	} {
		run := carrots(100, c.off, false, 0.04)
		l := judged(t, run, v, c.o).Lot
		if said := strings.Join(l.Sentences, "\n"); !strings.Contains(said, c.want) || strings.Contains(said, c.not) {
			t.Errorf("%+v, %d off-type: %s", c.o, c.off, said)
		}
		if got := run.Judgement.ItemIsPlant(); got != c.o.ItemIsPlant {
			t.Errorf("%+v: item is plant %v", c.o, got)
		}
	}
}

// What is said of roots speaks of roots, or of plants where each is one.
func TestRootsAreNoFruit(t *testing.T) {
	for _, c := range []struct {
		v    *Variety
		o    Options
		want string
	}{
		{carrotDescription(t), Options{}, "Each root or bulb is a plant of its own"},
		{carrotDescription(t), Options{ItemIsPlant: true}, "Of 100 plants seen, 12 are off-type"},
		{nil, Options{Species: "Daucus carota"}, "These roots or bulbs "},
		{nil, Options{ItemIsPlant: true}, "These plants "},
	} {
		l := judged(t, carrots(100, 12, false, 0.04), c.v, c.o).Lot
		if said := l.Sentences[0]; !strings.Contains(said, c.want) || strings.Contains(strings.ToLower(said), "fruit") {
			t.Errorf("%+v: %s", c.o, said)
		}
	}
}

// With many plants a few calls are no more than chance gives true plants: scipy 1.10.1, binom.sf(2, 300, 0.01) = 0.5779,
// binom.sf(0, 100, 0.01) = 0.6340, binom.sf(11, 300, 0.01) = 0.00006.
func TestFalseCallsOfManyPlants(t *testing.T) {
	for _, c := range []struct {
		seen, off int
		want      string
	}{{300, 3, "With 300 plants seen, 3 or more such false calls happen in 58 of 100"}, {100, 1, "at least one such false call happens in 63 of 100"}, {300, 12, ""}, {100, 0, ""}} {
		j := judging{run: &record.Run{}, o: Options{}.filled()}
		j.run.Judgement.Lot = record.Lot{Unit: "plant", Seen: c.seen, Off: c.off}
		if got := j.falseCalls(); !strings.Contains(got, c.want) || (got == "") != (c.want == "") {
			t.Errorf("%d of %d: %q", c.off, c.seen, got)
		}
	}
}
