package reference

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"
)

const hand = `format: 1
name: Test
species: Cucurbita moschata
version: "1.10"
stage: cured
traits:
  length: {unit: mm, low: 180, high: 240}
  width: {unit: mm, mean: 110, spread: 6}
  bend: {unit: °, high: 15}
  neck: {low: 0.5, high: 0.8}
skin: {lab: [70, 13, 36], tolerance: 6}
pattern: [none]
`

func mustParse(t *testing.T, s string) *Description {
	t.Helper()
	d, err := Parse([]byte(s))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestParse(t *testing.T) {
	d := mustParse(t, hand)
	if d.Version != "1.10" || *d.Traits.Length.High != 240 || d.Skin.Lab[2] != 36 {
		t.Errorf("%+v", d)
	}
}

// The form as it is given out says nothing of any variety and is refused until it is filled in. With every example taken
// in it is a sound description.
func TestTemplate(t *testing.T) {
	named := strings.Replace(Template, "name: Name of the variety  ", "name: Invented Neck", 1)
	whole := regexp.MustCompile(`(?m)^( *)#(\w)`).ReplaceAllString(named, "$1$2")
	for _, c := range []struct{ name, text, says string }{
		{"untouched", Template, "line 5: name is still \"Name of the variety\", as in the form; fill in the name"},
		{"every example, no name", strings.Replace(whole, "Invented Neck", "name of the Variety", 1), "fill in the name"},
		{"only a name", named, "species is missing"},
		{"name and species", strings.Replace(named, "#species", "species", 1), "no trait is described"},
	} {
		if _, err := Parse([]byte(c.text)); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: error %v, want %q", c.name, err, c.says)
		}
	}
	d := mustParse(t, whole)
	n := 0
	for _, e := range d.entries() {
		if e.r != nil {
			n++
		}
	}
	if n != 9 || d.Skin == nil || d.Second == nil || len(d.Pattern) != 1 || d.Stage != Cured {
		t.Errorf("%d traits of %+v", n, d)
	}
	some := strings.NewReplacer("#species", "species", "#bend", "bend").Replace(named)
	if d := mustParse(t, some); *d.Traits.Bend.High != 15 || d.Traits.Length != nil || d.Skin != nil || d.Pattern != nil || d.Shape != nil || d.Stage != "" {
		t.Errorf("only a bend was filled in: %+v", d)
	}
}

// Every fault names its line and what to do.
func TestParseErrors(t *testing.T) {
	for _, c := range []struct {
		name, from, to string
		line           int
		says           string
	}{
		{"not YAML", "name: Test", "name: [Test", 0, ""},
		{"unknown key", "  width:", "  widht:", 8, "spelling"},
		{"low above high", "low: 180", "low: 280", 7, "exchange"},
		{"unit", "unit: mm, low", "unit: cm, low", 7, "mm"},
		{"negative size", "low: 180", "low: -3", 7, "between"},
		{"spread", "spread: 6", "spread: -6", 8, "0 or more"},
		{"no range", "{unit: °, high: 15}", "{unit: °}", 9, "low and high"},
		{"colour", "[70, 13, 36]", "[70, 13]", 11, "lab: [70, 13, 36]"},
		{"tolerance", "tolerance: 6", "tolerance: 0", 11, "above 0"},
		{"pattern", "[none]", "[plain]", 12, "stripes"},
		{"stage", "stage: cured", "stage: dried", 5, "cured"},
		{"format", "format: 1", "format: 7", 1, "format: 1"},
		{"name", "name: Test", "name: \"\"", 2, "name"},
		{"version as number", `version: "1.10"`, "version: [1]", 4, "quotes"},
		{"weight", "high: 15", "high: 15, weight: 3", 9, "between 0"},
		{"decimal comma", "  length: {unit: mm, low: 180, high: 240}", "  length:\n    low: 186,1", 8, `"186,1" is not a number; write 186.1 with a point`},
		{"decimal comma in braces", "low: 180", "low: 186,1", 7, `"186,1" is not a number; write 186.1 with a point`},
		{"decimal comma before the end", "tolerance: 6", "tolerance: 6,5", 11, `write 6.5 with a point`},
		{"comma of thousands", "high: 240", "high: 1,240", 7, "write 1.240 with a point, or 1240 without the comma"},
		{"number with unit", "low: 180", "low: 180 mm", 7, `"180 mm" is not a number; write the number alone (180)`},
		{"word for a number", "low: 180", "low: long", 7, `"long" is not a number`},
		{"list for a number", "low: 180", "low: [1]", 7, `low: [1]`},
		{"too far in", "  width:", "   width:", 8, "this line is indented differently from the line above: \"width: {"},
		{"not far enough in", "  width:", " width:", 8, "this line is indented differently from the line above"},
		{"deeper than the key above", "  length: {unit: mm, low: 180, high: 240}", "  length:\n    low: 180\n     high: 240", 9, `this line is indented differently from the line above: "high: 240"`},
		{"head indented", "stage: cured", " stage: cured", 5, "this line is indented differently from the line above"},
		{"tab", "  width:", "\twidth:", 8, "a tab stands at the start of this line; use spaces"},
		{"colour under traits", "skin:", "  skin:", 11, "start this line at its very left"},
		{"trait outside traits", "stage: cured\ntraits:", "length: {low: 1}\ntraits:", 5, "put it under traits:"},
	} {
		s := strings.Replace(hand, c.from, c.to, 1)
		if s == hand {
			t.Fatalf("%s: nothing replaced", c.name)
		}
		_, err := Parse([]byte(s))
		var se *SyntaxError
		if !errors.As(err, &se) {
			t.Errorf("%s: error %v", c.name, err)
			continue
		}
		if c.line > 0 && se.Line != c.line || !strings.Contains(err.Error(), c.says) || se.Do == "" {
			t.Errorf("%s: %q (line %d), want line %d and %q", c.name, err, se.Line, c.line, c.says)
		}
	}
	for _, s := range []string{"", "  \n", "format: 1\nname: A\nspecies: B\nversion: \"1\"\n"} {
		if _, err := Parse([]byte(s)); err == nil {
			t.Errorf("%q: no error", s)
		}
	}
}

