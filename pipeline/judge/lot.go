package judge

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"offtype/cluster/lot"
	"offtype/cluster/reference"
	"offtype/pipeline/record"
)

// lot fills the finding on the seed lot.
func (j *judging) lot() error {
	l := &j.run.Judgement.Lot
	*l = record.Lot{Unit: "fruit", Confidence: j.o.Confidence}
	c, extra := j.count(l)
	c.Most = max(c.Most, c.Off)
	if j.v == nil {
		return j.noVerdict(l, extra)
	}
	l.Seen, l.Off, l.Unsure, l.Most = c.Seen, c.Off, c.Unsure, 0
	if c.Most > c.Off {
		l.Most = c.Most
	}
	if l.Unit == "fruit" {
		said := "Fruit of one plant share its type, so a rate needs plants: give the number of fruiting plants or use plant tags. Without them the seed lot has no rate."
		if record.IsRoot(j.v.Description.Species) {
			said = "Each root or bulb is a plant of its own, but the harvest does not say so: say that one item is one plant, and the seed lot has a rate."
		}
		l.Sentences = append(append(extra, said), j.limits()...)
		return nil
	}
	f, err := lot.Judge(c, lot.Standard{Off: j.o.Standard, Acceptance: j.o.Acceptance}, j.o.Confidence)
	if err != nil {
		return err
	}
	if c.Seen > 0 {
		l.Rate, l.Low, l.High = number(f.Rate), number(f.Low), number(f.High)
		l.Rule = &record.Rule{Standard: j.o.Standard, Acceptance: j.o.Acceptance, Allowed: f.Allowed, Within: f.Within}
	}
	if l.Taught = teachers(j.run, j.v.Description); len(l.Taught) > 0 {
		f.Sentences = slices.Insert(f.Sentences, 1, taughtSentence(l.Taught, l.Seen))
		if l.Vouched() {
			f.Sentences = f.Sentences[:2] // a range or a rule would speak of a lot that nothing was seen of
		}
	}
	if len(j.o.Lots) > 0 && len(j.run.Judgement.Plants) > 0 && !l.Vouched() {
		var said []string
		if l.Lots, said = j.byLot(); len(l.Lots) > 0 {
			f.Sentences = append(f.Sentences[:1+min(1, len(l.Taught))], said...)
		}
	}
	if c.Seen > 0 {
		extra = append(extra, j.uncounted()...)
	}
	l.Sentences = append(append(f.Sentences, extra...), j.limits()...)
	return nil
}

// count counts the plants in the way that is known of: by tag, each fruit as one, from their number alone; without any of
// these the fruit. It sets the unit and returns what is to be said of it.
func (j *judging) count(l *record.Lot) (c lot.Count, extra []string) {
	tagged, loose := 0, 0
	for i := range j.run.Fruits {
		if j.run.Fruits[i].Plant != "" {
			tagged++
		} else {
			loose++
		}
	}
	switch {
	case tagged > 0:
		l.Unit = "plant"
		for _, p := range j.run.Judgement.Plants {
			tally(&c, p.Verdict)
		}
		if loose > 0 {
			one, many := j.items()
			extra = append(extra, fmt.Sprintf("%s without a plant tag %s not counted.", record.Count(loose, one, many), lot.IsAre(loose)))
		}
	case j.o.ItemIsPlant:
		l.Unit = "plant"
		for _, f := range j.run.Judgement.Fruits {
			tally(&c, f.Verdict)
		}
	case j.o.Plants > 0:
		l.Unit = "plant"
		extra = append(extra, j.untagged(&c)...)
	default:
		for _, f := range j.run.Judgement.Fruits {
			tally(&c, f.Verdict)
		}
	}
	return c, extra
}

// items names one and several of what was measured.
func (j *judging) items() (one, many string) {
	if j.v == nil {
		return record.Items(j.o.Species)
	}
	return record.Items(j.v.Description.Species)
}

// uncounted names the plants with fruit that the counts leave out, control plants aside.
func (j *judging) uncounted() []string {
	var out, dark []string
	for _, p := range j.run.Judgement.Plants {
		switch {
		case p.Verdict == record.NotAssessable:
			out = append(out, p.Plant)
		case p.Verdict == record.NotJudged && p.Fruits > 0 && !j.aside.control[p.Plant]:
			dark = append(dark, p.Plant)
		}
	}
	var said []string
	for _, x := range []struct {
		plants []string
		what   string
	}{{out, "set aside"}, {dark, "without anything that could be compared"}} {
		if len(x.plants) > 0 {
			said = append(said, fmt.Sprintf("Not counted, because %s: %s.", x.what, record.NamedPlants(x.plants, record.NamedAtMost)))
		}
	}
	return said
}

