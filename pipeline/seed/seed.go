package seed

import (
	"fmt"
	"slices"
	"strings"

	"offtype/cluster/lot"
	"offtype/pipeline/record"
)

// Fruit is what is known of a fruit that seed could be kept from.
type Fruit struct {
	Photo   string
	Number  int
	Verdict record.Verdict
	Mature  string // seed maturity: flat, soft, full, full and hard; empty: not looked at
	Bitter  string // yes, no; empty: not tried
}

// Plant is what is known of a plant.
type Plant struct {
	Number      string
	Species     string
	Lot         string
	LotKind     string // open-pollinated, F1 hybrid, population, unknown
	Verdict     record.Verdict
	Control     bool // same variety, other seed: the others were compared with it
	Flowered    bool // false only when it is known not to have flowered with the others
	Pollination string
	IsolationM  *float64
	Fruits      []Fruit
}

// Input is a harvest with all plants that stood in its plantings.
type Input struct {
	Harvest   string
	Variety   string
	Species   string
	Protected string // yes, no, unknown: plant variety right
	Plants    []Plant
}

// The decisions.
const (
	Fit        = "fit"
	NotFit     = "not fit"
	NotOpen    = "not fit, unless hand-pollinated under closure"
	CannotTell = "cannot tell"
)

// Decision says whether seed of a plant is fit to keep the variety, and from which fruit.
type Decision struct {
	Plant   string          `json:"plant"`
	Fit     string          `json:"fit"`
	Reasons []string        `json:"reasons"`
	Fruits  []FruitDecision `json:"fruits"`
	Verdict record.Verdict  `json:"verdict"`
	Mature  bool            `json:"mature"` // at least one fruit with full seed
}

// FruitDecision says whether to take seed from a fruit of a fit plant.
type FruitDecision struct {
	Photo string `json:"photo"`
	Fruit int    `json:"fruit"`
	Take  bool   `json:"take"`
	Why   string `json:"why"`
}

// FruitWords says from which fruit to take seed, one line a fruit, or one line in all where the same holds for each.
func (d *Decision) FruitWords() []string {
	say := func(f FruitDecision) string {
		if f.Take {
			return "yes, " + f.Why
		}
		return "no, " + f.Why
	}
	same := len(d.Fruits) > 1
	var out []string
	for _, f := range d.Fruits {
		same = same && say(f) == say(d.Fruits[0])
		out = append(out, fmt.Sprintf("%s no. %d: %s", f.Photo, f.Fruit, say(f)))
	}
	if same {
		return []string{fmt.Sprintf("all %d fruit: %s", len(d.Fruits), say(d.Fruits[0]))}
	}
	return out
}

// Advice is the answer to offtype seed.
type Advice struct {
	Harvest   string     `json:"harvest"`
	Variety   string     `json:"variety"`
	Species   string     `json:"species"`
	Sentences []string   `json:"sentences"`
	Plants    []Decision `json:"plants"`
	Crop      *Crop      `json:"crop"`
	Cautions  []string   `json:"cautions"`
	Liked     []string   `json:"liked"` // keeping an off-type that is liked
}

// Decide judges each plant of the harvest.
func Decide(in Input) Advice {
	a := Advice{Harvest: in.Harvest, Variety: in.Variety, Species: in.Species}
	if c, ok := CropOf(in.Species); ok {
		a.Crop = &c
	}
	with := contaminants(in)
	fit := 0
	for i := range in.Plants {
		if len(in.Plants[i].Fruits) == 0 {
			continue
		}
		d := decide(&in.Plants[i], in, a.Crop, with)
		if d.Fit == Fit {
			fit++
		}
		a.Plants = append(a.Plants, d)
	}
	a.Sentences = a.sum(fit, with)
	a.Liked = liked()
	a.Cautions = cautions(in)
	return a
}

// contaminants lists the plants of the same species that may have given pollen of another type: off-type,
// doubtful, bitter or never judged, themselves or by a fruit, and not known to have been out of flower.
//
// Control plants are of the same variety, from seed that is trusted: that they are not judged says nothing against them.
func contaminants(in Input) []string {
	var out []string
	for _, p := range in.Plants {
		if !p.Flowered || !sameSpecies(p.Species, in.Species) {
			continue
		}
		trusted := p.Verdict == record.TrueToType || p.Control && p.Verdict == record.NotJudged
		if !trusted || slices.ContainsFunc(p.Fruits, isSuspect) {
			out = append(out, p.Number)
		}
	}
	return out
}

// isSuspect says whether a fruit makes its plant one: a plant that was called true to type by hand may have been called so
// wrongly, and so may the tag of an off-type fruit be wrong.
func isSuspect(f Fruit) bool { return f.Bitter == "yes" || f.Verdict == record.OffType }