// typical is a fruit in the middle of what hand allows.
func typical() Fruit {
	f := NoFruit()
	f.Length, f.Width, f.Bend, f.Neck = Measured{208, 1}, Measured{110, 0.5}, Measured{3, 2}, Measured{0.65, 0.01}
	f.Skin, f.SkinU, f.Pattern = &[3]float64{70, 13, 36}, 0.8, "none"
	return f
}

func judgeOne(t *testing.T, d *Description, f Fruit) Verdict {
	t.Helper()
	return d.Judge([]Fruit{f}, DefaultOptions()).Fruits[0]
}

func TestVerdicts(t *testing.T) {
	d := mustParse(t, hand)
	for _, c := range []struct {
		name   string
		change func(*Fruit)
		call   Call
		says   string
	}{
		{"typical", func(*Fruit) {}, True, "nothing measured speaks against"},
		{"short side of true", func(f *Fruit) { f.Length.V = 185 }, True, ""},
		{"far too long", func(f *Fruit) { f.Length.V = 420 }, OffType, "180 mm longer than the description allows (up to 240 mm)"},
		{"bent", func(f *Fruit) { f.Bend.V = 70 }, OffType, "55° more bent than the description allows (up to 15°)"},
		{"straighter than the limit is no fault", func(f *Fruit) { f.Bend.V = 0 }, True, ""},
		{"green", func(f *Fruit) { f.Skin = &[3]float64{35, -14, 18} }, OffType, "skin"},
		{"thin neck", func(f *Fruit) { f.Neck.V = 0.1 }, OffType, "(from 0.50, measured 0.10; thinnest ÷ widest place)"},
		{"striped", func(f *Fruit) {
			f.Pattern, f.Second, f.Share = "stripes", &[3]float64{40, -10, 20}, Measured{0.3, 0.02}
		}, OffType, "shows stripes; the description says no pattern"},
		{"only colour missing", func(f *Fruit) { f.Skin, f.Pattern = nil, "" }, True, ""},
	} {
		f := typical()
		c.change(&f)
		v := judgeOne(t, d, f)
		if v.Call != c.call || !strings.Contains(strings.Join(v.Reasons, "\n"), c.says) {
			t.Errorf("%s: call %d, p %.3g, %q; want call %d and %q", c.name, v.Call, v.P, v.Reasons, c.call, c.says)
		}
	}
	if v := judgeOne(t, d, NoFruit()); v.Call != NotJudged || !math.IsNaN(v.P) {
		t.Errorf("a fruit without values: %+v", v)
	}
}

// A large measuring uncertainty makes the same deviation mean less.
func TestUncertaintyCounts(t *testing.T) {
	d := mustParse(t, hand)
	f := typical()
	f.Length = Measured{300, 1}
	sharp := judgeOne(t, d, f).P
	f.Length.U = 60
	if vague := judgeOne(t, d, f).P; vague < 10*sharp {
		t.Errorf("p %.3g with 60 mm uncertainty, %.3g with 1 mm", vague, sharp)
	}
}

