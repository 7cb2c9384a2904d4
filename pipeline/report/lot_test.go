package report

import (
	"math"
	"strings"
	"testing"

	"offtype/cluster/lot"
	"offtype/pipeline/record"
)

// The report's own words on the lot fit the counts: the rate is off of those decided, the rule's limit that of all
// plants seen, and a lot is outside the rule only when no plant that could not be decided can change that.
func TestLotInWords(t *testing.T) {
	for _, c := range []struct {
		count      lot.Count
		find, rule string
	}{
		{lot.Count{Seen: 8, Off: 2, Unsure: 1}, "2 of 7 plants differ clearly from the variety's description (29 %)", "1 off-type allowed in 8 plants. This lot is outside it."},
		{lot.Count{Seen: 6, Off: 1, Unsure: 1}, "1 of 5 plants differs clearly from the variety's description (20 %)", "1 off-type allowed in 6 plants. This lot is not clearly within or outside it."},
		{lot.Count{Seen: 8, Off: 1, Most: 7}, "Between 1 and 7 of 8 plants differ clearly from the variety's description: the fruit carry no plant numbers", "This lot is not clearly within or outside it."},
		{lot.Count{Seen: 8, Unsure: 1}, "0 of 7 plants differ", "This lot is within it."},
		{lot.Count{Seen: 60, Off: 1}, "1 of 60 plants differs", "2 off-types allowed in 60 plants. This lot is within it."},
		{lot.Count{Seen: 1}, "0 of 1 plant differs", "0 off-types allowed in 1 plant. This lot is within it."},
		{lot.Count{Seen: 3, Unsure: 3}, "Of 3 plants seen none could be called true to type or off-type.", "0 off-types allowed in 3 plants. This lot is not clearly"},
	} {
		f, err := lot.Judge(c.count, lot.CommonStandard, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		s := synthetic(9)
		s.run.Judgement.Lot = record.Lot{Unit: "plant", Seen: c.count.Seen, Off: c.count.Off, Unsure: c.count.Unsure, Rate: &f.Rate, Low: &f.Low, High: &f.High, Most: c.count.Most, Confidence: f.Confidence,
			Rule: &record.Rule{Standard: 0.01, Acceptance: 0.95, Allowed: f.Allowed, Within: f.Within}}
		if math.IsNaN(f.Rate) {
			s.run.Judgement.Lot.Rate = nil
		}
		b := &docBuilder{doc: s.doc(), run: s.run, t: &docEnglish}
		if got := b.finding(); !strings.Contains(got, c.find) {
			t.Errorf("%+v: %q lacks %q", c.count, got, c.find)
		}
		said := ""
		for _, x := range b.lot() {
			if f, ok := x.(facts); ok {
				for _, r := range f.rows {
					said += r[1] + "\n"
				}
			}
		}
		for _, x := range []float64{f.Low, f.High} { // written as the run writes it
			if !strings.Contains(said, lot.Percent(x)) || !strings.Contains(b.finding(), lot.Percent(x)) {
				t.Errorf("%+v: no %s in %q and %q", c.count, lot.Percent(x), b.finding(), said)
			}
		}
		if c.count.Most > 0 && !strings.Contains(said, "8\n1 to 7\n0\n12 % to 88 %\n") {
			t.Errorf("%+v: the numbers of the lot are %q", c.count, said)
		}
		if !strings.Contains(said, c.rule) {
			t.Errorf("%+v: %q lacks %q", c.count, said, c.rule)
		}
	}
}

// The control plants are those that the verdicts used, whether or not anybody named them again for the report; those that
// were named afterwards are not said to have been compared with.
func TestControlsOfTheVerdicts(t *testing.T) {
	for _, c := range []struct {
		used, named []string
		want        string
	}{
		{nil, nil, "No control plants were marked."},
		{[]string{"2"}, nil, "stood in the same bed: plant 2."},
		{[]string{"2", "10"}, []string{"2"}, "stood in the same bed: plants 2, 10."},
		{[]string{"2"}, []string{"2", "3"}, "stood in the same bed: plant 2."},
		{[]string{"2"}, []string{"2", "3"}, "the verdicts did not use: plant 3."},
	} {
		s := synthetic(9)
		for i := range s.run.Judgement.Plants {
			s.run.Judgement.Plants[i].Reasons = nil
		}
		for _, p := range c.used {
			s.run.Judgement.Plants = append(s.run.Judgement.Plants, record.PlantVerdict{Plant: p, Fruits: 1, Verdict: record.NotJudged, Reasons: []string{record.ControlReason}})
		}
		d := s.doc()
		d.Entered.Controls = c.named
		b, err := d.builder()
		if err != nil {
			t.Fatal(err)
		}
		if got := b.controlsText(); !strings.Contains(got, c.want) {
			t.Errorf("used %v, named %v: %q lacks %q", c.used, c.named, got, c.want)
		}
	}
}

// Plants that taught the description are named beside the finding: that they fit it proves nothing.
func TestFindingNamesItsTeachers(t *testing.T) {
	s := synthetic(9)
	s.run.Judgement.Lot = record.Lot{Unit: "plant", Seen: 4, Rate: fp(0), Low: fp(0), High: fp(.6), Confidence: .95, Taught: []string{"1", "2"}}
	b := &docBuilder{doc: s.doc(), run: s.run, t: &docEnglish}
	if got, want := b.finding(), "learnt from plants 1, 2 of this harvest"; !strings.Contains(got, want) {
		t.Errorf("%q lacks %q", got, want)
	}
}

// The cover counts the plants that its finding speaks of, and says when there is none.
func TestCoverCountsWhatWasJudged(t *testing.T) {
	s := synthetic(9)
	s.run.Judgement.Lot = record.Lot{Unit: "plant", Seen: 2, Off: 1, Rate: fp(.5), Low: fp(.01), High: fp(.99), Confidence: .95}
	b, err := s.doc().builder()
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range b.cover() {
		if n, ok := x.(numbers); ok && n.of[1] != (figure{"2", "plants judged"}) {
			t.Errorf("the cover says %v", n)
		}
	}
	s.run.Judgement.Lot = record.Lot{Unit: "plant", Confidence: .95}
	for i := range s.run.Judgement.Fruits {
		s.run.Judgement.Fruits[i].Verdict = record.NotAssessable
	}
	if b, err = s.doc().builder(); err != nil {
		t.Fatal(err)
	}
	if got := b.finding(); !strings.HasPrefix(got, "Nothing could be judged. Not judged: 9 fruit") {
		t.Error(got)
	}
}

// The rate of a harvest with plants of several lots is none of theirs: the finding counts each.
func TestFindingOfSeveralLots(t *testing.T) {
	s := synthetic(9)
	s.run.Judgement.Plants = []record.PlantVerdict{{Plant: "1", Verdict: record.TrueToType}, {Plant: "2", Verdict: record.OffType}, {Plant: "3", Verdict: record.Doubtful}, {Plant: "4", Verdict: record.NotJudged}}
	s.run.Judgement.Lot = record.Lot{Unit: "plant", Seen: 3, Off: 1, Unsure: 1, Rate: fp(.5), Low: fp(.01), High: fp(.99), Confidence: .95}
	d := s.doc()
	for _, c := range []struct {
		lots []LotPlants
		want string
	}{
		{[]LotPlants{{"A1", []string{"1", "3"}}, {"B2", []string{"2", "4"}}}, "these plants are of 2 seed lots: A1: 0 off-type of 2 plants; B2: 1 off-type of 1 plant."},
		{[]LotPlants{{"A1", []string{"1", "2", "3"}}, {"B2", []string{"4"}}, {"", nil}}, ""},
		{[]LotPlants{{"A1", []string{"1", "2"}}, {"", []string{"3"}}}, "lot not written down: 0 off-type of 1 plant."},
	} {
		d.Entered.Lots = c.lots
		b := &docBuilder{doc: d, run: s.run, t: &docEnglish}
		if got := b.finding(); c.want == "" && strings.Contains(got, "seed lots:") || !strings.Contains(got, c.want) {
			t.Errorf("%v: %q lacks %q", c.lots, got, c.want)
		}
	}
}

// A sheet of a fruit from a table claims no more than the table: no pose, no photo, and no group that is certain of a
// fruit that nothing was measured on.
func TestSheetOfATable(t *testing.T) {
	s := synthetic(2)
	s.run.Photos = nil
	f := &s.run.Fruits[0]
	f.Photo, f.Outline = "", nil
	s.run.Groups = []record.Membership{{Key: f.Key(), Group: 1, Membership: 1, Unsure: true}}
	b, err := s.doc().builder()
	if err != nil {
		t.Fatal(err)
	}
	said := ""
	for _, x := range b.sheet(f) {
		switch x := x.(type) {
		case heading:
			said += "[" + x.text + "]"
		case para:
			said += x.text + "\n"
		}
	}
	if !strings.Contains(said, "[Fruit 1]") || !strings.Contains(said, "(too little measured)") || strings.Contains(said, "lies on") || strings.Contains(said, "100 %") {
		t.Error(said)
	}
}

// The explanation of the common rule does not pass for one of a rule that somebody chose.
func TestOwnRuleIsNotTheCommonOne(t *testing.T) {
	for _, standard := range []float64{0.01, 0.05} {
		s := synthetic(9)
		s.run.Judgement.Lot = record.Lot{Unit: "plant", Seen: 8, Rate: fp(0), Low: fp(0), High: fp(.4), Confidence: .95, Rule: &record.Rule{Standard: standard, Acceptance: .95, Allowed: 1, Within: true}}
		b := &docBuilder{doc: s.doc(), run: s.run, t: &docEnglish}
		said := ""
		for _, x := range b.lot() {
			if f, ok := x.(frame); ok {
				said = strings.Join(f.paras, " ")
			}
		}
		if got := strings.Contains(said, "(5 % off-types, 95 % probability) is not this one"); got != (standard == 0.05) {
			t.Errorf("standard %v: %s", standard, said)
		}
	}
}

// Off-type fruit that belong to no off-type plant are not hidden behind a clean count of plants.
func TestFindingNamesStrayFruit(t *testing.T) {
	s := synthetic(9)
	s.run.Judgement.Plants = []record.PlantVerdict{{Plant: "1", Verdict: record.TrueToType}}
	for i := range s.run.Judgement.Fruits {
		f := &s.run.Judgement.Fruits[i]
		f.Plant, f.Verdict = "1", record.TrueToType
		if i < 2 {
			f.Plant, f.Verdict = "", record.OffType
		}
	}
	s.run.Judgement.Lot = record.Lot{Unit: "plant", Seen: 1, Rate: fp(0), Low: fp(0), High: fp(.975), Confidence: .95}
	b := &docBuilder{doc: s.doc(), run: s.run, t: &docEnglish}
	if got, want := b.finding(), "Not in this count: 2 fruit that are off-type"; !strings.Contains(got, want) {
		t.Errorf("%q lacks %q", got, want)
	}
}
