package seed

import (
	"bytes"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"offtype/pipeline/record"
	"offtype/pipeline/reftable"
)

func num(x float64) *float64 { return &x }

func truePlant(n string) Plant {
	return Plant{Number: n, Species: "Cucurbita moschata", LotKind: "open-pollinated", Verdict: record.TrueToType, Flowered: true, Pollination: "open", IsolationM: num(1600),
		Fruits: []Fruit{{Photo: "a.jpg", Number: 1, Verdict: record.TrueToType, Mature: "full and hard"}}}
}

// The rules of the decision, each changed by itself in an otherwise sound harvest.
func TestDecide(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Input)
		fit    string // of plant 1
		reason string
		take   bool
	}{
		{"all true, isolated", func(*Input) {}, Fit, "", true},
		{"off-type itself", func(in *Input) { in.Plants[0].Verdict = record.OffType }, NotFit, "is off-type", false},
		{"an off-type flowered with it", func(in *Input) { in.Plants[1].Verdict = record.OffType }, NotOpen, "it flowered with plant 2, which may have given foreign pollen", false},
		{"an unjudged plant flowered with it", func(in *Input) { in.Plants[1].Verdict = record.NotJudged; in.Plants[1].Fruits = nil }, NotOpen, "it flowered with plant 2", false},
		{"the off-type was pulled out before flowering", func(in *Input) { in.Plants[1].Verdict = record.OffType; in.Plants[1].Flowered = false }, Fit, "", true},
		{"the off-type is of another species", func(in *Input) { in.Plants[1].Verdict = record.OffType; in.Plants[1].Species = "Cucurbita pepo" }, Fit, "", true},
		{"hand-pollinated beside an off-type", func(in *Input) { in.Plants[1].Verdict = record.OffType; in.Plants[0].Pollination = "hand, closed" }, Fit, "under control", true},
		{"F1 hybrid", func(in *Input) { in.Plants[0].LotKind = "F1 hybrid" }, NotFit, "expected and no off-type", false},
		{"too near", func(in *Input) { in.Plants[0].IsolationM = num(300) }, NotOpen, "the shortest distance any source gives is 488 m", false},
		{"distance not known", func(in *Input) { in.Plants[0].IsolationM = nil }, NotOpen, "not written down", false},
		{"one fruit off-type", func(in *Input) {
			in.Plants[0].Fruits = append(in.Plants[0].Fruits, Fruit{Photo: "b.jpg", Number: 2, Verdict: record.OffType})
		}, NotFit, "a tag may be wrong", false},
		{"seed not full", func(in *Input) { in.Plants[0].Fruits[0].Mature = "flat" }, Fit, "", false},
		{"a bitter plant flowered with it", func(in *Input) { in.Plants[1].Fruits[0].Bitter = "yes" }, NotOpen, "it flowered with plant 2", false},
		{"called true to type by hand, but a fruit is off-type", func(in *Input) { in.Plants[1].Fruits[0].Verdict = record.OffType }, NotOpen, "it flowered with plant 2", false},
		{"a control plant flowered with it", func(in *Input) { in.Plants[1].Control, in.Plants[1].Verdict = true, record.NotJudged }, Fit, "", true},
		{"a bitter control plant flowered with it", func(in *Input) {
			in.Plants[1].Control, in.Plants[1].Verdict, in.Plants[1].Fruits[0].Bitter = true, record.NotJudged, "yes"
		}, NotOpen, "it flowered with plant 2", false},
		{"a control plant itself", func(in *Input) { in.Plants[0].Control, in.Plants[0].Verdict = true, record.NotJudged }, CannotTell, "control plant of other seed", false},
		{"bitter", func(in *Input) { in.Plants[0].Fruits[0].Bitter = "yes" }, NotFit, "bitter", false},
		{"not judged", func(in *Input) { in.Plants[0].Verdict = record.NotJudged }, CannotTell, "not judged", false},
	} {
		in := Input{Harvest: "h", Variety: "Invented", Species: "Cucurbita moschata", Plants: []Plant{truePlant("1"), truePlant("2")}}
		c.change(&in)
		a := Decide(in)
		d := a.Plants[0]
		if d.Fit != c.fit || !strings.Contains(strings.Join(d.Reasons, "; "), c.reason) || d.Fruits[0].Take != c.take {
			t.Errorf("%s: %+v, want %s, %q, take %v", c.name, d, c.fit, c.reason, c.take)
		}
		text := strings.Join(a.Sentences, "\n")
		if !strings.Contains(text, "mother") || !strings.Contains(text, "Canada") {
			t.Errorf("%s: the warning on pollen or the source is missing:\n%s", c.name, text)
		}
		if !strings.Contains(strings.Join(a.Liked, " "), "at least 11 plants") || !strings.Contains(strings.Join(a.Liked, " "), ": 47 plants") {
			t.Errorf("%s: plants for a liked off-type: %q", c.name, a.Liked)
		}
	}
}

