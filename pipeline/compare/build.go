package compare

import (
	"errors"
	"fmt"
	"math"

	"offtype/cluster/lot"
	"offtype/cluster/season"
	"offtype/measure/colour"
	"offtype/pipeline/record"
)

// Options of a comparison.
type Options struct {
	season.Options
	Program string       // version, written into the result
	White   record.White // that mean colours are shown with; the comparison itself is in D65
}

// DefaultOptions returns the usual levels.
func DefaultOptions() Options { return Options{Options: season.DefaultOptions()} }

// Build compares the harvests, each with the one before it, and with more than two also the last with
// the first. The order given is the order in time.
func Build(sides []Side, opt Options) (*Result, error) {
	if len(sides) < 2 {
		return nil, errors.New("compare: name at least two harvests")
	}
	r := &Result{Format: 1, Program: opt.Program}
	for i := range sides {
		if len(sides[i].Run.Fruits) == 0 {
			return nil, fmt.Errorf("compare: harvest %q has no measured fruit", sides[i].Name)
		}
		for j := range i {
			if sides[j].Name == sides[i].Name {
				return nil, fmt.Errorf("compare: harvest %q is named twice", sides[i].Name)
			}
		}
		r.Harvests = append(r.Harvests, describe(&sides[i]))
	}
	for i := 1; i < len(sides); i++ {
		r.Pairs = append(r.Pairs, pair(&sides[i-1], &sides[i], opt))
	}
	if n := len(sides); n > 2 {
		r.Pairs = append(r.Pairs, pair(&sides[0], &sides[n-1], opt))
	}
	return r, nil
}

func describe(s *Side) Harvest {
	t := newTable(s, nil)
	h := Harvest{Name: s.Name, Season: s.Season, Lot: s.Lot, Stage: s.Stage, Photos: len(s.Run.Photos), Fruits: len(s.Run.Fruits), Program: s.Run.Program}
	_, h.Plants = t.plantsIn()
	h.Cameras, h.Cards, _ = s.devices()
	if v := s.Run.Judgement.Variety; v != nil {
		h.Variety, h.Description = v.Name, v.Version
	}
	return h
}

func deltaE(a, b [3]float64) float64 {
	return colour.DeltaE2000(colour.Lab{L: a[0], A: a[1], B: a[2]}, colour.Lab{L: b[0], A: b[1], B: b[2]})
}

// pairing holds one comparison while it is made.
type pairing struct {
	a, b     *table
	traits   []trait
	opt      Options
	page     season.Page
	out      *Pair
	controls *controlled // nil: the season's shift cannot be taken off
	late     []func()    // what is filled in once all tests of the page are settled together
}

func pair(a, b *Side, opt Options) Pair {
	ts := traitsOf(a, b)
	p := &pairing{a: newTable(a, ts), b: newTable(b, ts), traits: ts, opt: opt, out: &Pair{From: a.Name, To: b.Name}}
	p.out.Warnings = warnings(a, b, p.a, p.b)
	_, na := p.a.plantsIn()
	_, nb := p.b.plantsIn()
	p.out.Unit = "plant"
	if na == 0 || nb == 0 {
		p.out.Unit = "fruit"
		// Both sides must count alike: without tags on one side, fruit are the unit on both.
		for _, t := range []*table{p.a, p.b} {
			for i := range t.fruits {
				t.fruits[i].Plant = ""
			}
		}
	}
	p.controls = p.controlsOf()
	p.out.Warnings = append(p.out.Warnings, aboutControls(a, b, p.controls != nil))
	p.groups(na, nb)
	p.offTypes()
	p.drift()
	season.Settle(p.page, opt.Options)
	for _, f := range p.late {
		f()
	}
	p.out.Sentences = append(headline(p.out), p.out.Sentences...)
	return *p.out
}

