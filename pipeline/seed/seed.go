package seed

import (
	"fmt"
	"slices"
	"strings"

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
	Replant    = "fit to be planted again" // a root or bulb, which has not flowered
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

// Says is whether to take seed from a fruit, with the reason.
func (f FruitDecision) Says() string {
	if f.Take {
		return "yes, " + f.Why
	}
	return "no, " + f.Why
}

// Alike puts decisions on more than so many plants of one fruit each together where everything said is the same; of
// fewer plants, or several fruit a plant, each stands alone. Order is that of the first.
func Alike(ds []Decision) [][]Decision {
	const many = 30
	var out [][]Decision
	at := map[string]int{}
	for _, d := range ds {
		key := d.Plant
		if len(ds) > many && len(d.Fruits) == 1 {
			key = d.Fit + "\x00" + strings.Join(d.Reasons, "\x00") + "\x00" + d.Fruits[0].Says()
		}
		if i, ok := at[key]; ok {
			out[i] = append(out[i], d)
			continue
		}
		at[key] = len(out)
		out = append(out, []Decision{d})
	}
	return out
}

// FruitWords says from which fruit to take seed, one line a fruit, or one line in all where the same holds for each.
func (d *Decision) FruitWords() []string {
	say := FruitDecision.Says
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
	if record.IsRoot(in.Species) { // dug before it flowered
		with = nil
	}
	fit := 0
	for i := range in.Plants {
		if len(in.Plants[i].Fruits) == 0 {
			continue
		}
		d := decide(&in.Plants[i], in, a.Crop, with)
		if d.Fit == Fit || d.Fit == Replant {
			fit++
		}
		a.Plants = append(a.Plants, d)
	}
	a.Sentences = a.sum(fit, with)
	a.Liked = liked(in.Species)
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
	switch {
	case record.IsRoot(in.Species):
		if d.Fit == Fit {
			d.Reasons = append(d.Reasons, toFlower)
		}
	case !closed(p):
		if o := others(with, p.Number); len(o) > 0 {
			worse(NotOpen, stood(o))
		}
		isolation(p, crop, worse)
	default:
		d.Reasons = append(d.Reasons, "its fruit for seed were pollinated under control ("+p.Pollination+")")
	}
	d.fruits(p)
	if record.IsRoot(in.Species) && d.Fit == Fit {
		d.Fit = Replant
		for i, f := range p.Fruits {
			if x := &d.Fruits[i]; f.Verdict != record.Doubtful && f.Verdict != record.OffType {
				x.Take, x.Why = true, "plant it again for seed if it is sound"
			}
		}
	}
	return d
}

// toFlower is said of every root and bulb: what pollinates it is still to come.
const toFlower = "it has not flowered yet: distance and neighbours count when it flowers for seed"

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

func or(s, other string) string {
	if s == "" {
		return other
	}
	return s
}
