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

// True fruit, smooth as the renderer made them, on a photo without card and scale: grooves found in the shading with an
// assumed camera neither make an off-type nor a group.
func TestNoGroovesWithoutAScale(t *testing.T) {
	v := demoVariety(t)
	run, _ := sceneRun(t, 12, "demo-2025")
	untag(run)
	for i := range run.Fruits {
		f := &run.Fruits[i]
		f.Photo, f.Number, f.Unscaled, f.Notes = "a.jpg", i+1, true, []string{noteDoubtful}
		if i%2 == 1 { // depth as measured on two fruit of the demo's first table, without its card
			f.Ribs, f.GrooveDepth = 5, record.Value{V: .138, U: .01}
		}
	}
	j := judged(t, run, v, Options{})
	for _, f := range j.Fruits {
		if f.Verdict != record.TrueToType {
			t.Errorf("fruit %d is %s: %q", f.Fruit, f.Verdict, f.Reasons)
		}
	}
	if len(j.Groups) != 1 {
		t.Errorf("%d groups of one type: %+v", len(j.Groups), j.Groups)
	}
}