func tally(c *lot.Count, v record.Verdict) {
	switch v {
	case record.TrueToType:
		c.Seen++
	case record.OffType:
		c.Seen++
		c.Off++
	case record.Doubtful:
		c.Seen++
		c.Unsure++
	}
}

// suspicion is what fruit without plant tags say about off-type plants.
type suspicion struct {
	judged    int // fruit with a verdict: no more plants than that were seen
	suspects  int // fruit that may be off-type: no more plants than that are
	lone      int // off-type fruit that are a type by themselves, listed in the nearest group
	scattered int // other off-type fruit of groups that are not off-type
}

// suspect counts the fruit that speak for off-type plants. A group's verdict is that of most of its fruit, so that
// single off-type fruit in it would be lost where only groups are counted.
func (j *judging) suspect() suspicion {
	group := map[int]record.Verdict{}
	for _, g := range j.run.Judgement.Groups {
		group[g.Group] = g.Verdict
	}
	var s suspicion
	for i, f := range j.run.Judgement.Fruits {
		if !f.Verdict.Rests() {
			continue
		}
		s.judged++
		switch g := group[f.Group]; {
		case g == record.OffType || g == record.Doubtful:
			s.suspects++
		case f.Verdict == record.OffType && j.g.Members[i].Alone:
			s.suspects++
			s.lone++
		case f.Verdict == record.OffType:
			s.suspects++
			s.scattered++
		}
	}
	return s
}

// untagged counts plants from groups when only their number is known. Lone off-type fruit count as one group more:
// at least one plant bore them. Off-type fruit that are scattered over other groups are counted both ways.
func (j *judging) untagged(c *lot.Count) []string {
	off, good, open := 0, 0, 0
	for _, g := range j.run.Judgement.Groups {
		switch g.Verdict {
		case record.OffType:
			off++
		case record.TrueToType:
			good++
		case record.Doubtful:
			open++
		}
	}
	s := j.suspect()
	n := min(j.o.Plants, s.judged)
	least, most, said := lot.Untagged(n, off+min(s.lone, 1), good)
	if open > 0 || s.scattered > 0 { // what could not be decided may be off-type as well
		_, most, _ = lot.Untagged(n, off+open+min(s.lone+s.scattered, 1), good)
		_, _, said = lot.Untagged(n, off+open, good)
	}
	*c = lot.Count{Seen: n, Off: least, Most: max(least, min(most, s.suspects))}
	var out []string
	if n < j.o.Plants && n > 0 {
		out = append(out, fmt.Sprintf("Only %d fruit could be judged, so no more than %d of the %d plants were seen.", s.judged, n, j.o.Plants))
	}
	if said != "" {
		out = append(out, said)
	}
	if open > 0 {
		out = append(out, "Groups that could not be decided are counted both ways.")
	}
	if s.scattered > 0 {
		out = append(out, fmt.Sprintf("Off-type fruit in groups that are not off-type as a whole (%d) are counted both ways.", s.scattered))
	}
	return out
}

// noVerdict says what can be said without a description.
func (j *judging) noVerdict(l *record.Lot, extra []string) error {
	plants := map[string]bool{}
	for i := range j.run.Fruits {
		if p := j.run.Fruits[i].Plant; p != "" {
			plants[p] = true
		}
	}
	switch {
	case l.Unit == "fruit" || j.o.ItemIsPlant:
		l.Seen = len(j.run.Fruits)
	case len(plants) > 0:
		l.Seen = len(plants)
	default:
		l.Seen = j.o.Plants
	}
	k := len(j.g.Groups)
	one, many := j.items()
	if j.o.ItemIsPlant {
		one, many = "plant", "plants"
	}
	s := fmt.Sprintf("These %s are of %d types.", many, k)
	switch k {
	case 0:
		s = "No " + one + " was found."
	case 1:
		s = "These " + many + " look like one type."
	}
	l.Sentences = append([]string{s}, extra...)
	if j.own != "" {
		l.Sentences = append(l.Sentences, fmt.Sprintf("The description of %s was learnt from this very harvest, so it is not used: a harvest cannot vouch for itself. If you know plants that are true, learn it from those plants alone.", j.own))
	}
	if k > 0 {
		l.Sentences = append(l.Sentences, "Without a variety description nothing is called off-type; the largest group need not be the variety.")
	}
	return nil
}

