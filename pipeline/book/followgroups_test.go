package book

import (
	"context"
	"fmt"
	"strings"
	"testing"
)

// Names of groups, and fruit that were put into a group by hand, stay with the fruit of the group when a measurement
// numbers the groups anew. A group made by hand never becomes a computed one.
func TestGroupDecisionsFollow(t *testing.T) {
	ctx := context.Background()
	b, run := recorded(t) // of each photo, fruit 2 and 4 are group 1, fruit 1 and 3 group 2
	decide := func(s Subject, kind, value string) {
		t.Helper()
		must(t, b.AddDecision(ctx, "2026", s, kind, value, "", ""))
	}
	decide(Subject{}, "group name", "1: Long necks")
	decide(Subject{Photo: "table-1.jpg", Fruit: 1}, "group", "1")
	decide(Subject{Photo: "table-2.jpg", Fruit: 1}, "group", "3")
	decide(Subject{}, "group name", "3: Odd one")
	decide(Subject{}, "group name", "2: Plain")
	check := func(what string, want ...string) {
		t.Helper()
		h, err := b.Harvest(ctx, "2026")
		must(t, err)
		for i, d := range h.Decisions {
			got := d.Value
			if d.Lost != "" {
				got = "lost"
			}
			if got != want[i] {
				t.Errorf("%s: decision %d is %q, want %q", what, i, got, want[i])
			}
		}
	}
	again := sample(3, 2, 4)
	record := func(n int, group func(i, was int) int) string {
		t.Helper()
		again.Settings["measurement"] = fmt.Sprint(n)
		for i := range again.Groups {
			again.Groups[i].Group = group(i, run.Groups[i].Group)
		}
		got, err := b.RecordRun(ctx, "2026", "L-1", again)
		must(t, err)
		return strings.Join(got.Said, "\n")
	}
	record(2, func(i, was int) int {
		if i == 6 { // fruit 3 of table 2 is a group of its own now: the number of the one made by hand
			return 3
		}
		return 3 - was
	})
	check("numbers changed", "2: Long necks", "2", "4", "4: Odd one", "1: Plain")

	said := record(3, func(i, was int) int { return 1 + i/2%3 }) // every group went apart
	check("groups went apart", "5: Long necks", "5", "4", "4: Odd one", "lost")
	if want := "the name “Plain” of group 1 could not follow"; !strings.Contains(said, want) {
		t.Errorf("not said: %q in\n%s", want, said)
	}
}
