package compare

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"offtype/cluster/lot"
	"offtype/pipeline/record"
)

// few is the number of plants below which every sentence says that they are few.
const few = 6

// amount writes a number with its unit, without a bare "-0".
func amount(x float64, decimals int, unit string) string {
	s := strconv.FormatFloat(x, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	s = strings.Replace(s, "-", "−", 1)
	switch unit {
	case "":
		return s
	case "°":
		return s + unit
	}
	return s + " " + unit
}

// units says "plants" or "fruit", as counted.
func units(p *Pair, n int) string {
	if p.Unit == "fruit" {
		return record.Count(n, "fruit", "fruit")
	}
	return record.Count(n, "plant", "plants")
}

// traitSentence says what became of a trait, with its interval.
func traitSentence(t *Trait, tr trait, p *Pair) string {
	if t.Difference == nil {
		return ""
	}
	if t.Low == nil {
		said := fmt.Sprintf("%s: %s in %s and %s in %s.", tr.label, amount(*t.FromMean, tr.decimals, t.Unit), p.From, amount(*t.ToMean, tr.decimals, t.Unit), p.To)
		switch {
		case t.Found:
			return said + " It is the same on all of each harvest, and not the same in both."
		case t.PAdjusted != nil && t.Measuring != nil && math.Abs(*t.Difference) < *t.Measuring:
			return fmt.Sprintf("%s Measuring alone can make %s of difference.", said, amount(*t.Measuring, tr.decimals, t.Unit))
		}
		return said + " Too few plants to say whether that is a difference."
	}
	word := tr.more
	size := *t.Difference
	if size < 0 {
		word, size = tr.less, -size
	}
	between := fmt.Sprintf("between %s and %s", amount(*t.Low, tr.decimals, ""), amount(*t.High, tr.decimals, t.Unit))
	switch {
	case t.Found:
		return fmt.Sprintf("%s is %s than %s by %s (%s).", p.To, word, p.From, amount(size, tr.decimals, t.Unit), between)
	case t.PAdjusted != nil && *t.PAdjusted <= 0.05 && t.Measuring != nil && size < *t.Measuring:
		return fmt.Sprintf("%s seems %s by %s (%s), but measuring alone can make %s of difference.", p.To, word, amount(size, tr.decimals, t.Unit), between, amount(*t.Measuring, tr.decimals, t.Unit))
	case (*t.Low > 0 || *t.High < 0) && (t.Measuring == nil || size >= *t.Measuring):
		return fmt.Sprintf("%s may be %s by %s (%s). Alone this would count; among all that was looked at it can be chance.", p.To, word, amount(size, tr.decimals, t.Unit), between)
	}
	if *t.Low > 0 || *t.High < 0 {
		return fmt.Sprintf("No change beyond what measuring alone can make, %s (%s).", amount(*t.Measuring, tr.decimals, t.Unit), between)
	}
	return fmt.Sprintf("No change seen (%s).", between)
}

func colourSentence(c *Colour, p *Pair) string {
	if c.P == nil {
		return fmt.Sprintf("The mean skin colours lie %.1f apart (ΔE00). Too few plants to say whether that is a difference.", *c.DE00)
	}
	how := "hardly visible"
	switch {
	case *c.DE00 >= 5:
		how = "a clearly different colour"
	case *c.DE00 >= 2:
		how = "visible side by side"
	}
	span := fmt.Sprintf("%.1f (between %.1f and %.1f; ΔE00, a measure of colour difference: %s)", *c.DE00, *c.Low, *c.High, how)
	switch {
	case c.Found:
		return fmt.Sprintf("The skin colour changed by %s: %s.", span, colourWay(c))
	case c.Measuring != nil && c.PAdjusted != nil && *c.PAdjusted <= 0.05:
		return fmt.Sprintf("The skin colour seems to have changed by %s, but cards and cameras alone can make %.1f.", span, *c.Measuring)
	case *c.Low > 0:
		return fmt.Sprintf("The skin colour may have changed by %s. Alone this would count; among all that was looked at it can be chance.", span)
	}
	return fmt.Sprintf("No change of skin colour seen: %s. Dealing the same plants at random between the two harvests often gives up to %.1f.", span, *c.Chance)
}

// colourWay says in words which way the colour moved: the largest parts of the change.
func colourWay(c *Colour) string {
	var out []string
	d := [3]float64{c.To[0] - c.From[0], c.To[1] - c.From[1], c.To[2] - c.From[2]}
	most := math.Max(math.Abs(d[0]), math.Max(math.Abs(d[1]), math.Abs(d[2])))
	for i, w := range [3][2]string{{"lighter", "darker"}, {"redder", "greener"}, {"yellower", "bluer"}} {
		switch {
		case math.Abs(d[i]) < most/2 || d[i] == 0:
		case d[i] > 0:
			out = append(out, w[0])
		default:
			out = append(out, w[1])
		}
	}
	return strings.Join(out, ", ")
}

// sectionSentences sums up a section: what changed, or what would have stayed unseen.
func sectionSentences(s *Section, p *Pair) []string {
	var out []string
	for _, t := range s.Traits {
		if t.Found {
			out = append(out, t.Sentence)
		}
	}
	if s.Colour != nil && s.Colour.Found {
		out = append(out, s.Colour.Sentence)
	}
	if len(out) == 0 && s.Together != nil && s.Together.Found {
		out = append(out, "No single trait changed for certain, but all together the fruit differ from before.")
	}
	if len(out) > 0 {
		return out
	}
	what := "The fruit"
	if s.ToGroup > 0 {
		what = fmt.Sprintf("The fruit of %s", s.Title)
	}
	line, fits := fmt.Sprintf("%s did not change beyond what chance gives", what), "what still fits these plants"
	var kept []string
	for _, t := range s.Traits {
		if (t.Name == "length_mm" || t.Name == "width_mm") && t.Low != nil {
			if *t.Low > 0 || *t.High < 0 { // not found all the same: too few plants, or too many tests
				line, fits = fmt.Sprintf("Whether %s%s changed cannot be said for certain: so few plants, or one of all that was looked at, can differ like this by chance", strings.ToLower(what[:1]), what[1:]), "what fits these plants"
			}
			kept = append(kept, fmt.Sprintf("%s %s to %s", t.Label, signed(*t.Low, t.Decimals), signedUnit(*t.High, t.Decimals, t.Unit)))
		}
	}
	if s.Colour != nil && s.Colour.High != nil {
		kept = append(kept, fmt.Sprintf("colour up to %.1f ΔE00", *s.Colour.High))
	}
	if len(kept) > 0 {
		line += "; " + fits + ": " + strings.Join(kept, ", ")
	}
	out = append(out, line+".")
	if n := min(s.FromPlants, s.ToPlants); n < few {
		out = append(out, fmt.Sprintf("With %s only large changes can show.", units(p, n)))
	}
	return out
}

func signed(x float64, decimals int) string {
	s := amount(x, decimals, "")
	if x > 0 && s != amount(0, decimals, "") {
		return "+" + s
	}
	return s
}

func signedUnit(x float64, decimals int, unit string) string {
	return strings.TrimSpace(signed(x, decimals) + " " + unit)
}

func groupSentence(g *GroupPair, p *Pair) string {
	count := func(fruits, plants int) string {
		if plants == 0 || p.Unit == "fruit" {
			return record.Count(fruits, "fruit", "fruit")
		}
		if len(g.names) > 0 && len(g.names) <= 12 && (g.From == 0 || g.To == 0) {
			word := "plant "
			if len(g.names) > 1 {
				word = "plants "
			}
			return word + strings.Join(g.names, ", ") + "; " + record.Count(fruits, "fruit", "fruit")
		}
		return fmt.Sprintf("%s, %s", record.Count(plants, "plant", "plants"), record.Count(fruits, "fruit", "fruit"))
	}
	switch {
	case g.From == 0:
		return fmt.Sprintf("Group %d of %s (%s) is new: no group of %s is like it.", g.To, p.To, count(g.ToFruits, g.ToPlants), p.From)
	case g.To == 0:
		return fmt.Sprintf("Group %d of %s (%s) is not in %s.", g.From, p.From, count(g.FromFruits, g.FromPlants), p.To)
	}
	s := fmt.Sprintf("Group %d of %s (%s) is the same type as group %d of %s (%s).", g.To, p.To, count(g.ToFruits, g.ToPlants), g.From, p.From, count(g.FromFruits, g.FromPlants))
	if g.Share != nil && g.Share.P != nil {
		if g.Share.Found {
			s += " Its share of the plants changed for certain."
		} else if g.Share.From*g.Share.ToOf != g.Share.To*g.Share.FromOf {
			s += " The change of its share can be chance."
		}
	}
	return s
}

// offTypeSentence says how many plants were off-type and whether the change can be chance.
func offTypeSentence(o *OffTypes, p *Pair) string {
	list := func(plants []string) string {
		if len(plants) == 0 || len(plants) > record.NamedAtMost {
			return ""
		}
		if len(plants) == 1 {
			return " (plant " + plants[0] + ")"
		}
		return " (plants " + strings.Join(plants, ", ") + ")"
	}
	doubt := func(plants []string) string {
		if len(plants) == 0 {
			return ""
		}
		return fmt.Sprintf(", and %d that could not be decided%s", len(plants), list(plants))
	}
	s := fmt.Sprintf("%s had %d off-type of %s judged%s%s; %s had %d of %d%s%s. ", p.To, o.To, record.Count(o.ToOf, "plant", "plants"), list(o.ToPlants), doubt(o.ToDoubtful),
		p.From, o.From, o.FromOf, list(o.FromPlants), doubt(o.FromDoubtful))
	rates := fmt.Sprintf("The rate in the seed lot is likely between %s and %s, before between %s and %s.", lot.Percent(o.ToLow), lot.Percent(o.ToHigh), lot.Percent(o.FromLow), lot.Percent(o.FromHigh))
	switch {
	case o.P == nil:
		return strings.TrimSuffix(s, " ") + " Plants that taught the description are true by the grower's word: nothing follows from the two numbers."
	case o.Found:
		return s + "That is more than chance gives. " + rates
	case o.From*o.ToOf == o.To*o.FromOf:
		return s + rates
	}
	if *o.P <= 0.05 {
		return s + "Alone this would count; among all that was looked at it can be chance. " + rates
	}
	return s + "With so few plants two lots of equal seed could differ like this. " + rates
}

func driftSentence(d *Drift, p *Pair) string {
	if d.Low == nil || d.Difference == nil {
		return ""
	}
	span := fmt.Sprintf("(mean distance %.1f before, %.1f now, about 1 for true fruit; change between %s and %s)", *d.FromMean, *d.ToMean, amount(*d.Low, 1, ""), amount(*d.High, 1, ""))
	switch {
	case d.Found && *d.Difference > 0:
		return fmt.Sprintf("The fruit that are not off-type moved away from the description of %s %s.", d.Variety, span)
	case d.Found:
		return fmt.Sprintf("The fruit that are not off-type moved towards the description of %s %s.", d.Variety, span)
	}
	return fmt.Sprintf("Chance alone could make the change in how far the fruit that are not off-type lie from the description of %s %s.", d.Variety, span)
}

// headline gives the sentences on top of the page: off-types, new and lost groups, changes.
func headline(p *Pair) []string {
	var out []string
	if p.OffTypes != nil {
		out = append(out, p.OffTypes.Sentence)
	}
	for _, g := range p.Groups {
		if g.From == 0 || g.To == 0 {
			out = append(out, g.Sentence)
		}
	}
	if len(p.Groups) > 1 && len(p.Sections) == 1 && p.Sections[0].ToGroup == 0 {
		out = append(out, "No group of one harvest is like a group of the other, so that all fruit are compared with all fruit.")
	}
	for _, s := range p.Sections {
		out = append(out, s.Sentences...)
	}
	if p.Drift != nil && p.Drift.Sentence != "" {
		out = append(out, p.Drift.Sentence)
	}
	return out
}

// warnings says what else changed between the harvests and can look like a change of the fruit.
func warnings(a, b *Side, ta, tb *table) []string {
	var out []string
	camA, cardA, dubA := a.devices()
	camB, cardB, dubB := b.devices()
	if len(camA) > 0 && len(camB) > 0 && !same(camA, camB) {
		out = append(out, fmt.Sprintf("Another camera was used (%s; before %s). Sizes do not depend on it; a small change of colour may.", strings.Join(camB, ", "), strings.Join(camA, ", ")))
	}
	if len(cardA) > 0 && len(cardB) > 0 && !same(cardA, cardB) {
		out = append(out, fmt.Sprintf("Another card was used (number %s; before %s). Prints differ: unless both cards' colours were measured, a small change of colour may be the card's.", strings.Join(cardB, ", "), strings.Join(cardA, ", ")))
	}
	if (len(camA) == 0) != (len(camB) == 0) {
		out = append(out, "Only one of the two harvests says which camera was used.")
	}
	for _, x := range []struct {
		s *Side
		n int
	}{{a, dubA}, {b, dubB}} {
		if x.n > 0 {
			out = append(out, fmt.Sprintf("The colours of %s of %s are doubtful.", record.Count(x.n, "photo", "photos"), x.s.Name))
		}
	}
	if a.Stage != "" && b.Stage != "" && a.Stage != b.Stage {
		out = append(out, fmt.Sprintf("%s was photographed %s, %s %s: colour and weight change in between.", b.Name, b.Stage, a.Name, a.Stage))
	}
	if a.Run.Program != b.Run.Program {
		out = append(out, fmt.Sprintf("The photos were measured by different versions of the program (%s; before %s). Measure the older ones again to compare like with like.", b.Run.Program, a.Run.Program))
	}
	va, vb := a.Run.Judgement.Variety, b.Run.Judgement.Variety
	switch {
	case va != nil && vb != nil && va.Name != vb.Name:
		out = append(out, fmt.Sprintf("The harvests were judged as different varieties (%s; before %s).", vb.Name, va.Name))
	case va != nil && vb != nil && va.Version != vb.Version:
		out = append(out, fmt.Sprintf("Different versions of the description were used (%s; before %s): verdicts may differ for that reason. Judge the older harvest again to compare like with like.", vb.Version, va.Version))
	case (va == nil) != (vb == nil):
		out = append(out, "Only one of the harvests was judged against a description: off-types cannot be compared.")
	}
	for _, t := range []*table{ta, tb} {
		if _, n := t.plantsIn(); n == 0 && len(t.fruits) > 0 {
			out = append(out, fmt.Sprintf("%s has no plant numbers: fruit are counted instead of plants. Fruit of one plant are alike, so that every difference looks surer than it is.", t.side.Name))
		}
		if t.aside > 0 {
			out = append(out, fmt.Sprintf("%s of %s left out as not assessable.", record.Count(t.aside, "fruit", "fruit"), t.side.Name))
		}
		if unplanted := withoutPlant(t); unplanted > 0 {
			out = append(out, fmt.Sprintf("%s of %s without a plant number left out.", record.Count(unplanted, "fruit", "fruit"), t.side.Name))
		}
	}
	for _, s := range []*Side{a, b} {
		if c := s.Run.Judgement.Controls(); len(c) > 0 {
			out = append(out, fmt.Sprintf("Left out of %s, because grown from other seed as control: %s.", s.Name, record.NamedPlants(c, record.NamedAtMost)))
		}
		if p := s.Run.Judgement.Lot.Taught; len(p) > 0 {
			who := record.NamedPlants(p, record.NamedAtMost)
			out = append(out, fmt.Sprintf("%s of %s taught the description that it was judged with: that they fit it and lie near it proves nothing, so distances from the description are not compared.", strings.ToUpper(who[:1])+who[1:], s.Name))
		}
	}
	return out
}

// withoutPlant counts fruit without a plant number in a harvest that has numbers.
func withoutPlant(t *table) int {
	if _, n := t.plantsIn(); n == 0 {
		return 0
	}
	n := 0
	for _, f := range t.fruits {
		if f.Plant == "" {
			n++
		}
	}
	return n
}

func same(a, b []string) bool { return strings.Join(a, "\x00") == strings.Join(b, "\x00") }