func sameSpecies(a, b string) bool {
	return a == "" || b == "" || strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b))
}

// others removes the plant itself.
func others(list []string, plant string) []string {
	var out []string
	for _, p := range list {
		if p != plant {
			out = append(out, p)
		}
	}
	return out
}

// stood says which plants flowered with it.
func stood(list []string) string {
	if len(list) == 1 {
		return fmt.Sprintf("it flowered with plant %s, which may have given foreign pollen", list[0])
	}
	return fmt.Sprintf("it flowered with plants %s, which may have given foreign pollen", strings.Join(list, ", "))
}

func closed(p *Plant) bool { return p.Pollination == "hand, closed" || p.Pollination == "caged" }

func decide(p *Plant, in Input, crop *Crop, with []string) Decision {
	d := Decision{Plant: p.Number, Fit: Fit, Verdict: p.Verdict, Reasons: []string{}}
	worse := func(to, why string) {
		rank := map[string]int{Fit: 0, NotOpen: 1, CannotTell: 2, NotFit: 3}
		if rank[to] > rank[d.Fit] {
			d.Fit = to
		}
		d.Reasons = append(d.Reasons, why)
	}
	switch p.Verdict {
	case record.OffType:
		worse(NotFit, "the plant is off-type")
	case record.TrueToType:
	case record.NotAssessable:
		worse(CannotTell, "the plant could not be assessed (sick, damaged, late or unripe)")
	case record.Doubtful:
		worse(CannotTell, "the plant is doubtful")
	default:
		why := "the plant was not judged against a description"
		if p.Control {
			why = "a control plant of other seed: the others were compared with it, and it was not judged itself"
		}
		worse(CannotTell, why)
	}
	for _, f := range p.Fruits {
		if f.Verdict == record.OffType && p.Verdict != record.OffType {
			worse(NotFit, fmt.Sprintf("its fruit %s is off-type: all fruit of a true plant are alike, so a tag may be wrong", name(f)))
			break
		}
	}
	if p.LotKind == "F1 hybrid" {
		worse(NotFit, "it grew from F1 hybrid seed: plants from its seed will differ among themselves. That is expected and no off-type")
	}
	if !closed(p) {
		if o := others(with, p.Number); len(o) > 0 {
			worse(NotOpen, stood(o))
		}
		isolation(p, crop, worse)
	} else {
		d.Reasons = append(d.Reasons, "its fruit for seed were pollinated under control ("+p.Pollination+")")
	}
	d.fruits(p)
	return d
}

// noDistance is the reason where nobody wrote down the distance kept.
const noDistance = "the distance to the next flowering plant is not written down"

// isolation compares the distance kept with what was read.
func isolation(p *Plant, crop *Crop, worse func(to, why string)) {
	switch {
	case p.IsolationM == nil:
		worse(NotOpen, noDistance)
	case crop == nil || crop.MinMetres == 0:
		worse(NotOpen, fmt.Sprintf("%.0f m were kept, but no distance for this species was read, so that it cannot be judged", *p.IsolationM))
	case *p.IsolationM < crop.MinMetres:
		worse(NotOpen, fmt.Sprintf("%.0f m were kept; the shortest distance any source gives is %.0f m", *p.IsolationM, crop.MinMetres))
	}
}

func name(f Fruit) string {
	if f.Photo == "" {
		return fmt.Sprint(f.Number)
	}
	return fmt.Sprintf("%s/%d", f.Photo, f.Number)
}

// fruits says from which fruit to take seed.
func (d *Decision) fruits(p *Plant) {
	for _, f := range p.Fruits {
		x := FruitDecision{Photo: f.Photo, Fruit: f.Number}
		switch {
		case f.Bitter == "yes":
			x.Why = "bitter: poisonous; throw it away with its seed"
		case d.Fit == NotFit || d.Fit == CannotTell:
			x.Why = "the plant is " + d.Fit
			if d.Fit == CannotTell {
				x.Why = "the plant cannot be told"
			}
		case d.Fit == NotOpen:
			x.Why = "only if it was pollinated by hand and shut"
		case f.Verdict == record.Doubtful || f.Verdict == record.OffType:
			x.Why = "the fruit is " + string(f.Verdict)
		case f.Mature == "flat" || f.Mature == "soft":
			x.Why = "its seed was not full when looked at"
		case f.Mature == "":
			x.Take, x.Why = true, "look whether its seed is full and hard"
		default:
			x.Take, x.Why = true, "its seed is "+f.Mature
			d.Mature = true
		}
		d.Fruits = append(d.Fruits, x)
	}
	for _, f := range p.Fruits {
		if f.Bitter == "yes" {
			d.Fit = NotFit
			d.Reasons = append(d.Reasons, "fruit "+name(f)+" is bitter: never keep seed of this plant")
			for i := range d.Fruits {
				d.Fruits[i].Take = false
			}
			break
		}
	}
}