func TestStage(t *testing.T) {
	d := mustParse(t, hand)
	f := typical()
	f.Length.V = 420
	o := DefaultOptions()
	o.Stage = Young
	h := d.Judge([]Fruit{f}, o)
	if h.Fruits[0].Call != NotJudged || len(h.Skipped) == 0 {
		t.Errorf("young fruit against a description of cured ones: %+v, skipped %v", h.Fruits[0], h.Skipped)
	}
}

// Control plants of the same bed that are as large as the judged ones take the season's effect away.
func TestControls(t *testing.T) {
	d := mustParse(t, hand)
	var fs []Fruit
	rng := rand.New(rand.NewPCG(1, 1))
	add := func(plant string, control bool) {
		for range 4 {
			f := typical()
			f.Plant, f.Control = plant, control
			f.Length.V, f.Width.V = 400+8*rng.NormFloat64(), 212+4*rng.NormFloat64()
			fs = append(fs, f)
		}
	}
	add("1", false)
	if c := d.Judge(fs, DefaultOptions()).Plants["1"].Call; c != OffType {
		t.Fatalf("without controls: call %d, want off-type", c)
	}
	for i := range 4 {
		add(fmt.Sprint("c", i), true)
	}
	h := d.Judge(fs, DefaultOptions())
	if h.Control != 4 || h.Plants["1"].Call != True || h.Fruits[5].Call != NotJudged {
		t.Errorf("with controls: %d of them, plant %+v, control fruit %+v", h.Control, h.Plants["1"], h.Fruits[5])
	}
}

// teachers makes plants of a variety with m fruit each.
func teachers(plants, m int, rng *rand.Rand) []Fruit {
	var fs []Fruit
	for p := range plants {
		b := rng.NormFloat64() * 5
		for range m {
			f := typical()
			f.Plant = fmt.Sprint(p + 1)
			f.Length.V += b + 9*rng.NormFloat64()
			f.Width.V += 5 * rng.NormFloat64()
			f.Bend.V = math.Abs(2 * rng.NormFloat64())
			f.Skin = &[3]float64{70 + 2*rng.NormFloat64(), 13 + rng.NormFloat64(), 36 + 2*rng.NormFloat64()}
			f.Share = Measured{0, 0.01}
			fs = append(fs, f)
		}
	}
	return fs
}

func TestLearn(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	d, err := Learn(teachers(12, 4, rng), nil, Head{Name: "T", Species: "S", Version: "1"})
	if err != nil {
		t.Fatal(err)
	}
	l := d.Traits.Length
	// the mean of 12 plants with a standard deviation of 5 between and 9 within: ±2 standard errors
	if se := math.Sqrt(25.0/12 + 81.0/48); math.Abs(*l.Mean-208) > 2.6*se {
		t.Errorf("mean length %.1f, put in 208 ± %.1f", *l.Mean, se)
	}
	if *l.Spread < 7 || *l.Spread > 15 || d.Few() || d.Learnt.Plants != 12 {
		t.Errorf("spread %.1f, few %v, plants %d", *l.Spread, d.Few(), d.Learnt.Plants)
	}
	text, err := d.Text()
	if err != nil {
		t.Fatal(err)
	}
	again := mustParse(t, text)
	if *again.Traits.Length.Mean != *l.Mean || again.Learnt.Fruits != 48 {
		t.Error("the description does not survive writing and reading")
	}
}

// One off-type plant among the teachers is left out and does not widen the description.
func TestLearnRobust(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	fs := teachers(8, 4, rng)
	clean, err := Learn(fs, nil, Head{Name: "T", Species: "S", Version: "1"})
	if err != nil {
		t.Fatal(err)
	}
	ids := make([]string, len(fs)+4)
	for i := range ids {
		ids[i] = fmt.Sprint("fruit ", i+1)
	}
	for range 4 {
		f := typical()
		f.Plant, f.Length.V, f.Width.V = "wrong", 330+9*rng.NormFloat64(), 150+5*rng.NormFloat64()
		f.Skin = &[3]float64{40, -12, 20}
		fs = append(fs, f)
	}
	d, err := Learn(fs, ids, Head{Name: "T", Species: "S", Version: "1"})
	if err != nil {
		t.Fatal(err)
	}
	if len(d.Learnt.LeftOut) != 4 || *d.Traits.Length.High != *clean.Traits.Length.High {
		t.Errorf("left out %v; length up to %v, without the wrong plant %v", d.Learnt.LeftOut, *d.Traits.Length.High, *clean.Traits.Length.High)
	}
}