// Numbers first, then the sources, each once.
func TestFiguresReadable(t *testing.T) {
	c, _ := CropOf("Cucurbita moschata")
	got := strings.Join(c.sentences(2), "\n")
	want := `Save seed of squash, pumpkin from at least 10 plants; 2 are fit here. Fewer keep the variety for a while but narrow it. Figures read: 10; 10–20; 25.
Distance to the next flowering plant of the species. Figures read: 490 m (1,600 ft); 800 m (1/2 mile); 1,500 m.
Where these figures were read: ` + charts + "; " + canada + "."
	if got != want {
		t.Errorf("%s\nwant\n%s", got, want)
	}
}

// Okra is known from memory only: no figure is shown, and it says so.
func TestMemoryOnly(t *testing.T) {
	if c, ok := CropOf("Abelmoschus esculentus"); ok {
		t.Errorf("okra has figures: %+v", c)
	}
	a := Decide(Input{Species: "Abelmoschus esculentus", Plants: []Plant{{Number: "1", Verdict: record.TrueToType, IsolationM: num(5000), Fruits: []Fruit{{}}}}})
	if !strings.Contains(strings.Join(a.Sentences, " "), "no published distance") || a.Plants[0].Fit != NotOpen {
		t.Errorf("okra: %+v", a)
	}
	for _, c := range crops {
		for _, f := range append(append([]Figure(nil), c.crop.Isolation...), c.crop.Plants...) {
			if f.Source == "" {
				t.Errorf("%s: %q has no source", c.crop.Name, f.Text)
			}
		}
	}
}

// Plants needed against the reference table (binomial, computed in exact arithmetic).
func TestPlanNumbers(t *testing.T) {
	_, rows := reftable.Rows(t, "../../testdata/reference/plants_to_see_one_offtype.csv")
	for _, row := range rows {
		rate, _ := strconv.ParseFloat(row[0], 64)
		conf, _ := strconv.ParseFloat(row[1], 64)
		want, _ := strconv.Atoi(row[2])
		p, err := MakePlan(PlanInput{Species: "Cucurbita pepo", Rate: rate / 100, Confidence: conf / 100, Sowings: []Sowing{{Variety: "x", Plants: 3}}})
		if err != nil {
			t.Fatal(err)
		}
		found := false
		for _, s := range p.See {
			found = found || math.Abs(s.Rate-rate/100) < 1e-12 && s.Plants == want
		}
		if !found {
			t.Errorf("rate %v %% at %v %%: %+v, want %d plants", rate, conf, p.See, want)
		}
	}
}

