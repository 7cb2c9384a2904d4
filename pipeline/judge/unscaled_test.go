package judge

import (
	"strings"
	"testing"

	"offtype/pipeline/record"
)

// Two kinds of fruit on one photo without card and scale are told apart by their sizes in px, which no sentence may
// call millimetres.
func TestApartWithoutAScale(t *testing.T) {
	run, _ := sceneRun(t, 11, "demo-2026")
	for i := range run.Fruits {
		f := &run.Fruits[i]
		f.Photo, f.Number, f.Unscaled, f.Notes = "a.jpg", i+1, true, []string{noteDoubtful}
	}
	run.Photos = []record.Photo{{Name: "a.jpg", Status: record.StatusOK}}
	said := ""
	for _, g := range judged(t, run, nil, Options{}).Groups {
		said += strings.Join(g.Apart, "\n") + "\n"
	}
	if !strings.Contains(said, "longer than the other fruit") || strings.Contains(said, " mm ") {
		t.Errorf("groups of fruit without a scale differ so:\n%s", said)
	}
}