func TestLearnErrors(t *testing.T) {
	if _, err := Learn(nil, nil, Head{}); !errors.Is(err, ErrNoTeachers) {
		t.Errorf("no fruit: %v", err)
	}
	rng := rand.New(rand.NewPCG(4, 4))
	fs := teachers(4, 4, rng)
	for i := range fs {
		if i >= 8 {
			fs[i].Length.V, fs[i].Skin = 330+5*rng.NormFloat64(), &[3]float64{40, -12, 20}
		}
	}
	if _, err := Learn(fs, nil, Head{}); !errors.Is(err, ErrTeachers) || strings.Contains(err.Error(), "--") { // the page has no options
		t.Errorf("two types among the teachers: %v", err)
	}
}

// Learnt from fewer than six plants, size alone never makes an off-type.
func TestFewPlantsNeverOffBySizeAlone(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	for _, c := range []struct {
		plants int
		want   Call
	}{{4, Doubtful}, {12, OffType}} {
		d, err := Learn(teachers(c.plants, 4, rng), nil, Head{Name: "T", Species: "S", Version: "1"})
		if err != nil {
			t.Fatal(err)
		}
		big := typical()
		big.Length.V, big.Width.V, big.Share = 520, 112, Measured{0, 0.01}
		v := judgeOne(t, d, big)
		if v.Call != c.want {
			t.Errorf("%d teacher plants: call %d (p %.2g) %v, want %d", c.plants, v.Call, v.P, v.Reasons, c.want)
		}
	}
}

func TestFromWords(t *testing.T) {
	d, err := FromWords("Pear-shaped fruit, 20 to 25 cm long and 11 cm wide, tan skin, plain.", Head{Name: "T", Species: "S", Version: "1"})
	if err != nil {
		t.Fatal(err)
	}
	l, w := d.Traits.Length, d.Traits.Width
	if *l.Low > 200 || *l.High < 250 || *w.Low > 110 || *w.High < 110 || d.Skin == nil || d.Pattern[0] != "none" || !d.RoughlyMeasured() {
		t.Errorf("%+v %+v %+v %v", l, w, d.Skin, d.Pattern)
	}
	b, _ := d.Bytes()
	mustParse(t, string(b))
	if v := judgeOne(t, d, typical()); v.Call != True {
		t.Errorf("a fruit as on the packet: %+v", v)
	}
	if _, err := FromWords("delicious and easy", Head{}); err == nil {
		t.Error("words without any trait: no error")
	}
}

// What was taken from a packet's words is said, and so is what was not understood. An inch is 25.4 mm and a foot twelve
// of them, by definition; a single figure gets a third on either side, a range a sixth.
func TestWordsAreHeard(t *testing.T) {
	for _, c := range []struct {
		words, heard  string
		length, width [2]float64
	}{
		{"about 8 inches, buff skin, 3 lb", "Taken: colour buff. Not understood: about 8 inches, 3 lb.", [2]float64{}, [2]float64{}},
		{"20 to 25 cm long, tan, plain", "Taken: length 20 to 25 cm, colour tan, pattern plain.", [2]float64{200 / 1.17, 250 * 1.17}, [2]float64{}},
		{"8 inches long, 4-5 in. across", "Taken: length 8 inches, width 4-5 in.", [2]float64{203.2 / 1.33, 203.2 * 1.33}, [2]float64{101.6 / 1.17, 127 * 1.17}},
		{`8"-10" long; 3 1/2″ thick`, `Taken: length 8"-10", width 3 1/2″.`, [2]float64{203.2 / 1.17, 254 * 1.17}, [2]float64{88.9 / 1.33, 88.9 * 1.33}},
		{"6-8-inch-long red fruit, a foot apart", "Taken: length 6-8-inch, colour red. Not understood: a foot apart.", [2]float64{152.4 / 1.17, 203.2 * 1.17}, [2]float64{}},
		{"1½ to 2 ft long, half a foot wide", "Taken: length 1½ to 2 ft. Not understood: half a foot wide.", [2]float64{457.2 / 1.17, 609.6 * 1.17}, [2]float64{}},
		{"10 in. to 1 ft long", "Taken: length 10 in. to 1 ft.", [2]float64{254 / 1.17, 304.8 * 1.17}, [2]float64{}},
		{"Length: 2 feet, width about 7,5 cm. Stores 6 months.", "Taken: length 2 feet, width 7,5 cm. Not understood: Stores 6 months.", [2]float64{609.6 / 1.33, 609.6 * 1.33}, [2]float64{75 / 1.33, 75 * 1.33}},
		{"Very dark green with cream stripes, orange flesh", "Taken: colour dark green, pattern stripes. Not understood: cream, orange flesh.", [2]float64{}, [2]float64{}},
		{"Pear-shaped, tan", "Taken: colour tan, shape pear-shaped.", [2]float64{}, [2]float64{}},
	} {
		d, err := FromWords(c.words, Head{Name: "T", Species: "S", Version: "1"})
		if err != nil {
			t.Errorf("%q: %v", c.words, err)
			continue
		}
		if got := d.Notes[len(d.Notes)-1]; got != c.heard {
			t.Errorf("%q: %q, want %q", c.words, got, c.heard)
		}
		for _, x := range []struct {
			name string
			r    *Range
			want [2]float64
		}{{"length", d.Traits.Length, c.length}, {"width", d.Traits.Width, c.width}} {
			switch {
			case x.r == nil && x.want[0] == 0:
			case x.r == nil || math.Abs(*x.r.Low-x.want[0]) > 0.5 || math.Abs(*x.r.High-x.want[1]) > 0.5: // whole millimetres
				t.Errorf("%q: %s %+v, want %v", c.words, x.name, x.r, x.want)
			}
		}
		if d.Traits.Ratio != nil && c.words != "Pear-shaped, tan" {
			t.Errorf("%q: proportions %+v from words that do not say them", c.words, d.Traits.Ratio)
		}
	}
}