func TestPlanLayout(t *testing.T) {
	p, err := MakePlan(PlanInput{Species: "Cucurbita pepo", Year: 2027, Rate: 0.05, Confidence: 0.95, Bed: Bed{LengthM: 6, Spacing: 0.75}, FirstTag: 10,
		Sowings: []Sowing{{Variety: "A", Lot: "1", Plants: 7}, {Variety: "A", Lot: "0", Plants: 2, Control: true}, {Variety: "B", Lot: "2", Plants: 1}}})
	if err != nil {
		t.Fatal(err)
	}
	var order []string
	for i, r := range p.Rows {
		order = append(order, r.Lot)
		if r.Tag != 10+i || math.Abs(r.At-0.75*float64(i)) > 1e-9 {
			t.Errorf("row %d: %+v", i, r)
		}
	}
	// Ten places, two controls: the middle of each half, places 2 or 3 and 7 or 8 (from 0: 2 and 7).
	if got := strings.Join(order, ""); got != "1101111012" {
		t.Errorf("order %s, want 1101111012", got)
	}
	warn := strings.Join(p.Warnings, "\n")
	for _, want := range []string{"one plant cannot judge this seed", "room for 9"} {
		if !strings.Contains(warn, want) {
			t.Errorf("not warned: %q in %q", want, warn)
		}
	}
	var b bytes.Buffer
	if err := p.WriteHTML(&b); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Trace every vine", "before they flower", `<td class="n">19</td>`} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("page lacks %q", want)
		}
	}
	for _, bad := range []PlanInput{{}, {Rate: 0.05, Confidence: 0.95}, {Rate: 2, Confidence: 0.95}, {Rate: 0.05, Confidence: 0.95, Sowings: []Sowing{{Plants: 300}}}, {Rate: 0.05, Confidence: 0.95, Sowings: []Sowing{{Plants: -1}}},
		{Rate: 0.05, Confidence: 0.95, Bed: Bed{LengthM: -3}}, {Rate: 0.05, Confidence: 0.95, Bed: Bed{LengthM: math.Inf(1), Spacing: 1}},
		{Rate: 0.05, Confidence: 0.95, FirstTag: math.MaxInt, Sowings: []Sowing{{Plants: 3}}}, {Rate: 0.05, Confidence: 0.95, FirstTag: 248, Sowings: []Sowing{{Plants: 3}}},
		{Rate: 1e-19, Confidence: 0.95, Sowings: []Sowing{{Plants: 3}}}, {Rate: 0.05, Confidence: 0.95, Bed: Bed{LengthM: 20, Spacing: 1e-7}}, // once it counted for ever
		{Rate: 0.05, Confidence: 0.95, Bed: Bed{LengthM: 20, Spacing: 1e-300}},
		{Rate: 0.05, Confidence: 0.95, Sowings: []Sowing{{Plants: math.MaxInt}, {Plants: math.MaxInt}}}} { // once it laid them all out before it counted
		if _, err := MakePlan(bad); err == nil {
			t.Errorf("%+v: no error", bad)
		}
	}
}

// The caution does not hang on how the crop is named: "squash" can be as poisonous as Cucurbita pepo.
func TestCautionByAnyName(t *testing.T) {
	for species, want := range map[string]bool{"squash": true, "Cucurbita pepo": true, "Momordica charantia": true, "": true, "Capsicum annuum": false} {
		p, err := MakePlan(PlanInput{Species: species, Rate: 0.05, Confidence: 0.95, Sowings: []Sowing{{Variety: "x", Plants: 3}}})
		if err != nil {
			t.Fatal(err)
		}
		plan := false
		for _, s := range p.Checklist {
			plan = plan || s.When == "Before eating" && strings.Contains(strings.Join(s.What, " "), "rice grain")
		}
		advice := strings.Contains(strings.Join(Decide(Input{Species: species}).Cautions, " "), "poisonous")
		if plan != want || advice != want {
			t.Errorf("%q: caution in the plan %v, in the advice on seed %v, want %v", species, plan, advice, want)
		}
	}
}

