package main

import (
	"testing"

	"offtype/pipeline/book"
	"offtype/pipeline/record"
	"offtype/pipeline/seed"
)

func TestTrialLine(t *testing.T) {
	half, taste := .5, 7.25
	for _, c := range []struct {
		row  seed.TrialRow
		want string
	}{
		{seed.TrialRow{Variety: "Hollin Tan", Plants: 1, Fruits: 4}, "Hollin Tan: 1 plant, 4 fruit; not written down: weight, ripeness, taste, keeping"},
		{seed.TrialRow{Variety: "A", Plants: 2, Fruits: 9, Ripe: &half, Taste: &taste, YieldG: &taste, KeepingDays: &taste, Note: "few plants"}, "A: 2 plants, 9 fruit, 7 g a plant, 50 % ripe, taste 7.2 of 9, kept 7 days; few plants"},
	} {
		if got := trialLine(&c.row); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

// A fruit that is weighed again after curing is one fruit, and its weight counts once.
func TestTrialWeights(t *testing.T) {
	g := func(fruit int, day string, grams float64) book.Observation {
		return book.Observation{Photo: "a.jpg", Fruit: fruit, Trait: "weight", Value: &grams, Date: day}
	}
	run := &record.Run{Fruits: []record.Fruit{{Photo: "a.jpg", Number: 1, Plant: "1"}, {Photo: "a.jpg", Number: 2, Plant: "1"}}}
	for _, c := range []struct {
		name string
		obs  []book.Observation
		want float64 // 0: not known
	}{
		{"one of two, twice", []book.Observation{g(1, "2026-10-01", 700), g(1, "2026-12-01", 600)}, 0},
		{"both, one of them twice", []book.Observation{g(1, "2026-12-01", 600), g(1, "2026-10-01", 700), g(2, "2026-10-01", 800)}, 1500},
		{"put right on the same day", []book.Observation{g(1, "2026-10-01", 70), g(1, "2026-10-01", 700), g(2, "2026-10-01", 800)}, 1500},
	} {
		h := &book.Harvest{Plants: []book.Plant{{Number: "1"}}, Observations: c.obs}
		got := trialPlants(h, run)[0].WeightG
		if (got == nil) != (c.want == 0) || got != nil && *got != c.want {
			t.Errorf("%s: %v, want %v g", c.name, got, c.want)
		}
	}
}
