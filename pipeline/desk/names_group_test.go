package desk

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"offtype/pipeline/record"
)

// Names of groups stay with their fruit when a photo is taken out and the groups get other numbers; a name that cannot
// follow is said until it is given again. Groups and verdict show them.
func TestGroupNamesOnThePage(t *testing.T) {
	d, c := withHarvest(t)
	h := d.harvest("2026-squash")
	measure := func(groups ...int) {
		t.Helper()
		run := &record.Run{Settings: map[string]string{"n": string(rune('0' + len(groups)))}}
		run.Judgement.Variety = &record.VarietyRef{Name: "Hollin Tan", Species: "Cucurbita moschata", Version: "1"}
		run.Photos = []record.Photo{{Name: "a.jpg", Status: record.StatusOK, Width: 1000, Height: 1000, SHA256: strings.Repeat("a", 64)}}
		seen := map[int]bool{}
		for i, g := range groups {
			if g == 0 {
				continue
			}
			f := record.Fruit{Photo: "a.jpg", Number: i + 1, Outline: square(float64(100*i), 0, 80)}
			run.Fruits = append(run.Fruits, f)
			run.Groups = append(run.Groups, record.Membership{Key: f.Key(), Group: g, Membership: 1})
			if !seen[g] {
				run.Judgement.Groups = append(run.Judgement.Groups, record.GroupVerdict{Group: g, Fruits: 1, Verdict: record.TrueToType, Reasons: []string{"x"}})
			}
			seen[g] = true
		}
		if _, err := d.book.RecordRun(t.Context(), "2026 squash", "", *run); err != nil {
			t.Fatal(err)
		}
		h.mu.Lock()
		h.Photos, h.live = []savedPhoto{{Key: "k1", File: "a.jpg"}}, map[string]*live{"k1": {state: measured}}
		h.result = run
		h.mu.Unlock()
	}
	name := func(group, name string) {
		t.Helper()
		if s, b := c.post("/h/2026-squash/groups/name", url.Values{"group": {group}, "name": {name}}); s != http.StatusSeeOther {
			t.Fatalf("%d %.500s", s, b)
		}
	}
	has := func(page string, want ...string) {
		t.Helper()
		_, b := c.get("/h/2026-squash/" + page)
		for _, w := range want {
			if no, ok := strings.CutPrefix(w, "!"); ok == strings.Contains(b, strings.TrimPrefix(w, "!")) {
				t.Errorf("%s: %q, %v: %s", page, no, ok, b)
			}
		}
	}
	measure(1, 1, 2, 2, 3, 3)
	name("2", "Long necks")
	name("3", "Ribbed")
	measure(1, 1, 0, 0, 2, 2, 0)
	has("groups", "Group 2: Ribbed", "!Group 2: Long necks", "you named “Long necks” is not found any more")
	has("verdict", "Group 2: Ribbed")
	name("1", "Long necks")
	has("groups", "Group 1: Long necks", "!not found any more")
	name("1", "")
	has("groups", "!Long necks")
}
