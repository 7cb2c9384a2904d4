package desk

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"offtype/pipeline/book"
	"offtype/pipeline/record"
)

// written puts a measurement of one fruit and a taste into the book.
func written(t *testing.T, d *Desk, harvest string) {
	t.Helper()
	run := record.Run{Fruits: []record.Fruit{{Photo: "a.jpg", Number: 1}}, Photos: []record.Photo{{Name: "a.jpg", Status: record.StatusOK, Width: 10, Height: 10, SHA256: strings.Repeat("a", 64)}}}
	if _, err := d.book.RecordRun(t.Context(), harvest, "L-1", run); err != nil {
		t.Fatal(err)
	}
	if err := d.book.AddObservation(t.Context(), harvest, book.Subject{Photo: "a.jpg", Fruit: 1}, "taste", "7", "", book.Observation{}, false); err != nil {
		t.Fatal(err)
	}
}

// A harvest keeps its photos, its address and what the book holds of it under its new name, also after a restart.
func TestRenameOnThePage(t *testing.T) {
	d, c := withHarvest(t)
	c.upload("2026-squash", "a.jpg", plainJPEG(t, 1))
	settled(t, d.harvest("2026-squash"))
	written(t, d, "2026 squash")
	c.post("/table", url.Values{"name": {"Other"}})
	if s, b := c.post("/h/2026-squash/rename", url.Values{"name": {"OTHER"}}); s != http.StatusUnprocessableEntity || !strings.Contains(b, "already") {
		t.Errorf("two harvests of one name: %d %.500s", s, b)
	}
	if s, b := c.post("/h/2026-squash/rename", url.Values{"name": {" "}}); s != http.StatusUnprocessableEntity {
		t.Errorf("no name: %d %.500s", s, b)
	}
	if s, b := c.post("/h/2026-squash/rename", url.Values{"name": {"Pumpkins\n2026"}}); s != http.StatusSeeOther {
		t.Fatalf("%d %.800s", s, b)
	}
	if _, b := c.get("/h/2026-squash/photos?said=renamed"); !strings.Contains(b, "Pumpkins 2026") || !strings.Contains(b, "a.jpg") || !strings.Contains(b, "Renamed.") {
		t.Errorf("after renaming: %.2000s", b)
	}
	b, err := d.book.Harvest(t.Context(), "Pumpkins 2026")
	if err != nil || len(b.Observations) != 1 {
		t.Errorf("in the book: %+v, %v", b, err)
	}
	if h, err := readHarvest(d, "2026-squash"); err != nil || h.Name != "Pumpkins 2026" {
		t.Errorf("the next start finds %+v, %v", h, err)
	}
}

// Deleting asks first, and sets aside what goes: photos and book as they were.
func TestDeleteOnThePage(t *testing.T) {
	d, c := withHarvest(t)
	photo := plainJPEG(t, 1)
	c.upload("2026-squash", "a.jpg", photo)
	settled(t, d.harvest("2026-squash"))
	written(t, d, "2026 squash")
	_, ask := c.get("/h/2026-squash/delete")
	for _, want := range []string{"Delete 2026 squash?", "1 measurement with its verdicts, 1 weight, taste or other observation", "1 photo is set aside", "Keep it"} {
		if !strings.Contains(ask, want) {
			t.Errorf("%q is not said: %.3000s", want, ask)
		}
	}
	for _, v := range []url.Values{{"name": {"2026 squash"}}, {"name": {"another"}, "sure": {"1"}}, {}} {
		if s, _ := c.post("/h/2026-squash/delete", v); s != http.StatusUnprocessableEntity || d.harvest("2026-squash") == nil {
			t.Fatalf("deleted without being sure: %d, %v", s, v)
		}
	}
	if s, b := c.post("/h/2026-squash/delete", url.Values{"name": {"2026 squash"}, "sure": {"1"}}); s != http.StatusSeeOther {
		t.Fatalf("%d %.800s", s, b)
	}
	for _, p := range []string{"/h/2026-squash/photos", "/h/2026-squash/table"} {
		if s, _ := c.get(p); s != http.StatusNotFound {
			t.Errorf("%s is still there: %d", p, s)
		}
	}
	if s, b := c.get("/table?said=deleted"); s != http.StatusOK || strings.Contains(b, "<b>2026 squash") || !strings.Contains(b, filepath.Join(d.dir, "removed")) {
		t.Errorf("the list: %.2000s", b)
	}
	if _, err := d.book.Harvest(t.Context(), "2026 squash"); !errors.Is(err, book.ErrNotFound) {
		t.Errorf("in the book: %v", err)
	}
	aside, _ := filepath.Glob(filepath.Join(d.dir, "removed", "2026-squash-*", "2026-squash", "photos", "a.jpg"))
	copies, _ := filepath.Glob(filepath.Join(d.dir, "removed", "2026-squash-*", "harvest.book"))
	if len(aside) != 1 || len(copies) != 1 {
		t.Fatalf("set aside: %q, %q", aside, copies)
	}
	if b, err := os.ReadFile(aside[0]); err != nil || string(b) != string(photo) {
		t.Errorf("the photo was changed: %v", err)
	}
	old, err := book.Open(context.Background(), copies[0], book.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer old.Close()
	if h, err := old.Harvest(t.Context(), "2026 squash"); err != nil || len(h.Observations) != 1 {
		t.Errorf("the copy of the book: %+v, %v", h, err)
	}
	if s, _ := c.post("/table", url.Values{"name": {"2026 squash"}}); s != http.StatusSeeOther {
		t.Errorf("the name cannot be used again: %d", s)
	}
}

// A harvest that only the book holds is not written over by a new one of its name.
func TestNewHarvestOfAMeasuredName(t *testing.T) {
	d, c := withHarvest(t)
	written(t, d, "autumn 2026")
	if s, b := c.post("/table", url.Values{"name": {" autumn  2026 "}}); s != http.StatusUnprocessableEntity || !strings.Contains(b, "holds a harvest") {
		t.Errorf("%d %.800s", s, b)
	}
	if err := d.book.Set(t.Context(), "harvest", "winter 2026", map[string]string{"note": "to come"}); err != nil {
		t.Fatal(err)
	}
	if s, b := c.post("/table", url.Values{"name": {"winter 2026"}}); s != http.StatusSeeOther {
		t.Errorf("one that was only written down: %d %.800s", s, b)
	}
}
