package record

import "testing"

func TestHeadline(t *testing.T) {
	fruit := func(plant string, v Verdict) FruitVerdict { return FruitVerdict{Plant: plant, Verdict: v} }
	of := func(ps []PlantVerdict, fs ...FruitVerdict) *Run {
		return &Run{Fruits: make([]Fruit, max(len(fs), 1)), Judgement: Judgement{Variety: &VarietyRef{Name: "x"}, Plants: ps, Fruits: fs}}
	}
	roots := func(unit string, fs ...FruitVerdict) *Run {
		r := of(nil, fs...)
		r.Judgement.Variety.Species, r.Judgement.Lot = "Daucus carota", Lot{Unit: unit, Seen: len(fs)}
		return r
	}
	for _, c := range []struct {
		run  *Run
		want string
	}{
		{&Run{Fruits: make([]Fruit, 2)}, ""},
		{of([]PlantVerdict{{Plant: "1", Verdict: TrueToType}, {Plant: "3", Verdict: OffType}}), "Off-type: plant 3."},
		{of([]PlantVerdict{{Plant: "3", Verdict: OffType}, {Plant: "5", Verdict: OffType}, {Plant: "7", Verdict: OffType}, {Plant: "9", Verdict: Doubtful}}), "Off-type: plants 3, 5 and 7. Doubtful: plant 9."},
		{of([]PlantVerdict{{Plant: "1", Verdict: TrueToType}}), "No plant is off-type."},
		{of([]PlantVerdict{{Plant: "1", Verdict: NotAssessable}}), "No plant could be judged."},
		{of([]PlantVerdict{{Plant: "1", Verdict: TrueToType}}, fruit("1", OffType), fruit("1", TrueToType)), "No plant is off-type. Single off-type fruit elsewhere: 1."},
		{of([]PlantVerdict{{Plant: "1", Verdict: OffType}}, fruit("1", OffType), fruit("", OffType)), "Off-type: plant 1. Single off-type fruit elsewhere: 1."},
		{of(nil, fruit("", OffType), fruit("", TrueToType), fruit("", Doubtful)), "Off-type: 1 of 3 fruit. Doubtful: 1."},
		{of(nil, fruit("", OffType), fruit("", TrueToType), fruit("", NotJudged), fruit("", NotAssessable)), "Off-type: 1 of 2 fruit. Not judged: 2."},
		{of(nil, fruit("", TrueToType), fruit("", NotJudged)), "No fruit is off-type. Not judged: 1."},
		{of(nil, fruit("", NotJudged)), "No fruit could be judged."},
		{of(nil, fruit("", TrueToType)), "No fruit is off-type."},
		{roots("fruit", fruit("", TrueToType)), "No root or bulb is off-type."},
		{roots("fruit", fruit("", OffType), fruit("", TrueToType)), "Off-type: 1 of 2 roots or bulbs."},
		{roots("plant", fruit("", OffType), fruit("", TrueToType)), "Off-type: 1 of 2 plants."},
	} {
		if got := c.run.Headline(); got != c.want {
			t.Errorf("headline %q, want %q", got, c.want)
		}
	}
	if got := NamedPlants([]string{"1", "2", "3"}, 2); got != "3 plants" {
		t.Errorf("more than can be named: %q", got)
	}
}

// The verdict of a group does not rest on fruit that are cut or set aside, and its heading says how many they are.
func TestFruitOfAGroup(t *testing.T) {
	j := Judgement{Groups: []GroupVerdict{{Group: 1, Fruits: 6, Verdict: TrueToType}, {Group: 2, Fruits: 2, Verdict: NotJudged}, {Group: 3, Fruits: 1, Verdict: OffType}}}
	for i, v := range []Verdict{TrueToType, NotJudged, TrueToType, NotJudged, NotAssessable, NotJudged} {
		j.Fruits = append(j.Fruits, FruitVerdict{Fruit: i + 1, Group: 1, Verdict: v})
	}
	j.Fruits = append(j.Fruits, FruitVerdict{Fruit: 7, Group: 2, Verdict: NotJudged}, FruitVerdict{Fruit: 8, Group: 2, Verdict: NotJudged}, FruitVerdict{Fruit: 9, Group: 3, Verdict: OffType})
	for i, want := range []string{"6 fruit, 4 of them not judged", "2 fruit", "1 fruit"} {
		if g := j.Groups[i]; FruitJudged(g.Fruits, j.NotJudged(g.Group)) != want {
			t.Errorf("group %d: %q, want %q", g.Group, FruitJudged(g.Fruits, j.NotJudged(g.Group)), want)
		}
	}
	if a, b := FruitJudged(1, 1), FruitJudged(3, 3); a != "1 fruit, not judged" || b != "3 fruit, none of them judged" {
		t.Errorf("%q, %q", a, b)
	}
}