func TestTrialAndPool(t *testing.T) {
	ripe := 3
	rows := Trial([]TrialPlant{{Variety: "B", Number: "2", Fruits: 4, Ripe: &ripe, WeightG: num(5000), Tastes: []float64{7, 8}}, {Variety: "A", Number: "1", Fruits: 2}, {Variety: "A", Number: "3", Fruits: 2, WeightG: num(2000), KeepingDays: []float64{90}}})
	if len(rows) != 2 || rows[0].Variety != "A" || rows[0].Plants != 2 || rows[0].Note != "" || *rows[0].YieldG != 2000 || *rows[0].KeepingDays != 90 || rows[0].Taste != nil {
		t.Errorf("A: %+v", rows[0])
	}
	if b := rows[1]; *b.Ripe != 0.75 || *b.Taste != 7.5 || b.Note != "one plant cannot judge this seed" {
		t.Errorf("B: %+v", b)
	}
}

func TestFruitWords(t *testing.T) {
	d := Decision{Fruits: []FruitDecision{{Photo: "a.jpg", Fruit: 1, Why: "the plant is off-type"}, {Photo: "a.jpg", Fruit: 2, Why: "the plant is off-type"}}}
	if got := strings.Join(d.FruitWords(), "|"); got != "all 2 fruit: no, the plant is off-type" {
		t.Errorf("alike: %q", got)
	}
	d.Fruits[1].Take, d.Fruits[1].Why = true, "its seed is full"
	if got := strings.Join(d.FruitWords(), "|"); got != "a.jpg no. 1: no, the plant is off-type|a.jpg no. 2: yes, its seed is full" {
		t.Errorf("unlike: %q", got)
	}
	d.Fruits = d.Fruits[:1]
	if got := strings.Join(d.FruitWords(), "|"); got != "a.jpg no. 1: no, the plant is off-type" {
		t.Errorf("one: %q", got)
	}
}

// The plan that is made after the harvest is for the next season.
func TestSeasonOf(t *testing.T) {
	for day, want := range map[string]int{"2026-01-01": 2026, "2026-05-15": 2026, "2026-08-31": 2026, "2026-09-01": 2027, "2026-12-01": 2027, "2026-12-31": 2027} {
		d, err := time.Parse(time.DateOnly, day)
		if err != nil {
			t.Fatal(err)
		}
		if got := SeasonOf(d); got != want {
			t.Errorf("%s: season %d, want %d", day, got, want)
		}
	}
}

// Two harvests of one grower are not two growers.
func TestPoolNamesWhatItCompares(t *testing.T) {
	for _, c := range []struct {
		second, want string
	}{{"b", "The growers' rates"}, {"a", "The harvests' rates"}, {"", "The harvests' rates"}} {
		p := Pool("L", []Share{{Grower: "a", Harvest: "h1", Off: 0, Plants: 8}, {Grower: c.second, Harvest: "h2", Off: 3, Plants: 4}})
		if got := strings.Join(p.Sentences, " "); !strings.Contains(got, c.want) {
			t.Errorf("second grower %q: %s", c.second, got)
		}
	}
}

// A plan does not promise more than plants that bear fruit can show.
func TestPlanSaysWhatCounts(t *testing.T) {
	p, err := MakePlan(PlanInput{FirstTag: 1, Rate: 0.05, Confidence: 0.95, Year: 2027, Sowings: []Sowing{{Variety: "V", Lot: "L", Plants: 18}}})
	if err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(p.Sentences, " "); !strings.Contains(got, "plants that bear fruit") {
		t.Error(got)
	}
	for _, s := range p.Checklist {
		if got := strings.Join(s.What, " "); strings.Contains(got, "part of the count") {
			t.Error(got)
		}
	}
}

