package judge

import (
	"bytes"
	"strings"
	"testing"

	"offtype/cluster/reference"
	"offtype/pipeline/record"
)

// marked gives the photos of a run bytes of their own. The first digits of the first two are numbers to a reader of YAML.
func marked(run *record.Run) {
	for i := range run.Photos {
		run.Photos[i].SHA256 = []string{"1234567890123456", "12e4567890123456", "00345678901234ab"}[i%3] + strings.Repeat("0", 48)
	}
}

// again is the harvest measured anew: other outlines, other numbers.
func again(run *record.Run) *record.Run {
	x := *run
	x.Fruits = append([]record.Fruit(nil), run.Fruits...)
	for i := range x.Fruits {
		f := &x.Fruits[i]
		f.X, f.Length.V = f.X+1.2, f.Length.V*1.004
	}
	return &x
}

// learnt learns from a run as the command does, from its table, and reads the file back.
func learnt(t *testing.T, run *record.Run, plants []string) *Variety {
	t.Helper()
	var b bytes.Buffer
	if err := record.WriteFruits(&b, run.Fruits, record.D65); err != nil {
		t.Fatal(err)
	}
	fs, err := record.ReadFruits(&b)
	if err != nil {
		t.Fatal(err)
	}
	d, err := Learn(fs, run.Photos, plants, reference.Head{Name: "T", Species: "Cucurbita moschata", Version: "1"})
	if err != nil {
		t.Fatal(err)
	}
	text, err := d.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	v, err := ParseVariety("v.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// The plants that taught a description are named whether or not the harvest was measured anew, and from a table whose
// numbers are rounded as from the run.
func TestTeachersMeasuredAnew(t *testing.T) {
	run, _ := sceneRun(t, 7, "demo-2025")
	for i := range run.Fruits {
		run.Fruits[i].X = float64(100*i) + 12.528 // 12.5 in the table, 13 without a decimal
	}
	all := []string{"1", "2", "3", "4"}
	if l := judged(t, run, learnt(t, run, all), Options{}).Lot; len(l.Taught) != 4 {
		t.Errorf("a table of the same run: taught by %v", l.Taught)
	}
	marked(run)
	v := learnt(t, run, all)
	l := judged(t, again(run), v, Options{}).Lot
	if said := strings.Join(l.Sentences, " "); len(l.Taught) != 4 || l.HasRange() || strings.Contains(said, "rate in the whole seed lot") || strings.Contains(said, "common rule") {
		t.Errorf("measured anew: taught by %v, range %v: %s", l.Taught, l.HasRange(), said)
	}
	l = judged(t, again(run), learnt(t, run, []string{"1", "2"}), Options{}).Lot
	if said := strings.Join(l.Sentences, " "); len(l.Taught) != 2 || !l.HasRange() || !strings.Contains(said, "take the grower's word for these") || !strings.Contains(said, "rate in the whole seed lot") {
		t.Errorf("two of four: taught by %v, range %v: %s", l.Taught, l.HasRange(), said)
	}
	if j := judged(t, again(run), learnt(t, run, nil), Options{}); j.Variety != nil {
		t.Error("a harvest measured anew vouches for itself")
	}
	other, _ := sceneRun(t, 8, "demo-2026")
	if l := judged(t, other, v, Options{}).Lot; len(l.Taught) > 0 {
		t.Errorf("another harvest: taught by %v", l.Taught)
	}
}
