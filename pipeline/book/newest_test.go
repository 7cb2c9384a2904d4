package book

import (
	"context"
	"path/filepath"
	"slices"
	"testing"
	"time"
)

// A value entered again for the same fruit and day replaces the first one, whichever way the photo is named; that of
// another day stands beside it. Another taster's score and a bitter fruit are never replaced.
func TestObserveReplaces(t *testing.T) {
	ctx := context.Background()
	now := time.Date(2026, 10, 5, 12, 0, 0, 0, time.Local)
	b, err := Open(ctx, filepath.Join(t.TempDir(), "b.book"), Options{Now: func() time.Time { return now }})
	must(t, err)
	t.Cleanup(func() { b.Close() })
	_, err = b.RecordRun(ctx, "2026", "L-1", sample(3, 2, 4))
	must(t, err)
	long, short := Subject{Photo: "table-1.jpg", Fruit: 1}, Subject{Photo: "table-1", Fruit: 1}
	for _, c := range []struct {
		s            Subject
		trait, value string
		more         Observation
		replaced     string
		stand        int // observations in the book afterwards
	}{
		{long, "weight", "1012 g", Observation{By: "me", Note: "wet"}, "", 1},
		{short, "weight", "0.9 kg", Observation{}, "1012 g", 1},
		{short, "weight", "0.9 kg", Observation{}, "", 1},
		{short, "weight", "905 g", Observation{Date: "2026-10-05"}, "0.9 kg", 1}, // the same day, said
		{short, "weight", "906 g", Observation{}, "905 g", 1},
		{short, "weight", "880 g", Observation{Date: "2026-12-01"}, "", 2},
		{Subject{Photo: "table-1", Fruit: 2}, "weight", "950 g", Observation{}, "", 3},
		{Subject{Plant: "1"}, "disease", "mildew", Observation{}, "", 4},
		{Subject{Plant: "1"}, "disease", "none", Observation{}, "mildew", 4},
		{long, "taste", "7 nutty", Observation{By: "Asa"}, "", 5},
		{long, "taste", "4 dull", Observation{By: "Bo"}, "", 6},
		{long, "taste", "6 nutty", Observation{By: "Asa"}, "7 nutty", 6},
		{long, "bitter", "yes", Observation{}, "", 7},
		{long, "bitter", "no", Observation{}, "", 8},
	} {
		got, err := b.Observe(ctx, "2026", c.s, c.trait, c.value, "", c.more, true)
		must(t, err)
		h, err := b.Harvest(ctx, "2026")
		must(t, err)
		if got != c.replaced || len(h.Observations) != c.stand {
			t.Errorf("%s of %s = %s: replaces %q and %d stand, want %q and %d", c.trait, c.s, c.value, got, len(h.Observations), c.replaced, c.stand)
		}
	}
	h, err := b.Harvest(ctx, "2026")
	must(t, err)
	if o := h.Observations[0]; *o.Value != 906 || o.By != "me" || o.Note != "wet" || o.Entered != "906 g" || o.Date != "2026-10-05" {
		t.Errorf("first: %+v", o)
	}
}

// Two weights of one fruit, as older programs wrote them: the later one counts, and of an earlier and a later day the later.
func TestNewest(t *testing.T) {
	g := func(v float64) *float64 { return &v }
	os := []Observation{
		{ID: 1, Photo: "a.jpg", Fruit: 1, Trait: "weight", Value: g(712), Day: "2026-10-05"},
		{ID: 2, Photo: "a.jpg", Fruit: 1, Trait: "weight", Value: g(900), Day: "2026-10-05"},
		{ID: 3, Photo: "a.jpg", Fruit: 1, Trait: "weight", Value: g(950), Day: "2026-09-20"},
		{ID: 4, Photo: "a.jpg", Fruit: 2, Trait: "weight", Value: g(800), Day: "2026-10-05"},
		{ID: 5, Photo: "a.jpg", Fruit: 1, Trait: "taste", Value: g(7), By: "Asa", Day: "2026-10-05"},
		{ID: 6, Photo: "a.jpg", Fruit: 1, Trait: "taste", Value: g(4), By: "Bo", Day: "2026-10-05"},
		{ID: 7, Fruit: 1, Trait: "weight", Value: g(1), Lost: "gone", Day: "2026-10-05"},
		{ID: 8, Photo: "a.jpg", Fruit: 1, Trait: "bitter", Words: "yes", Day: "2026-10-05"},
		{ID: 9, Photo: "a.jpg", Fruit: 1, Trait: "bitter", Words: "no", Day: "2026-10-05"},
	}
	ids := func(os []Observation) (out []int64) {
		for _, o := range os {
			out = append(out, o.ID)
		}
		return out
	}
	for _, c := range []struct {
		name string
		got  []Observation
		want []int64
	}{
		{"newest", Newest(os), []int64{2, 4, 5, 6, 7, 8, 9}},
		{"newest of a day", NewestOfDay(os), []int64{2, 3, 4, 5, 6, 7, 8, 9}},
	} {
		if got := ids(c.got); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}