// A carrot or onion was dug before it flowered: an off-type beside it gave no pollen, and no seed is in it yet.
func TestRootsBearNoSeedYet(t *testing.T) {
	for _, species := range []string{"Daucus carota", "Allium cepa"} {
		a := Decide(Input{Species: species, Plants: []Plant{
			{Number: "1", Verdict: record.TrueToType, Flowered: true, Fruits: []Fruit{{Number: 1, Verdict: record.TrueToType}}},
			{Number: "2", Verdict: record.OffType, Flowered: true, Fruits: []Fruit{{Number: 2, Verdict: record.OffType}}},
		}})
		if d := a.Plants[0]; d.Fit != Replant || !d.Fruits[0].Take || !strings.Contains(d.Fruits[0].Why, "plant it again") {
			t.Errorf("%s: the true one: %+v", species, d)
		}
		if d := a.Plants[1]; d.Fit != NotFit || d.Fruits[0].Take {
			t.Errorf("%s: the off-type: %+v", species, d)
		}
		said := strings.Join(append(a.Sentences, a.Liked...), " ")
		for _, wrong := range []string{"flowered with", "picked fruit", "fruit looks like", "bud shut", "squash"} {
			if strings.Contains(said, wrong) {
				t.Errorf("%s: %q in %s", species, wrong, said)
			}
		}
		if a.LacksDistance() || !strings.Contains(said, "1 of 2 plants are fit to be planted again") {
			t.Errorf("%s: %s", species, said)
		}
	}
	if s := strings.Join(Decide(Input{Species: "Solanum lycopersicum"}).Sentences, " "); strings.Contains(s, "three to four weeks") {
		t.Errorf("squash advice for tomatoes: %s", s)
	}
}

// Onions and carrots are grown by the hundred, each its own plant: no tags, no list of places.
func TestPlanOfRoots(t *testing.T) {
	in := PlanInput{Species: "Allium cepa", Rate: 0.01, Confidence: 0.95, Sowings: []Sowing{{Variety: "O", Lot: "L", Plants: 600}}}
	p, err := MakePlan(in)
	if err != nil {
		t.Fatal(err)
	}
	if said := strings.Join(p.Sentences, " "); len(p.Rows) > 0 || !strings.Contains(said, "one item is one plant") || !strings.Contains(said, "600 plants show a lot with 1 % off-types in more than 99 of 100 harvests") || !strings.Contains(said, "would still pass it in less than 1 of 100") {
		t.Errorf("%d places: %s", len(p.Rows), said)
	}
	in.Species = "Cucurbita pepo"
	if _, err := MakePlan(in); err == nil {
		t.Error("600 squash plants have no tags, and no error")
	}
}

// Every figure of a plan's sentences: 59 plants from the published table; 1 − 0.99⁵⁹ = 0.447; 1 − 0.95¹⁸ = 0.603;
// 1 − 0.05^(1/18) = 0.153; scipy binom.cdf(1, 18, 0.1) = 0.450. 59 plants at 0.5 m stand in 29 m.
func TestPlanSentences(t *testing.T) {
	p, err := MakePlan(PlanInput{Rate: 0.05, Confidence: 0.95, Bed: Bed{Spacing: 0.5}, Sowings: []Sowing{{Variety: "V", Lot: "L", Plants: 18}}})
	if err != nil {
		t.Fatal(err)
	}
	said := strings.Join(p.Sentences, "\n")
	for _, want := range []string{"grow 59 plants of that lot: 29.0 m of bed from the first to the last", "of 59 plants of a lot without any off-type, at least one is in 45 of 100 harvests",
		"18 plants show a lot with 5 % off-types in 60 of 100 harvests; a lot with fewer than 15 % can stay unseen in more than 5 of 100 harvests", "allows 1 among 18; a lot with 10 % off-types would still pass it in 45 of 100 harvests"} {
		if !strings.Contains(said, want) {
			t.Errorf("%q is not in\n%s", want, said)
		}
	}
	for _, c := range p.See {
		if math.Abs(c.Metres-0.5*float64(c.Plants-1)) > 1e-9 {
			t.Errorf("%d plants in %g m", c.Plants, c.Metres)
		}
	}
	one, err := MakePlan(PlanInput{Rate: 0.05, Confidence: 0.95, Bed: Bed{Spacing: 0.5, LengthM: 0.3}})
	if err != nil || !strings.Contains(strings.Join(one.Warnings, " "), "one plant cannot judge") || strings.Contains(strings.Join(one.Sentences, " "), "1 plants") {
		t.Errorf("room for one: %v %q %q", err, one.Warnings, one.Sentences)
	}
}
