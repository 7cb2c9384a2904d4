package book

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestPlaces(t *testing.T) {
	ctx := context.Background()
	b, _ := recorded(t)
	if _, err := b.PlaceOf(ctx, "2026"); !errors.Is(err, ErrNotFound) {
		t.Errorf("a harvest without a place: %v", err)
	}
	if err := b.SetPlace(ctx, "no such harvest", Place{Result: "/x"}); !errors.Is(err, ErrNotFound) {
		t.Errorf("a place of no harvest: %v", err)
	}
	want := Place{Result: "/secret place/out", Options: RunOptions{Coin: 23.25, Controls: []string{"3"}, CardColours: map[int]string{3: "/secret place/c.txt"}}}
	for _, p := range []Place{{Result: "/before"}, want} {
		must(t, b.SetPlace(ctx, "2026", p))
	}
	got, err := b.PlaceOf(ctx, "2026")
	must(t, err)
	x, _ := json.Marshal(got)
	y, _ := json.Marshal(want)
	if !bytes.Equal(x, y) {
		t.Errorf("place %s, want %s", x, y)
	}
	photos, err := b.Photos(ctx, "2026")
	must(t, err)
	if len(photos) == 0 {
		t.Error("no photos")
	}
	tables, err := b.Tables(ctx, ExportOptions{})
	must(t, err)
	if all, _ := json.Marshal(tables); strings.Contains(string(all), "secret place") {
		t.Error("the export gives away where the result lies")
	}
}

// A note and a picture are taken back by the numbers that are listed.
func TestNotesAndPicturesByNumber(t *testing.T) {
	ctx := context.Background()
	b, _ := recorded(t)
	fill(t, b)
	must(t, b.AddNote(ctx, "lot", "L-1", "packet was torn", "me"))
	must(t, b.AddNote(ctx, "book", "", "a note on all", ""))
	file := filepath.Join(t.TempDir(), "leaf.jpg")
	must(t, os.WriteFile(file, []byte("not really a picture"), 0o600))
	must(t, b.AddPicture(ctx, file, "leaf", "", "2026/1", "", ""))
	notes, err := b.Notes(ctx)
	must(t, err)
	if len(notes) != 3 || notes[0].Kind != "harvest" || notes[0].Name != "2026" || notes[1].Name != "L-1" || notes[1].Written != "me" || notes[2].Name != "" {
		t.Fatalf("notes: %+v", notes)
	}
	h, err := b.Harvest(ctx, "2026")
	must(t, err)
	if on := h.NotesOn(notes); len(on) != 2 {
		t.Errorf("notes on the harvest: %+v", on)
	}
	ps, err := b.Pictures(ctx)
	must(t, err)
	if len(ps) != 1 || ps[0].Of != "plant 2026/1" || ps[0].ID != h.Plants[0].Pictures[0].ID {
		t.Fatalf("pictures: %+v", ps)
	}
	must(t, b.Remove(ctx, "note", notes[1].ID))
	must(t, b.Remove(ctx, "picture", ps[0].ID))
	notes, err = b.Notes(ctx)
	must(t, err)
	ps, err = b.Pictures(ctx)
	must(t, err)
	if len(notes) != 2 || len(ps) != 0 {
		t.Errorf("left: %+v %+v", notes, ps)
	}
}