// groups matches the groups and compares what both have.
func (p *pairing) groups(na, nb int) {
	k := len(measured)
	ga, gb := p.a.groups(), p.b.groups()
	pairs := p.match(ga, gb, k)
	plantsA, _ := p.a.plantsIn()
	plantsB, _ := p.b.plantsIn()
	single := len(ga) <= 1 && len(gb) <= 1 && len(pairs) <= 1
	if single {
		p.section(0, 0, "all fruit")
	}
	for _, m := range pairs {
		g := GroupPair{names: plantsB[m.B], From: m.A, To: m.B, FromFruits: len(p.a.in(m.A)), ToFruits: len(p.b.in(m.B)), FromPlants: len(plantsA[m.A]), ToPlants: len(plantsB[m.B])}
		if m.A == 0 {
			g.FromFruits, g.FromPlants = 0, 0
		}
		if m.B == 0 {
			g.ToFruits, g.ToPlants, g.names = 0, 0, plantsA[m.A]
		}
		if m.A > 0 && m.B > 0 {
			g.Distance = num(m.Distance)
		}
		if na > 0 && nb > 0 && !single {
			r := season.Rates(g.FromPlants, na, g.ToPlants, nb, p.opt.Options)
			g.Share = p.rate(&r)
		}
		p.out.Groups = append(p.out.Groups, g)
		if m.A > 0 && m.B > 0 && !single {
			p.section(m.A, m.B, groupTitle(m.A, m.B))
		}
	}
	if len(p.out.Sections) == 0 {
		p.section(0, 0, "all fruit")
	}
	p.late = append(p.late, func() {
		for i := range p.out.Groups {
			p.out.Groups[i].Sentence = groupSentence(&p.out.Groups[i], p.out)
		}
	})
}

// match pairs the groups: the one true group of each harvest first, where both were judged against the
// same variety's description; the others by how near they lie.
func (p *pairing) match(ga, gb []season.Group, k int) []season.Pair {
	ta, tb := p.a.trueGroup(ga), p.b.trueGroup(gb)
	va, vb := p.a.side.Run.Judgement.Variety, p.b.side.Run.Judgement.Variety
	if ta == 0 || tb == 0 || va == nil || vb == nil || va.Name != vb.Name {
		return season.Match(ga, gb, k)
	}
	rest := func(gs []season.Group, but int) (out []season.Group) {
		for _, g := range gs {
			if g.Number != but {
				out = append(out, g)
			}
		}
		return out
	}
	same := season.Pair{A: ta, B: tb, Distance: season.Apart(ga, gb, ta, tb, k)}
	return append([]season.Pair{same}, season.Match(rest(ga, ta), rest(gb, tb), k)...)
}

// trueGroup returns the number of the only group that is true to type, 0 when there is none or more
// than one.
func (t *table) trueGroup(gs []season.Group) int {
	found := 0
	for _, v := range t.side.Run.Judgement.Groups {
		if v.Verdict != record.TrueToType {
			continue
		}
		for _, g := range gs {
			if g.Number == v.Group {
				if found != 0 {
					return 0
				}
				found = v.Group
			}
		}
	}
	return found
}

func groupTitle(a, b int) string {
	if a == b {
		return fmt.Sprintf("group %d", a)
	}
	return fmt.Sprintf("group %d, which was group %d", b, a)
}

// section compares the fruit of a matched group; 0, 0 means all fruit.
func (p *pairing) section(ga, gb int, title string) {
	ts := make([]season.Trait, len(p.traits))
	var joint []int
	for j, t := range p.traits {
		ts[j] = t.Trait
		if t.joint {
			joint = append(joint, j)
		}
	}
	a, b := season.Plants(p.a.in(ga), len(ts)), season.Plants(p.b.in(gb), len(ts))
	if len(a.X) == 0 || len(b.X) == 0 {
		return
	}
	ds := season.Compare(a, b, ts, p.opt.Options)
	var kept []*season.Difference
	var of []trait
	var cols []int
	for j := range ds {
		if ds[j].NA > 0 && ds[j].NB > 0 && (ds[j].SDA > 0 || ds[j].SDB > 0 || ds[j].Diff != 0) {
			kept, of, cols = append(kept, &ds[j]), append(of, p.traits[j]), append(cols, j)
			p.page.Traits = append(p.page.Traits, &ds[j])
		}
	}
	c := season.Colours(a, b, deltaE, p.opt.Options)
	p.page.Colours = append(p.page.Colours, &c)
	j := season.Together(a, b, ts, joint, p.opt.Options)
	p.page.Joint = append(p.page.Joint, &j)
	s := &Section{Title: title, FromGroup: ga, ToGroup: gb, FromPlants: len(a.X), ToPlants: len(b.X)}
	for _, col := range cols {
		s.points = append(s.points, [2][]float64{column(a, col), column(b, col)})
	}
	p.out.Sections = append(p.out.Sections, s)
	p.late = append(p.late, func() {
		for i, d := range kept {
			s.Traits = append(s.Traits, traitResult(d, of[i], p.out))
		}
		s.Colour = colourResult(&c, p.out)
		p.controls.apply(s, a, b, of, cols, p.opt.Confidence)
		if s.Colour != nil {
			s.Colour.show(p.opt.White)
		}
		s.Together = jointResult(&j)
		s.Sentences = sectionSentences(s, p.out)
	})
}

