package report

import (
	"strings"
	"testing"
)

// The table of fruit has no column for ribs, so that the note on their number says it.
func TestNoteOnRibsSaysTheirNumber(t *testing.T) {
	s := synthetic(8)
	s.run.Fruits[2].Ribs, s.run.Fruits[2].Notes = 11, []string{"ribs-unsure"}
	pages, err := htmlPages(s.run, s.load, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(pages[0].Data), "11 ribs, good to ±2 only") {
		t.Error("the page does not say how many ribs are good to ±2")
	}
}
