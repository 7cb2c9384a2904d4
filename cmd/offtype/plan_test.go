package main

import (
	"testing"

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
