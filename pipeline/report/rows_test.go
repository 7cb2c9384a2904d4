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

// Without plant tags each photo has its own no. 2: pictures of a group that come from several photos are told apart by the
// photo's name, on the page and in the report; with tags, or with one photo, nothing is added.
func TestPicturesOfSeveralPhotosAreToldApart(t *testing.T) {
	captions := func(s *synth) map[string]int {
		b := newBuilder(s.run, s.load, Options{SplitOver: 60})
		if err := b.photos(); err != nil {
			t.Fatal(err)
		}
		n := map[string]int{}
		for _, c := range b.cuts[1] {
			n[c.Caption]++
		}
		return n
	}
	s := synthetic(16)
	if n := captions(s); n["plant 2, no. 2"] != 1 {
		t.Errorf("with tags: %v", n)
	}
	untag(s)
	n := captions(s)
	if len(n) != 16 || n["no. 2, table-01.jpg"] != 1 || n["no. 2, table-02.jpg"] != 1 {
		t.Errorf("%v: not told apart", n)
	}
	var c placed
	d, ok := built(t, s).row(1)
	if !ok {
		t.Fatal("no row")
	}
	d.draw(&c)
	said := strings.Join(c.said, "\n")
	if !strings.Contains(said, "01.jpg") || !strings.Contains(said, "02.jpg") || !strings.Contains(said, "no. 2") {
		t.Errorf("the report's row does not tell fruit of two photos apart: %q", c.said)
	}
	one := synthetic(8)
	untag(one)
	if n := captions(one); n["no. 2"] != 1 {
		t.Errorf("one photo: %v", n)
	}
}

func untag(s *synth) {
	for i := range s.run.Fruits {
		s.run.Fruits[i].Plant, s.run.Groups[i].Plant = "", ""
	}
}

// A name is cut in its middle until it fits.
func TestShortened(t *testing.T) {
	var c placed
	i := ink{size: 5}
	for _, name := range []string{"dev-1-planks-overhead.jpg", "IMG_0412.jpg", "äöü-a-very-long-name-of-a-photo-from-a-telephone-20261004.jpg"} {
		s := shortened(&c, name, i, 14)
		if c.width(s, i) > 14 || !strings.HasSuffix(s, ".jpg") {
			t.Errorf("%q is %.1f mm wide", s, c.width(s, i))
		}
		if w := c.width(name, i); w <= 14 && s != name {
			t.Errorf("%q became %q without need", name, s)
		}
	}
}
