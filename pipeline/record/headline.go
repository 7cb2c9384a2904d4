package record

import (
	"fmt"
	"slices"
	"strings"
)

// Step is one thing to do next: what it concerns in a word ("Seed"), a sentence or two, and where the program helps.
type Step struct {
	About, Text string
	Command     string // command that helps, such as "offtype report"; empty: none
}

// PlantsWith lists the plants that got verdict v, in the order of the judgement.
func (j *Judgement) PlantsWith(v Verdict) []string {
	var out []string
	for _, p := range j.Plants {
		if p.Verdict == v {
			out = append(out, p.Plant)
		}
	}
	return out
}

// ControlReason is the reason of a plant that the others were compared with first, in place of a verdict.
const ControlReason = "control plant: what the others are compared with"

// Controls lists the control plants that the verdicts used.
func (j *Judgement) Controls() []string {
	var out []string
	for _, p := range j.Plants {
		if slices.Contains(p.Reasons, ControlReason) {
			out = append(out, p.Plant)
		}
	}
	return out
}

// NamedPlants says plant numbers in words: "plant 3", "plants 3, 5 and 7". More than most are counted instead: "12 plants".
func NamedPlants(ps []string, most int) string {
	switch n := len(ps); {
	case n == 0:
		return "no plant"
	case n == 1:
		return "plant " + ps[0]
	case n > most:
		return fmt.Sprintf("%d plants", n)
	default:
		return "plants " + strings.Join(ps[:n-1], ", ") + " and " + ps[n-1]
	}
}

// NamedAtMost is how many plants a headline or a step names; beyond it they are counted.
const NamedAtMost = 15

// Headline says in one or two short sentences which plants (fruit, where no plants are known) are off-type and which are
// doubtful. It is empty when nothing was compared with a description.
func (r *Run) Headline() string {
	j := &r.Judgement
	if j.Variety == nil || len(r.Fruits) == 0 {
		return ""
	}
	if len(j.Plants) == 0 {
		return r.fruitHeadline()
	}
	off, doubtful := j.PlantsWith(OffType), j.PlantsWith(Doubtful)
	s := "No plant is off-type."
	switch {
	case len(off) > 0:
		s = "Off-type: " + NamedPlants(off, NamedAtMost) + "."
	case len(j.PlantsWith(TrueToType)) == 0 && len(doubtful) == 0:
		s = "No plant could be judged."
	}
	if len(doubtful) > 0 {
		s += " Doubtful: " + NamedPlants(doubtful, NamedAtMost) + "."
	}
	if n := j.StrayFruit(); n > 0 {
		s += fmt.Sprintf(" Single off-type fruit elsewhere: %d.", n)
	}
	return s
}

// StrayFruit counts off-type fruit that belong to no off-type plant: without a plant number, or single fruit of others.
func (j *Judgement) StrayFruit() int {
	in := map[string]bool{}
	for _, p := range j.PlantsWith(OffType) {
		in[p] = true
	}
	n := 0
	for _, f := range j.Fruits {
		if f.Verdict == OffType && !in[f.Plant] {
			n++
		}
	}
	return n
}

func (r *Run) fruitHeadline() string {
	one, many := Items(r.Judgement.Variety.Species)
	if IsRoot(r.Judgement.Variety.Species) && r.Judgement.ItemIsPlant() {
		one, many = "plant", "plants"
	}
	off, judged, rest := r.Judgement.FruitCounts()
	doubtful := 0
	for _, f := range r.Judgement.Fruits {
		if f.Verdict == Doubtful {
			doubtful++
		}
	}
	s := "No " + one + " is off-type."
	switch {
	case judged == 0:
		return "No " + one + " could be judged."
	case off > 0:
		s = fmt.Sprintf("Off-type: %d of %s.", off, Count(judged, one, many))
	}
	if doubtful > 0 {
		s += fmt.Sprintf(" Doubtful: %d.", doubtful)
	}
	if rest > 0 {
		s += fmt.Sprintf(" Not judged: %d.", rest)
	}
	return s
}

// FruitCounts counts the fruit that are off-type, those that a verdict rests on, off-types among them, and the others:
// cut by the picture's edge, not measured, or set aside.
func (j *Judgement) FruitCounts() (off, judged, rest int) {
	for _, f := range j.Fruits {
		switch {
		case f.Verdict == OffType:
			off++
			judged++
		case f.Verdict.Rests():
			judged++
		default:
			rest++
		}
	}
	return off, judged, rest
}

// Rests reports whether v tells what a fruit or plant is, so that counts and the verdict on a group can rest on it.
func (v Verdict) Rests() bool { return v == TrueToType || v == Doubtful || v == OffType }

// NotJudged counts the fruit of a group that its verdict does not rest on: cut by the picture's edge, not measured, or
// set aside. It is 0 where the group has no verdict.
func (j *Judgement) NotJudged(group int) int {
	n, judged := 0, false
	for _, g := range j.Groups {
		judged = judged || g.Group == group && g.Verdict.Rests()
	}
	for _, f := range j.Fruits {
		if judged && f.Group == group && !f.Verdict.Rests() {
			n++
		}
	}
	return n
}

// FruitJudged says how many fruit a group has, and of how many its verdict tells nothing: "6 fruit, 4 of them not judged".
func FruitJudged(all, notJudged int) string { return ItemsJudged(all, notJudged, "fruit", "fruit") }

// ItemsJudged is FruitJudged with the words for one and for several (Items).
func ItemsJudged(all, notJudged int, one, many string) string {
	s := Count(all, one, many)
	switch {
	case notJudged <= 0:
		return s
	case all == 1:
		return s + ", not judged"
	case notJudged >= all:
		return s + ", none of them judged"
	}
	return fmt.Sprintf("%s, %d of them not judged", s, notJudged)
}