func column(s season.Sample, j int) []float64 {
	var out []float64
	for _, r := range s.X {
		if !math.IsNaN(r[j]) {
			out = append(out, r[j])
		}
	}
	return out
}

func (p *pairing) rate(r *season.Rate) *Rate {
	p.page.Rates = append(p.page.Rates, r)
	out := &Rate{}
	p.late = append(p.late, func() {
		*out = Rate{From: r.XA, FromOf: r.NA, To: r.XB, ToOf: r.NB, FromLow: r.LowA, FromHigh: r.HighA, ToLow: r.LowB, ToHigh: r.HighB,
			P: num(r.P), PAdjusted: num(r.PAdjusted), Found: r.Found}
	})
	return out
}

// offTypes compares the rates of off-type plants where both harvests were judged.
func (p *pairing) offTypes() {
	offA, na := p.a.offTypes()
	offB, nb := p.b.offTypes()
	if p.a.side.Run.Judgement.Variety == nil || p.b.side.Run.Judgement.Variety == nil || na == 0 || nb == 0 {
		return
	}
	r := season.Rates(len(offA), na, len(offB), nb, p.opt.Options)
	// Plants that could not be decided count both ways, as in the finding on one harvest.
	r.LowA, r.HighA = bothWays(len(offA), na, len(p.a.doubtful()), p.opt.Confidence)
	r.LowB, r.HighB = bothWays(len(offB), nb, len(p.b.doubtful()), p.opt.Confidence)
	if p.a.vouched(na) || p.b.vouched(nb) { // true by the grower's word, which no test can compare
		r.P = math.NaN()
	}
	o := &OffTypes{FromPlants: offA, ToPlants: offB, FromDoubtful: p.a.doubtful(), ToDoubtful: p.b.doubtful()}
	rate := p.rate(&r)
	p.out.OffTypes = o
	p.late = append(p.late, func() {
		o.Rate = *rate
		o.Sentence = offTypeSentence(o, p.out)
	})
}

// bothWays is the exact interval with undecided plants as true in its low and as off-type in its high end.
func bothWays(off, judged, unsure int, confidence float64) (low, high float64) {
	low, _ = lot.ClopperPearson(off, judged+unsure, confidence)
	_, high = lot.ClopperPearson(off+unsure, judged+unsure, confidence)
	return low, high
}

// drift compares how far the plants lie from the description.
func (p *pairing) drift() {
	va, vb := p.a.side.Run.Judgement.Variety, p.b.side.Run.Judgement.Variety
	if va == nil || vb == nil || va.Name != vb.Name {
		return
	}
	if len(p.a.side.Run.Judgement.Lot.Taught)+len(p.b.side.Run.Judgement.Lot.Taught) > 0 { // near it by making
		return
	}
	a, b := season.Plants(distances(p.a), 1), season.Plants(distances(p.b), 1)
	d := season.Compare(a, b, []season.Trait{{Name: "distance"}}, p.opt.Options)[0]
	if d.NA == 0 || d.NB == 0 {
		return
	}
	d.Measuring = 0
	p.page.Traits = append(p.page.Traits, &d)
	x := &Drift{Variety: vb.Name}
	p.out.Drift = x
	p.late = append(p.late, func() {
		t := trait{Trait: season.Trait{Name: "distance"}, label: "distance from the description", decimals: 1, more: "farther from the description", less: "nearer to the description"}
		x.Trait = traitResult(&d, t, p.out)
		x.Sentence = driftSentence(x, p.out)
	})
}

// distances gives the distance of each true or doubtful fruit from the description: off-types are
// counted, not averaged.
func distances(t *table) []season.Fruit {
	var out []season.Fruit
	plain := t.side.Run.Judgement.Fruits
	tagged := map[string]bool{}
	for i := range t.fruits {
		tagged[t.of[i].Plant] = t.fruits[i].Plant != ""
	}
	for _, v := range plain {
		if v.Distance == nil || v.Verdict == record.OffType || v.Verdict == record.NotAssessable || t.verdict[v.Plant] == record.OffType {
			continue
		}
		f := season.Fruit{X: []float64{*v.Distance}, U: []float64{math.NaN()}, LabU: math.NaN(), Lab: [3]float64{math.NaN()}}
		if tagged[v.Plant] {
			f.Plant = v.Plant
		}
		out = append(out, f)
	}
	return out
}
