package record

import (
	"slices"
	"testing"
)

// Eight groups look different, in colour and in dash.
func TestGroupLook(t *testing.T) {
	var colours, dashes []string
	for g := 1; g <= 8; g++ {
		c, d := GroupLook(g)
		if slices.Contains(colours, c) || slices.Contains(dashes, d) {
			t.Errorf("group %d looks like another: %s %q", g, c, d)
		}
		colours, dashes = append(colours, c), append(dashes, d)
	}
	if a, _ := GroupLook(0); a != colours[0] {
		t.Errorf("no group: %s", a)
	}
}

func TestWhy(t *testing.T) {
	off := GroupVerdict{Verdict: OffType, Reasons: []string{"longer"}, Apart: []string{"bent"}}
	unknown := GroupVerdict{Verdict: NotJudged, Reasons: []string{"no description"}, Apart: []string{"bent"}}
	alone := GroupVerdict{Verdict: NotJudged, Reasons: []string{"no description"}}
	for _, c := range []struct {
		g    GroupVerdict
		want string
	}{{off, "longer"}, {unknown, "bent"}, {alone, "no description"}, {GroupVerdict{Apart: []string{"bent"}}, "bent"}} {
		if got := c.g.Why(); len(got) != 1 || got[0] != c.want {
			t.Errorf("%+v: %q", c.g, got)
		}
	}
}

func TestWordsOfAFruit(t *testing.T) {
	f := Fruit{Photo: "a.jpg", Number: 2, Plant: "3", Length: Value{V: 213.4}, Width: Value{V: 98.4}, Ratio: None()}
	if f.Caption(4) != "plant 3, no. 2" || f.SizeWords() != "213 × 98 mm" || f.Alt() != "Fruit 2 of a.jpg, 213 × 98 mm" {
		t.Error(f.Caption(4), f.SizeWords(), f.Alt())
	}
	f = Fruit{Photo: "b.jpg", Number: 1, Length: None(), Width: None(), Ratio: Value{V: 2.5}}
	if f.Caption(1) != "no. 1" || f.Caption(2) != "no. 1, b.jpg" || f.SizeWords() != "length ÷ width 2.50" {
		t.Error(f.Caption(1), f.Caption(2), f.SizeWords())
	}
}
