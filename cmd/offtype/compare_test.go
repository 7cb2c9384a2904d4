package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Result folders of two years often have one name: each stands under its own path then, and the page does not show
// the fruit of one as those of the other.
func TestCompareFoldersOfOneName(t *testing.T) {
	dir := t.TempDir()
	old, now := filepath.Join(dir, "2025", "result"), filepath.Join(dir, "2026", "result")
	ok(t, "run", "--from", handTable(t, 1, 8), "--out", old, "-q")
	ok(t, "run", "--from", handTable(t, 2, 8, 3), "--out", now, "-q")
	ok(t, "compare", old, now, "--out", dir)
	b, err := os.ReadFile(filepath.Join(dir, "compare.json"))
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		Pairs []struct{ From, To string } `json:"pairs"`
	}
	if err := json.Unmarshal(b, &got); err != nil {
		t.Fatal(err)
	}
	if len(got.Pairs) != 1 || got.Pairs[0].From != old || got.Pairs[0].To != now {
		t.Errorf("compared: %+v, want %s and %s", got.Pairs, old, now)
	}
}

// A result folder that is not whole is said by the file that is missing, with what to do.
func TestCompareBrokenFolder(t *testing.T) {
	dir := t.TempDir()
	good, bad := filepath.Join(dir, "good"), filepath.Join(dir, "bad")
	ok(t, "run", "--from", handTable(t, 1, 8), "--out", good, "-q")
	ok(t, "run", "--from", handTable(t, 2, 8), "--out", bad, "-q")
	if err := os.Remove(filepath.Join(bad, "groups.csv")); err != nil {
		t.Fatal(err)
	}
	_, errs, code := offtype(t, "compare", good, bad, "--out", dir)
	if code != exitNothing || !strings.Contains(errs, "groups.csv") || !strings.Contains(errs, "offtype run") {
		t.Errorf("status %d, %q", code, errs)
	}
}