// LacksDistance reports whether a plant could not be decided because nobody wrote down how far the next flowering plant
// of the species stood.
func (a *Advice) LacksDistance() bool {
	return slices.ContainsFunc(a.Plants, func(d Decision) bool { return slices.Contains(d.Reasons, noDistance) })
}

// sum says in sentences how many plants are fit and whether they are enough.
func (a *Advice) sum(fit int, with []string) []string {
	out := []string{fmt.Sprintf("%d of %d plants with fruit are fit to keep seed of %s from.", fit, len(a.Plants), or(a.Variety, "this variety"))}
	if len(with) > 0 {
		out = append(out, fmt.Sprintf("Off-type, doubtful, bitter or unjudged plants flowered with them: %s. Their pollen reaches true plants too. This year's fruit looks like its mother whoever pollinated it, so that a true fruit can hold crossed seed.", strings.Join(with, ", ")))
	} else {
		out = append(out, "This year's fruit says nothing about who pollinated it: a fruit looks like its mother plant. Whether seed is true shows only in the plants grown from it.")
	}
	if a.LacksDistance() {
		out = append(out, "How far did the next flowering plant of this species stand, your neighbours' plants included? Write the distance into the book with the planting.")
	}
	c := a.Crop
	if c == nil {
		return append(out, "For this species no published distance or number of plants was read; ask a seed library or your seed authority.")
	}
	out = append(out, c.sentences(fit)...)
	return append(out, "Take seed from several fruit and plants, about the same share of each. Seed goes on ripening in the picked fruit: wait three to four weeks before you cut it.")
}

// sentences says how many plants and what distance were read, the least first, and then once where.
func (c *Crop) sentences(fit int) (out []string) {
	sources, distances := "", []string(nil)
	read := func(fs []Figure) {
		for _, f := range fs {
			if !strings.Contains(sources, f.Source) {
				sources += "; " + f.Source
			}
		}
	}
	if c.MinPlants > 0 {
		s := fmt.Sprintf("Save seed of %s from at least %d plants; %d are fit here.", c.Name, c.MinPlants, fit)
		if fit < c.MinPlants {
			s += " Fewer keep the variety for a while but narrow it."
		}
		out = append(out, s+fmt.Sprintf(" Figures read: %s.", c.Plants[0].Text))
		read(c.Plants)
	}
	for _, f := range c.Isolation {
		distances = append(distances, f.Text)
	}
	if len(distances) > 0 {
		out = append(out, fmt.Sprintf("Distance to the next flowering plant of the species. Figures read: %s.", strings.Join(distances, "; ")))
		read(c.Isolation)
	}
	return append(out, "Where these figures were read: "+strings.TrimPrefix(sources, "; ")+".")
}

func or(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

// liked explains what it takes to keep an off-type. The numbers are computed: smallest n with
// 1 − (1 − share)^n ≥ 95 %.
func liked() []string {
	q, s := lot.PlantsToSee(0.25, 0.95), lot.PlantsToSee(1.0/16, 0.95)
	return []string{
		"An off-type that you like is not yet a variety. Pollinate it with its own pollen: bud shut the evening before, opened for the brush and shut again, and mark the fruit.",
		fmt.Sprintf("If its look rests on one recessive gene, a quarter of the plants show it again in the generation that splits: grow at least %d plants for a 95 %% chance of seeing one. If it rests on two, one in sixteen does: %d plants.", q, s),
		"Plan room for that many plants each year, keep only those you want, and repeat for several generations. Nobody can promise that it becomes uniform.",
		"An off-type of squash, melon or cucumber may be bitter. Do not keep it before its flesh and that of its offspring were tried safely.",
	}
}

func cautions(in Input) []string {
	var out []string
	if record.CanBeBitter(in.Species) {
		out = append(out, "Squash, melon and cucumber crossed with wild or ornamental kinds can be bitter and poisonous, and the bitterness shows in the next generation. Before eating fruit of saved seed, taste a raw piece of a rice grain's size, spit it out, and throw a bitter fruit away. Cooking does not help. Children do not taste.")
	}
	switch in.Protected {
	case "no":
	case "yes":
		out = append(out, "The variety is protected. Saving, giving away or selling its seed may need the holder's leave; your country's rules decide.")
	default:
		out = append(out, "Some varieties are protected. Whether you may save, give away or sell seed is for your country's rules to say.")
	}
	return append(out, "Verdicts come from photos of fruit. They are not a laboratory or field test of the seed.")
}
