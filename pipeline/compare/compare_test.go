package compare

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/color"
	"math"
	"sort"
	"strings"
	"testing"

	"offtype/measure/geom"
	"offtype/pipeline/record"
	"offtype/pipeline/scene"
)

// demo builds a harvest from the exact truth of the rendered demo scenes: callipers, painted colours,
// true groups, and verdicts by them.
func demo(t *testing.T, year string, tables int) Side {
	t.Helper()
	s := Side{Name: year, Season: year, Stage: "cured", Lot: "lot " + year}
	s.Run.Program = "truth"
	s.Run.Judgement.Variety = &record.VarietyRef{Name: "Invented Neck", Version: "1"}
	number := map[string]int{"true": 1}
	plants := map[string]string{}
	for i := 1; i <= tables; i++ {
		sc, err := scene.Read("../../testdata/scenes", fmt.Sprintf("demo-%s-table-%d", year, i))
		if err != nil {
			t.Fatal(err)
		}
		photo := sc.Name + ".jpg"
		s.Run.Photos = append(s.Run.Photos, record.Photo{Name: photo, Status: record.StatusOK, Cards: []int{0}, Make: "Invented", Model: "Phone", ColourOK: true})
		for j, f := range sc.Fruits {
			if number[f.Group] == 0 {
				number[f.Group] = len(number) + 1
			}
			u := func(v float64) record.Value { return record.Value{V: v, U: 0.01 * v} }
			x := record.Fruit{Photo: photo, Number: j + 1, Plant: fmt.Sprint(*f.Plant), Ribs: f.Ribs, Length: u(f.LengthMM), Width: u(f.WidthMM), Ratio: u(f.LengthMM / f.WidthMM),
				BroadestAt: u(f.BroadestAt), Bend: u(f.BendDeg), Volume: u(f.VolumeCM3), Neck: record.None(), GrooveDepth: record.None(), SecondShare: u(f.VisibleShare),
				Skin: &record.Lab{L: f.GroundLab[0], A: f.GroundLab[1], B: f.GroundLab[2], U: 1}}
			cx, cy := 300*float64(j+1), 500.0
			for k := range 60 {
				sin, cos := math.Sincos(2 * math.Pi * float64(k) / 60)
				x.Outline = append(x.Outline, geom.Px{X: cx + f.WidthMM/2*cos, Y: cy + f.LengthMM/2*sin})
			}
			x.LengthLine = [2]geom.Px{{X: cx, Y: cy - f.LengthMM/2}, {X: cx, Y: cy + f.LengthMM/2}}
			x.WidthLine = [2]geom.Px{{X: cx - f.WidthMM/2, Y: cy}, {X: cx + f.WidthMM/2, Y: cy}}
			s.Run.Fruits = append(s.Run.Fruits, x)
			s.Run.Groups = append(s.Run.Groups, record.Membership{Key: x.Key(), Plant: x.Plant, Group: number[f.Group], Membership: 1})
			plants[x.Plant] = f.Group
		}
	}
	for g, n := range number {
		v := record.OffType
		if g == "true" {
			v = record.TrueToType
		}
		s.Run.Judgement.Groups = append(s.Run.Judgement.Groups, record.GroupVerdict{Group: n, Verdict: v})
	}
	for p, g := range plants {
		v := record.TrueToType
		if g != "true" {
			v = record.OffType
		}
		s.Run.Judgement.Plants = append(s.Run.Judgement.Plants, record.PlantVerdict{Plant: p, Verdict: v})
	}
	sort.Slice(s.Run.Judgement.Plants, func(i, j int) bool { return s.Run.Judgement.Plants[i].Plant < s.Run.Judgement.Plants[j].Plant })
	return s
}

