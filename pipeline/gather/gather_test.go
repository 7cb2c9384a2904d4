package gather

import (
	"reflect"
	"testing"

	"offtype/pipeline/book"
	"offtype/pipeline/record"
	"offtype/pipeline/report"
)

// A book of an older program holds both weights of a corrected fruit: the later one counts, and the report shows it only.
func TestYieldOfOlderBook(t *testing.T) {
	g := func(v float64) *float64 { return &v }
	h := &book.Harvest{Plants: []book.Plant{{Number: "1"}, {Number: "2"}}, Observations: []book.Observation{
		{ID: 1, Photo: "a.jpg", Fruit: 1, Trait: "weight", Value: g(712), Day: "2026-10-05", Unit: "g"},
		{ID: 2, Photo: "a.jpg", Fruit: 1, Trait: "weight", Value: g(900), Day: "2026-10-05", Unit: "g"},
		{ID: 3, Plant: "2", Trait: "weight", Value: g(3000), Day: "2026-10-05", Unit: "g"},
		{ID: 4, Photo: "a.jpg", Fruit: 3, Trait: "weight", Value: g(1400), Day: "2026-10-05", Unit: "g"},
	}}
	run := &record.Run{}
	for i, plant := range []string{"1", "2", "2"} {
		run.Fruits = append(run.Fruits, record.Fruit{Photo: "a.jpg", Number: i + 1, Plant: plant})
	}
	got := trialPlants(h, run)
	if w := got[0].WeightG; w == nil || *w != 900 {
		t.Errorf("plant 1: %v g, want 900", w)
	}
	if w := got[1].WeightG; w == nil || *w != 3000 { // one of its two fruit was weighed too: not added
		t.Errorf("plant 2: %v g, want the 3000 of the whole plant", w)
	}
	if x := entered(h); len(x.Hand) != 3 || x.Hand[0].Value != "900 g" {
		t.Errorf("report: %+v", x.Hand)
	}
}

// A fruit that is weighed again after curing is one fruit: the newest weight counts.
func TestTrialWeights(t *testing.T) {
	g := func(fruit int, day string, grams float64) book.Observation {
		return book.Observation{Photo: "a.jpg", Fruit: fruit, Trait: "weight", Value: &grams, Date: day, Day: day}
	}
	run := &record.Run{Fruits: []record.Fruit{{Photo: "a.jpg", Number: 1, Plant: "1"}, {Photo: "a.jpg", Number: 2, Plant: "1"}}}
	for _, c := range []struct {
		name string
		obs  []book.Observation
		want float64 // 0: not known
	}{
		{"one of two, twice", []book.Observation{g(1, "2026-10-01", 700), g(1, "2026-12-01", 600)}, 0},
		{"both, one of them twice", []book.Observation{g(1, "2026-12-01", 600), g(1, "2026-10-01", 700), g(2, "2026-10-01", 800)}, 1400},
		{"put right on the same day", []book.Observation{g(1, "2026-10-01", 70), g(1, "2026-10-01", 700), g(2, "2026-10-01", 800)}, 1500},
	} {
		h := &book.Harvest{Plants: []book.Plant{{Number: "1"}}, Observations: c.obs}
		got := trialPlants(h, run)[0].WeightG
		if (got == nil) != (c.want == 0) || got != nil && *got != c.want {
			t.Errorf("%s: %v, want %v g", c.name, got, c.want)
		}
	}
}

// Plants of several seed lots are told apart for the report; control plants are of another lot on purpose.
func TestLotsOfAHarvest(t *testing.T) {
	h := book.Harvest{Lots: []book.Lot{{Code: "L1", SupplierLot: "A1"}, {Code: "L2"}},
		Plants: []book.Plant{{Number: "1", Lot: "L1"}, {Number: "2", Lot: "L2"}, {Number: "3", Lot: "L2", Control: true}, {Number: "4"}}}
	want := []report.LotPlants{{Name: "A1", Plants: []string{"1"}}, {Name: "L2", Plants: []string{"2"}}, {Plants: []string{"4"}}}
	if got := lotsOf(&h); !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, want %+v", got, want)
	}
}
