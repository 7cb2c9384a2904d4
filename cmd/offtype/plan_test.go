package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"offtype/pipeline/seed"
)

// A weight that was corrected counts once, and a plant counts as weighed when each of its fruit was.
func TestYieldOfCorrectedWeights(t *testing.T) {
	dir := t.TempDir()
	bk := "--book=" + filepath.Join(dir, "test.book")
	ok(t, "run", "--from", handTable(t, 1, 2), "--out", filepath.Join(dir, "r"), bk, "--harvest", "2026")
	say := func(fruit, weight string) string {
		return ok(t, "observe", bk, "--force", "2026", fruit, "weight", weight)
	}
	if out := say("bench/1", "712 g"); strings.Contains(out, "replaces") {
		t.Errorf("first weight: %s", out)
	}
	for range 3 {
		say("bench/1", "712 g")
	}
	if out := ok(t, "plan", bk, "--trial", "2026"); !strings.Contains(out, "not written down: weight") {
		t.Errorf("one fruit weighed four times counts as all four: %s", out)
	}
	if out := say("bench/1", "0.9 kg"); !strings.Contains(out, "0.9 kg; replaces 712 g") {
		t.Errorf("corrected weight: %s", out)
	}
	for _, f := range []string{"bench/2", "bench/3", "bench/4"} {
		say(f, "1000 g")
	}
	if out := ok(t, "plan", bk, "--trial", "2026"); !strings.Contains(out, "3900 g a plant") {
		t.Errorf("0.9 kg and three times 1 kg: %s", out)
	}
	if out := ok(t, "book", "show", bk, "2026"); strings.Contains(out, "712") {
		t.Errorf("the replaced weight stands in the book:\n%s", out)
	}
}

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

// A bed list made in December is for the next year, unless a year is named.
func TestPlanOfTheNextSeason(t *testing.T) {
	dir := t.TempDir()
	for _, c := range []struct {
		day  time.Time
		args []string
		want string
	}{
		{time.Date(2026, 12, 1, 9, 0, 0, 0, time.Local), nil, "Bed list 2027"},
		{time.Date(2026, 4, 1, 9, 0, 0, 0, time.Local), nil, "Bed list 2026"},
		{time.Date(2026, 12, 1, 9, 0, 0, 0, time.Local), []string{"--year", "2026"}, "Bed list 2026"},
	} {
		var out, errs bytes.Buffer
		file := filepath.Join(dir, "bed.html")
		e := &env{ctx: context.Background(), out: &out, err: &errs, now: func() time.Time { return c.day }}
		if code := run(e, append([]string{"plan", "--sow", "Hollin Tan:L-2027:18", "--out", file}, c.args...)); code != exitOK {
			t.Fatalf("status %d\n%s", code, errs.String())
		}
		if b, err := os.ReadFile(file); err != nil || !strings.Contains(string(b), c.want) {
			t.Errorf("%s %v: no %q (%v)", c.day.Format(time.DateOnly), c.args, c.want, err)
		}
	}
}
