package report

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"offtype/pipeline/record"
)

// unscale makes photo and fruit what the run gives of a photo without card and scale: sizes in px, here ten a mm, and
// the light's colour.
func (s *synth) unscale(photo string) {
	for i := range s.run.Photos {
		if p := &s.run.Photos[i]; p.Name == photo {
			p.Cards, p.Quads, p.MMPerPx, p.TiltDeg, p.HeightMM, p.CardResidual, p.ColourDE00, p.ColourOK = nil, nil, 0, 0, 0, 0, 0, false
		}
	}
	for i := range s.run.Fruits {
		f := &s.run.Fruits[i]
		if f.Photo != photo {
			continue
		}
		f.Unscaled, f.Skin, f.SkinWords = true, &record.Lab{L: 22, A: -41, B: 9}, "bluish"
		for _, v := range []*record.Value{&f.Length, &f.Width, &f.Midline} {
			*v = record.Value{V: 10 * v.V, U: 10 * v.U}
		}
		f.StalkLength, f.Volume = record.Value{V: 777, U: 1}, record.Value{V: 1000 * f.Volume.V, U: 1000}
		for k := range f.Profile {
			f.Profile[k] *= 10
		}
	}
}

// words are what a page says: its text, and the descriptions of its pictures.
func words(page string) string {
	alts := regexp.MustCompile(`(?:alt|aria-label)="([^"]*)"`).FindAllString(page, -1)
	for _, gone := range []string{`(?s)<style>.*?</style>`, `<[^>]*>`} {
		page = regexp.MustCompile(gone).ReplaceAllString(page, " ")
	}
	return page + strings.Join(alts, " ")
}

// pxNumbers are the numbers in px that no page may print: a length of 2000 and a volume of 10⁶ are no squash of this fixture.
func pxNumbers(s *synth) []string {
	out := []string{"777", "L* 22", "L 22", "-41", "bluish"}
	for _, f := range s.run.Fruits {
		if f.Unscaled {
			out = append(out, fmt.Sprintf("%.0f", f.Length.V), fmt.Sprintf("%.0f", f.Width.V), fmt.Sprintf("%.0f", f.Volume.V))
		}
	}
	return out
}

// Without a scale a length is a number of px: no page prints it as millimetres, nor a volume, an uncorrected colour or a
// scale bar, and each says why.
func TestNothingInMillimetresWithoutAScale(t *testing.T) {
	for _, c := range []struct {
		name  string
		fruit int
		photo string
	}{{"all", 8, "table-01.jpg"}, {"mixed", 24, "table-03.jpg"}} {
		s := synthetic(c.fruit)
		s.unscale(c.photo)
		before := s.run.Fruits[c.fruit-1].Length
		pages, err := htmlPages(s.run, s.load, Options{})
		if err != nil {
			t.Fatal(err)
		}
		pdf, doc := write(t, "no-scale-"+c.name, s.doc())
		b, err := os.ReadFile(doc)
		if err != nil {
			t.Fatal(err)
		}
		var wall bytes.Buffer
		if err := s.doc().WallSheet(&wall); err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(t.TempDir(), "wall.pdf")
		if err := os.WriteFile(file, wall.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		texts := map[string]string{"page": words(string(pages[0].Data)), "document": words(string(b)), "pdf": tool(t, "pdftotext", "-layout", pdf, "-"), "wall": tool(t, "pdftotext", "-layout", file, "-")}
		for where, text := range texts {
			bad := pxNumbers(s)
			if c.name == "all" {
				bad = append(bad, "100 mm. All", "200 mm", "when printed", "scale bar")
			}
			for _, x := range bad {
				if regexp.MustCompile(`(^|[^0-9a-z])` + regexp.QuoteMeta(x) + `($|[^0-9])`).MatchString(text) {
					t.Errorf("%s, %s: prints %q", c.name, where, x)
				}
			}
			want := "No scale: sizes unknown"
			if c.name == "mixed" && (where == "page" || where == "wall") {
				want = "no scale"
			}
			if !strings.Contains(text, want) {
				t.Errorf("%s, %s: does not say %q", c.name, where, want)
			}
		}
		if s.run.Fruits[c.fruit-1].Length != before {
			t.Error("the caller's fruit are changed")
		}
	}
}

// A group without a scale stands beside the others drawn to fit, about as high as they are, and takes nothing
// from the scale of those that have one.
func TestUnscaledDrawnToFit(t *testing.T) {
	s := synthetic(24)
	alone := built(t, synthetic(24))
	s.unscale("table-03.jpg") // all of group 2
	b := built(t, s)
	if b.scale != alone.scale {
		t.Errorf("the sheets' scale is %v, without the fruit in px %v", b.scale, alone.scale)
	}
	d, ok := b.sideBySide(95)
	was, _ := alone.sideBySide(95)
	if !ok || math.Abs(d.h-was.h) > .2*was.h || d.caption != docEnglish.SideSome {
		t.Errorf("%.0f mm high with a group in px, %.0f mm without; caption %q", d.h, was.h, d.caption)
	}
	var c placed
	d.draw(&c)
	if len(c.high) != 2 || math.Abs(c.high[1]-c.high[0]) > .05*c.high[0] {
		t.Errorf("pictures %v mm high: the second is to fit beside the first", c.high)
	}
	if !slices.Contains(c.said, "plant 3, no scale") {
		t.Errorf("%q: the group without a scale is not named so", c.said)
	}
	if v := b.views[record.Key{Photo: "table-03.jpg", Number: 1}]; v == nil || v.scaled || v.hasLen || v.hasWid || v.pic.h < 300 {
		t.Errorf("fruit without a scale: %+v", v)
	}
}

// placed keeps the heights of pictures and the words.
type placed struct {
	high []float64
	said []string
}

func (p *placed) pic(_ *pic, _, _, _, h float64)     { p.high = append(p.high, h) }
func (p *placed) text(_, _ float64, s string, _ ink) { p.said = append(p.said, s) }
func (p *placed) path([]spot, bool, pen)             {}
func (p *placed) width(s string, i ink) float64      { return roughWidth(s, i) }

// The page draws fruit with a scale as if those without were not there, and a group is shown by one with a scale.
func TestPageKeepsItsScaleBesideUnscaled(t *testing.T) {
	build := func(unscaled bool) *builder {
		s := synthetic(16)
		if unscaled {
			s.unscale("table-01.jpg")
		}
		b := newBuilder(s.run, s.load, Options{SplitOver: 60})
		if err := b.photos(); err != nil {
			t.Fatal(err)
		}
		b.groups()
		return b
	}
	b, all := build(true), build(false)
	if b.pxPerMM < all.pxPerMM || b.pxPerMM > 1.3*all.pxPerMM {
		t.Errorf("%v px a mm beside fruit in px, %v without", b.pxPerMM, all.pxPerMM)
	}
	for _, cs := range b.cuts {
		for _, c := range cs {
			if c.Unscaled != strings.Contains(c.Sub, "no scale") || c.H > cutHeight+60 {
				t.Errorf("%s is %d px high: %+v", c.Sub, c.H, c.Unscaled)
			}
		}
	}
}
