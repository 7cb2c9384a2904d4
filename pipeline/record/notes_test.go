package record

import (
	"os"
	"strings"
	"testing"
)

// TestNotesAreDocumented: every code is lower case with hyphens and explained in docs/tables.md.
func TestNotesAreDocumented(t *testing.T) {
	doc, err := os.ReadFile("../../docs/tables.md")
	if err != nil {
		t.Fatal(err)
	}
	for code, words := range noteWords {
		if !strings.Contains(string(doc), "`"+code+"`") {
			t.Errorf("docs/tables.md does not explain `%s`", code)
		}
		if words == "" || strings.Trim(code, "abcdefghijklmnopqrstuvwxyz-") != "" {
			t.Errorf("code %q, words %q", code, words)
		}
	}
}

// A note that a number is not exact says the number, for the page's table has no column for it.
func TestRibsNoteSaysTheNumber(t *testing.T) {
	f := Fruit{Ribs: 11, Notes: []string{"near-edge", "ribs-unsure"}}
	if got := strings.Join(f.NotesInWords(), "; "); got != "near the picture's edge; 11 ribs, good to ±2 only" {
		t.Error(got)
	}
	f.Ribs = -1 // read from a table without the number
	if got := strings.Join(f.NotesInWords(), "; "); got != "near the picture's edge; number of ribs good to ±2 only" {
		t.Error(got)
	}
}

func TestAddNotes(t *testing.T) {
	f := Fruit{Notes: []string{"cut"}}
	f.AddNotes("touches", "cut", "touches")
	if got := strings.Join(f.Notes, ";"); got != "cut;touches" {
		t.Error(got)
	}
}
