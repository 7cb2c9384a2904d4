package desk

import (
	"net/http"
	"slices"
	"strings"
	"testing"
)

// Photos whose names are cut short, or get a number because two have one name, are there at the next start.
func TestLongNamesOutliveARestart(t *testing.T) {
	d, c := withHarvest(t)
	long := strings.Repeat("table-in-the-barn-", 5)
	for i, name := range []string{long + ".jpg", long + ".jpg", strings.Repeat("x", 59) + " y.jpg", strings.Repeat("x", 59) + " z.jpg", "a.jpg", "a.jpg"} {
		if s, b := c.upload("2026-squash", name, plainJPEG(t, 200+i)); s != http.StatusCreated {
			t.Fatalf("upload of %s: %d %s", name, s, b)
		}
	}
	var want, got []string
	h := d.harvest("2026-squash")
	h.mu.Lock()
	for i := range h.Photos {
		want = append(want, h.Photos[i].File)
	}
	h.mu.Unlock()
	for _, p := range openDeskFiles(t, d) {
		got = append(got, p.File)
	}
	if len(want) != 6 || !slices.Equal(got, want) {
		t.Errorf("photos %q, after a start %q", want, got)
	}
}

// A name read from harvest.json must not lead out of the folder.
func TestUsableNames(t *testing.T) {
	for name, want := range map[string]bool{
		"a.jpg": true, strings.Repeat("x", 60) + "-12.jpg": true, "photo": true,
		"": false, "../a.jpg": false, "a/b.jpg": false, `a\b.jpg`: false, ".hidden.jpg": false, "a.fix.json": false, "-a.jpg": false, "a.jpg\n": false,
	} {
		if p := (savedPhoto{Key: "ab12", File: name}); p.usable() != want {
			t.Errorf("%q is usable: %v, want %v", name, !want, want)
		}
	}
}