func build(t *testing.T, sides ...Side) *Result {
	t.Helper()
	r, err := Build(sides, DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// Both years of the demo: the page names the two off-type plants, says that their groups are new, and
// finds no change of the true fruit (scenes/README: 2026 differs by plants 3 and 7 only).
func TestDemo(t *testing.T) {
	a, b := demo(t, "2025", 2), demo(t, "2026", 4)
	r := build(t, a, b)
	p := r.Pairs[0]
	text := strings.Join(p.Sentences, "\n")
	t.Log(text)
	if p.OffTypes == nil || strings.Join(p.OffTypes.ToPlants, " ") != "3 7" || p.OffTypes.ToOf != 8 || p.OffTypes.From != 0 || p.OffTypes.FromOf != 4 {
		t.Errorf("off-types: %+v", p.OffTypes)
	}
	for _, want := range []string{"2 off-type of 8 plants judged (plants 3, 7)", "is new", "did not change"} {
		if !strings.Contains(text, want) {
			t.Errorf("not said: %q", want)
		}
	}
	if len(p.Sections) != 1 || p.Sections[0].FromPlants != 4 || p.Sections[0].ToPlants != 6 {
		t.Fatalf("sections: %+v", p.Sections)
	}
	for _, x := range p.Sections[0].Traits {
		if x.Found {
			t.Errorf("false alarm: %s", x.Sentence)
		}
	}
	if c := p.Sections[0].Colour; c == nil || c.Found {
		t.Errorf("colour: %+v", c)
	}

	var js bytes.Buffer
	if err := r.Write(&js); err != nil {
		t.Fatal(err)
	}
	var back map[string]any
	if err := json.Unmarshal(js.Bytes(), &back); err != nil {
		t.Fatal(err)
	}
	var page bytes.Buffer
	im := image.NewNRGBA(image.Rect(0, 0, 4000, 1000))
	for i := range im.Pix {
		im.Pix[i] = 180
	}
	im.Set(0, 0, color.White)
	if err := r.WriteHTML(&page, []Side{a, b}, func(*Side, string) (image.Image, float64, error) { return im, 1, nil }); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"data:image/jpeg;base64,", "50 mm, all at one scale", "<svg viewBox", "plants 3, 7", "background:#", "New in 2026: group 2"} {
		if !strings.Contains(page.String(), want) {
			t.Errorf("page lacks %q", want)
		}
	}
	for _, bad := range []string{"ZgotmplZ", "http://", "https://", "<script", "NaN", "&lt;nil"} {
		if strings.Contains(page.String(), bad) {
			t.Errorf("page holds %q", bad)
		}
	}
}

// A true change is found and said; another camera, card, stage and description are warned about.
func TestChangeAndWarnings(t *testing.T) {
	a, b := demo(t, "2025", 2), demo(t, "2026", 4)
	for i := range b.Run.Fruits {
		f := &b.Run.Fruits[i]
		f.Length.V *= 1.35
		f.Ratio.V *= 1.35
		f.Skin.B += 12
	}
	b.Run.Photos[0].Model, b.Run.Photos[1].Cards, b.Stage = "Other", []int{3}, "at harvest"
	b.Run.Judgement.Variety = &record.VarietyRef{Name: "Invented Neck", Version: "2"}
	// Judged as true, the groups are compared however far apart they lie.
	p := build(t, a, b).Pairs[0]
	text := strings.Join(p.Sentences, "\n")
	for _, want := range []string{"2026 is longer than 2025 by", "The skin colour changed by"} {
		if !strings.Contains(text, want) {
			t.Errorf("not said: %q in\n%s", want, text)
		}
	}
	// Without verdicts no group is like another: all fruit against all fruit, and it says so.
	x, y := a, b
	x.Run.Judgement, y.Run.Judgement = record.Judgement{}, record.Judgement{}
	if q := build(t, x, y).Pairs[0]; !strings.Contains(strings.Join(q.Sentences, "\n"), "all fruit are compared with all fruit") || len(q.Sections) != 1 {
		t.Errorf("without verdicts: %q", q.Sentences)
	}
	warn := strings.Join(p.Warnings, "\n")
	for _, want := range []string{"Another camera", "Another card", "photographed at harvest", "Different versions of the description"} {
		if !strings.Contains(warn, want) {
			t.Errorf("not warned: %q in\n%s", want, warn)
		}
	}
}

// A harvest whose plants all taught the description is true by the grower's word: no test and no rate come of it.
func TestVouchedRates(t *testing.T) {
	a, b := demo(t, "2025", 2), demo(t, "2026", 4)
	for _, c := range []struct {
		taught []string
		tested bool
	}{{nil, true}, {[]string{"1"}, true}, {[]string{"1", "2", "3", "4"}, false}} {
		a.Run.Judgement.Lot.Taught = c.taught
		o := build(t, a, b).Pairs[0].OffTypes
		if o == nil || (o.P != nil) != c.tested || strings.Contains(o.Sentence, "The rate in the seed lot") != c.tested || strings.Contains(o.Sentence, "grower's word") == c.tested {
			t.Errorf("taught by %v: %+v", c.taught, o)
		}
	}
}

// Plants of other seed are no part of the comparison, and a harvest that taught the description lies near it by making.
func TestControlsAndTeachers(t *testing.T) {
	a, b := demo(t, "2025", 2), demo(t, "2026", 4)
	for _, s := range []*Side{&a, &b} {
		for i, f := range s.Run.Fruits {
			d := 0.5 + 0.1*float64(i%4)
			s.Run.Judgement.Fruits = append(s.Run.Judgement.Fruits, record.FruitVerdict{Photo: f.Photo, Fruit: f.Number, Plant: f.Plant, Verdict: record.TrueToType, Distance: &d})
		}
	}
	before := build(t, a, b).Pairs[0]
	if before.Drift == nil {
		t.Fatal("no distance from the description to compare")
	}
	for i := range b.Run.Judgement.Plants {
		if v := &b.Run.Judgement.Plants[i]; v.Plant == "1" {
			v.Verdict, v.Reasons = record.NotJudged, []string{record.ControlReason}
		}
	}
	a.Run.Judgement.Lot.Taught = []string{"1", "2"}
	after := build(t, a, b).Pairs[0]
	if n, m := before.Sections[0].Traits[0].ToN, after.Sections[0].Traits[0].ToN; m != n-1 {
		t.Errorf("%d plants of 2026 compared, with one control plant %d", n, m)
	}
	if after.Drift != nil {
		t.Errorf("the distance from a description that 2025 taught is compared: %+v", after.Drift)
	}
	warn := strings.Join(after.Warnings, "\n")
	for _, want := range []string{"Left out of 2026, because grown from other seed as control: plant 1.", "Plants 1 and 2 of 2025 taught the description"} {
		if !strings.Contains(warn, want) {
			t.Errorf("not warned: %q in\n%s", want, warn)
		}
	}
}

// Without plant numbers fruit are the unit, and the page says what that does.
func TestWithoutTags(t *testing.T) {
	a, b := demo(t, "2025", 2), demo(t, "2026", 4)
	for i := range b.Run.Fruits {
		b.Run.Fruits[i].Plant = ""
	}
	b.Run.Judgement.Plants = nil
	p := build(t, a, b).Pairs[0]
	if p.Unit != "fruit" || !strings.Contains(strings.Join(p.Warnings, "\n"), "no plant numbers") || p.OffTypes != nil {
		t.Errorf("unit %q, warnings %q", p.Unit, p.Warnings)
	}
}

func TestThreeAndWrong(t *testing.T) {
	a, b := demo(t, "2025", 2), demo(t, "2026", 4)
	c := demo(t, "2026", 4)
	c.Name = "2027"
	r := build(t, a, b, c)
	if len(r.Pairs) != 3 || r.Pairs[2].From != "2025" || r.Pairs[2].To != "2027" {
		t.Errorf("pairs: %d", len(r.Pairs))
	}
	for _, s := range r.Pairs[1].Sections { // the same fruit again: no change anywhere
		for _, x := range s.Traits {
			if x.Found || x.Difference != nil && math.Abs(*x.Difference) > 1e-9 {
				t.Errorf("%s: %+v", x.Name, x)
			}
		}
	}
	for _, sides := range [][]Side{{a}, {a, a}, {a, {Name: "empty"}}} {
		if _, err := Build(sides, DefaultOptions()); err == nil {
			t.Errorf("%d sides: no error", len(sides))
		}
	}
	// One plant a side, one fruit a side: sentences, no numbers out of nothing.
	one := Side{Name: "one", Run: record.Run{Fruits: a.Run.Fruits[:1]}}
	two := Side{Name: "two", Run: record.Run{Fruits: b.Run.Fruits[:1]}}
	p := build(t, one, two).Pairs[0]
	if len(p.Sections) != 1 || p.Sections[0].Traits[0].Low != nil || !strings.Contains(p.Sections[0].Traits[0].Sentence, "Too few plants") {
		t.Errorf("one against one: %+v", p.Sections)
	}
	var page bytes.Buffer
	if err := r.WriteHTML(&page, []Side{a, b, c}, func(*Side, string) (image.Image, float64, error) { return nil, 0, errors.New("gone") }); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(page.String(), "could not be shown") {
		t.Error("missing photos are not said")
	}
}

// Twenty thousand fruit are compared in seconds (the benchmark says how many).
func BenchmarkBuild20000(b *testing.B) {
	side := func(name string, shift float64) Side {
		s := Side{Name: name}
		for i := range 10000 {
			x := math.Sin(float64(i) * 12.9898)
			f := record.Fruit{Photo: "p", Number: i + 1, Plant: fmt.Sprint(i / 4), Length: record.Value{V: 200 + 10*x + shift, U: 2}, Width: record.Value{V: 100 + 5*x, U: 1}, Ratio: record.Value{V: 2 + x/10},
				Skin: &record.Lab{L: 60 + x, A: 10, B: 30}}
			s.Run.Fruits = append(s.Run.Fruits, f)
			s.Run.Groups = append(s.Run.Groups, record.Membership{Key: f.Key(), Group: 1})
		}
		return s
	}
	x, y := side("a", 0), side("b", 3)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Build([]Side{x, y}, DefaultOptions()); err != nil {
			b.Fatal(err)
		}
	}
}