// A plant that is doubtful for one trait says so: there are no "several traits together".
func TestDoubtOfOneTrait(t *testing.T) {
	d := mustParse(t, "format: 1\nname: T\nspecies: Cucurbita moschata\nversion: \"1\"\ntraits:\n  length: {low: 180, high: 240, unit: mm}\n")
	var f Fruit
	for f = typical(); f.Length.V < 400; f.Length.V++ {
		v := d.Judge([]Fruit{f}, DefaultOptions()).Fruits[0]
		if v.Call != Doubtful {
			continue
		}
		if got := strings.Join(v.Reasons, "; "); !strings.HasSuffix(got, "mm longer than the description allows (up to 240 mm)") {
			t.Errorf("length %.0f: %s", f.Length.V, got)
		}
		return
	}
	t.Error("no length is doubtful")
}

// Nothing that is not itself called off-type proves that the harvest holds one.
func TestHolmLeavesSizeAlone(t *testing.T) {
	d := mustParse(t, hand)
	d.Learnt = &Learnt{Plants: 3, Fruits: 12}
	var fs []Fruit
	for i := range 10 {
		f := typical()
		f.Plant = fmt.Sprint(i)
		fs = append(fs, f)
	}
	fs[3].Length.V, fs[3].Width.V = 420, 230
	h := d.Judge(fs, DefaultOptions())
	if v := h.Plants["3"]; v.Call != Doubtful || h.HolmP < DefaultOptions().Alpha {
		t.Errorf("plant 3 is %v, Holm's p %.3g: few teachers make no off-type by size alone", v.Call, h.HolmP)
	}
}

func TestHolm(t *testing.T) {
	d := mustParse(t, hand)
	var fs []Fruit
	for i := range 10 {
		f := typical()
		f.Plant = fmt.Sprint(i)
		fs = append(fs, f)
	}
	fs[3].Length.V = 420
	h := d.Judge(fs, DefaultOptions())
	if want := 10 * h.Plants["3"].P; math.Abs(h.HolmP-want) > 1e-15 {
		t.Errorf("Holm's p %.3g, want the smallest times the number of plants, %.3g", h.HolmP, want)
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(hand))
	f.Add([]byte(Template))
	f.Add([]byte("format: 1\nskin: {lab: [1e999, 0, 0]}\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		d, err := Parse(b)
		if err != nil {
			return
		}
		d.Judge([]Fruit{typical(), NoFruit()}, DefaultOptions()) // must not panic
	})
}

// A plant shows a wrong pattern only when more of its fruit do than do not, whichever comes first.
func TestWrongPatternByMajority(t *testing.T) {
	d := &Description{Pattern: []string{"stripes"}}
	for _, c := range []struct {
		shown string // a letter a fruit: s stripes, n none, p patches, - not told
		want  string
	}{{"sn", ""}, {"ns", ""}, {"nns", "shows no pattern; the description says stripes"}, {"--", ""}, {"spnp", "shows patches; the description says stripes"}, {"sspn", ""}} {
		var fs []Fruit
		var rows []int
		for i, r := range c.shown {
			f := NoFruit()
			f.Pattern = map[rune]string{'s': "stripes", 'n': "none", 'p': "patches"}[r]
			fs, rows = append(fs, f), append(rows, i)
		}
		if got := (&judge{d: d}).wrongPattern(fs, rows); got != c.want {
			t.Errorf("%s: %q, want %q", c.shown, got, c.want)
		}
	}
}