// limits are the sentences on what the verdicts do not show.
func (j *judging) limits() []string {
	var out []string
	d := j.v.Description
	if j.found.HolmP < j.o.Alpha {
		out = append(out, fmt.Sprintf("This harvest holds at least one off-type: in a true lot the largest of so many differences would be as large as here with a chance of %s.", smallP(j.found.HolmP)))
	}
	if said := j.falseCalls(); said != "" {
		out = append(out, said)
	}
	out = append(out, j.causes()...)
	out = append(out, j.uniformity()...)
	if d.Few() {
		what := fmt.Sprintf("%d plants, fewer than six", d.Learnt.Plants)
		switch d.Learnt.Plants {
		case 0:
			what = "fruit without plant tags"
		case 1:
			what = "one plant"
		}
		out = append(out, fmt.Sprintf("The description was learnt from %s: how much plants of the variety differ is not well known, and no plant is called off-type on size alone.", what))
	}
	if s := j.compared(); s != "" {
		out = append(out, s)
	}
	if d.RoughlyMeasured() {
		out = append(out, "Parts of the description come from words and were not measured: its ranges are wide.")
	}
	if j.found.Control == 0 {
		out = append(out, "No control plants were marked: season and site are not excluded as a cause. Sizes and skin colour, which change with them, count less.")
	} else {
		out = append(out, fmt.Sprintf("Sizes and skin colour were first compared with %s of the same bed.", record.Count(j.found.Control, "control plant", "control plants")))
	}
	if len(j.found.Skipped) > 0 {
		out = append(out, fmt.Sprintf("Not judged, because described at another stage: %s.", strings.Join(j.found.Skipped, ", ")))
	}
	if s := j.wrongFile(); s != "" {
		out = append(out, s)
	}
	return out
}

// likelyFalse: as many calls as were seen come from true plants alone in at least so large a share of harvests that it is
// said. Our own choice.
const likelyFalse = 0.01

// falseCalls says how far the off-types seen may be true plants that were called so by chance, where that is not out of
// the question.
func (j *judging) falseCalls() string {
	l := &j.run.Judgement.Lot
	if l.Unit != "plant" || l.Off == 0 || l.Most > 0 {
		return ""
	}
	least, chance := "at least one such false call happens", lot.ChanceToSee(l.Seen, j.o.Alpha)
	if l.Off > 2 {
		least, chance = fmt.Sprintf("%d or more such false calls happen", l.Off), 1-lot.Accept(l.Seen, l.Off-1, j.o.Alpha)
		if chance < likelyFalse {
			return ""
		}
	}
	s := fmt.Sprintf("About %.0f true plant in 100 is called off-type by chance. With %s seen, %s in %.0f of 100 harvests, so look at the plants themselves.",
		100*j.o.Alpha, record.Count(l.Seen, "plant", "plants"), least, 100*chance)
	if l.HasRange() {
		s += fmt.Sprintf(" Allowing for false calls, the rate in the lot may be as low as %s.", lot.Percent(lot.AllowFalse(*l.Low, j.o.Alpha)))
	}
	return s
}

// compared says what the verdicts rest on where that is a trait or two: being true in these is not being true to type.
func (j *judging) compared() string {
	var names []string
	see := func(v reference.Verdict) {
		for _, t := range v.Traits {
			name := t.Label
			switch t.Name {
			case "skin":
				name = "skin colour"
			case "marks", "stripes":
				name = "marks"
			}
			if !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
	}
	for _, v := range j.found.Fruits {
		see(v)
	}
	if n := len(names); n == 0 || n > 2 {
		return ""
	}
	slices.Sort(names)
	return fmt.Sprintf("Only the %s could be compared: other traits of the fruit were not measured, or the description does not speak of them. A plant that is true in so little can still be off-type.", strings.Join(names, " and the "))
}

// farOff: when the whole harvest lies farther out than this many standard deviations, a wrong file is likelier than
// a wrong seed lot.
const farOff = 6.0

// wrongFile suspects a description of another crop when nothing fits it.
func (j *judging) wrongFile() string {
	n, off := 0, 0
	for _, f := range j.run.Judgement.Fruits {
		if f.Distance == nil {
			continue
		}
		n++
		if *f.Distance > farOff {
			off++
		}
	}
	if n >= 3 && off == n {
		one, _ := j.items()
		return fmt.Sprintf("Every %s is far from the description of %s. Check that it is the right file: it may describe another variety, another crop or another stage.", one, j.v.Description.Name)
	}
	return ""
}

func smallP(p float64) string {
	if p < 0.0001 {
		return "less than 0.0001"
	}
	return fmt.Sprintf("%.2g", math.Max(p, 1e-4))
}