// What was observed by hand on both sides is compared like a measured trait: weights per fruit, Brix on
// whole plants.
func TestHandObservations(t *testing.T) {
	a, b := demo(t, "2025", 2), demo(t, "2026", 4)
	for i, s := range []*Side{&a, &b} {
		for _, f := range s.Run.Fruits {
			s.Hand = append(s.Hand, Hand{Key: f.Key(), Plant: f.Plant, Trait: "weight", Unit: "g", Value: 0.85 * f.Volume.V})
		}
		for p := 1; p <= 4*(i+1); p++ {
			s.Hand = append(s.Hand, Hand{Plant: fmt.Sprint(p), Trait: "brix", Unit: "°Bx", Value: 11 + 5*float64(i) + 0.1*float64(p%3)})
		}
	}
	a.Hand = append(a.Hand, Hand{Plant: "1", Trait: "dry_matter", Unit: "%", Value: 20}) // on one side only: not compared
	var got []string
	for _, x := range build(t, a, b).Pairs[0].Sections[0].Traits {
		if strings.HasSuffix(x.Label, "(by hand)") {
			got = append(got, fmt.Sprintf("%s %d %d %v", x.Name, x.FromN, x.ToN, x.Found))
		}
	}
	if want := "brix 4 6 true|weight 4 6 false"; strings.Join(got, "|") != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// TestWhite: the mean colours are shown with the white that was asked for, the stored ones stay D65. That D50 is right
// is checked in package record.
func TestWhite(t *testing.T) {
	sides := []Side{demo(t, "2025", 2), demo(t, "2026", 4)}
	for _, w := range []record.White{record.D65, record.D50} {
		opt := DefaultOptions()
		opt.White = w
		r, err := Build(sides, opt)
		if err != nil {
			t.Fatal(err)
		}
		c := r.Pairs[0].Sections[0].Colour
		if c == nil || c.From == nil || c.White != "D65" || (c.FromD50 != nil) != (w == record.D50) {
			t.Fatalf("%s: %+v", w, c)
		}
		shown := *c.From
		if w == record.D50 {
			if shown = *c.FromD50; math.Abs(shown[1]-c.From[1]) < 0.5 {
				t.Errorf("a* of a tan skin hardly moved: %v, %v", shown, *c.From)
			}
		}
		want := fmt.Sprintf("L* %.1f a* %.1f b* %.1f, then ", shown[0], shown[1], shown[2])
		if !strings.HasPrefix(c.Shown(), want) || !strings.Contains(c.Shown(), "white "+w.String()) {
			t.Errorf("%s: shown as %q", w, c.Shown())
		}
		var page strings.Builder
		if err := r.WriteHTML(&page, sides, nil); err != nil || !strings.Contains(page.String(), c.Shown()) {
			t.Errorf("%s: not on the page (%v)", w, err)
		}
	}
}

// Photos without card and scale give lengths in px: nothing is said of sizes and colours.
func TestNoSizesWithoutAScale(t *testing.T) {
	a, b := demo(t, "2025", 2), demo(t, "2026", 4)
	for i := range b.Run.Fruits {
		f := &b.Run.Fruits[i]
		f.Unscaled = true
		for _, v := range []*record.Value{&f.Length, &f.Width, &f.Volume} {
			v.V *= 3
		}
		f.Skin.L -= 20
	}
	said := strings.Join(build(t, a, b).Pairs[0].Sentences, "\n")
	for _, bad := range []string{"longer", "wider", "cm³", " mm", "colour changed"} {
		if strings.Contains(said, bad) {
			t.Errorf("%q of fruit without a scale:\n%s", bad, said)
		}
	}
}
