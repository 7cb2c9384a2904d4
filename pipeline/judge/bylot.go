package judge

import (
	"fmt"
	"slices"

	"offtype/cluster/lot"
	"offtype/pipeline/record"
)

// noLot stands for plants of which nobody wrote down the seed lot.
const noLot = "not written down"

// byLot counts the plants of each seed lot where they are known to be of more than one, and says so: a rate of all
// together is that of no lot. It returns nothing otherwise.
func (j *judging) byLot() (counts []record.LotCount, said []string) {
	at := map[string]*lot.Count{}
	var names []string
	for _, p := range j.run.Judgement.Plants {
		if !p.Verdict.Rests() {
			continue
		}
		name, ok := j.o.Lots[p.Plant]
		if !ok {
			name = j.o.Lots[""]
		}
		if at[name] == nil {
			at[name] = &lot.Count{}
			names = append(names, name)
		}
		tally(at[name], p.Verdict)
	}
	if len(names) < 2 {
		return nil, nil
	}
	slices.SortFunc(names, func(a, b string) int {
		if (a == "") != (b == "") { // those not known last
			return len(b) - len(a)
		}
		return record.ComparePlants(a, b)
	})
	said = []string{fmt.Sprintf("But these plants are of %d seed lots: a rate of all together would be that of no lot.", len(names))}
	for _, name := range names {
		c := *at[name]
		f, err := lot.Judge(c, lot.Standard{Off: j.o.Standard, Acceptance: j.o.Acceptance}, j.o.Confidence)
		if err != nil { // the same numbers have passed before
			continue
		}
		k := record.LotCount{Lot: name, Seen: c.Seen, Off: c.Off, Unsure: c.Unsure, Low: f.Low, High: f.High}
		counts = append(counts, k)
		if name == "" {
			said = append(said, fmt.Sprintf("Seed lot %s: %d off-type of %s.", noLot, c.Off, record.Count(c.Seen, "plant", "plants")))
			continue
		}
		s := fmt.Sprintf("Seed lot %s: %d off-type of %s", name, c.Off, record.Count(c.Seen, "plant", "plants"))
		if c.Unsure > 0 {
			s += fmt.Sprintf(", %d not decided", c.Unsure)
		}
		rule := "outside"
		switch {
		case f.Within:
			rule = "within"
		case f.Open:
			rule = "perhaps within"
		}
		said = append(said, fmt.Sprintf("%s. The rate in it lies between %s and %s. The rule (%s off-types, %s) allows %d: %s it.",
			s, lot.Percent(f.Low), lot.Percent(f.High), lot.Given(j.o.Standard), lot.Given(j.o.Acceptance), f.Allowed, rule))
	}
	return counts, said
}
