// Package judge groups the fruit of a run and judges them against a variety description: it turns
// the pipeline's records into the trait tables of cluster and fills Run.Groups and Run.Judgement.
package judge

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"offtype/cluster"
	"offtype/cluster/lot"
	"offtype/cluster/reference"
	"offtype/measure/colour"
	"offtype/pipeline/record"
)

// Options is what the judgement depends on beside the measurements. Zero values are defaults.
type Options struct {
	Groups        int               // number of groups; 0: found
	Plants        int               // fruiting plants, when fruit have no plant tags; 0: not known
	ItemIsPlant   bool              // one item is one plant: carrot, onion, beet
	Controls      []string          // plant numbers: same variety, other seed, same bed and sowing
	NotAssessable []string          // PHOTO:NUMBER or plant:NUMBER: sick, damaged, late, unripe
	Lots          map[string]string // plant number → seed lot, where it is known; "": of all other plants
	Stage         string            // young, at harvest, cured, stored; empty: not said
	Species       string            // of the fruit, when the grower said; checked against the description
	Standard      float64           // population standard; 0: 0.01
	Acceptance    float64           // acceptance probability; 0: 0.95
	Confidence    float64           // of the interval; 0: 0.95
	Alpha         float64           // share of true plants that may be called off-type; 0: 0.01
	Others        []*Variety        // descriptions of other varieties that off-types may lean to
}

func (o Options) filled() Options {
	set := func(v *float64, d float64) {
		if *v == 0 {
			*v = d
		}
	}
	set(&o.Standard, lot.CommonStandard.Off)
	set(&o.Acceptance, lot.CommonStandard.Acceptance)
	set(&o.Confidence, 0.95)
	set(&o.Alpha, 0.01)
	return o
}

// Variety is a checked variety description with the name of its file.
type Variety struct {
	File        string
	Description *reference.Description
}

// ErrOtherSpecies says that the description is of another species or crop than the fruit.
var ErrOtherSpecies = errors.New("the description is of another crop")

// ParseVariety reads and checks a description. The error names the line and what to do.
func ParseVariety(file string, b []byte) (*Variety, error) {
	d, err := reference.Parse(b)
	if err != nil {
		return nil, err
	}
	return &Variety{file, d}, nil
}

// Check reports a description of another species or crop than the one stated (empty: not stated).
func (v *Variety) Check(species string) error {
	s := strings.ToLower(strings.TrimSpace(species))
	if s == "" {
		return nil
	}
	own, crop := strings.ToLower(v.Description.Species), strings.ToLower(v.Description.Crop)
	if own == s || crop == s || strings.HasPrefix(own, s+" ") {
		return nil
	}
	return fmt.Errorf("%w: %q describes %s, the fruit are %s; use the description of this crop", ErrOtherSpecies, v.File, v.Description.Species, species)
}

// Judge groups run.Fruits and, with a description, judges fruit, plants, groups and the seed lot. v may
// be nil: groups only. It fills run.Groups, run.Grouping and run.Judgement.
//
// Errors: a description of another species than o.Species (ErrOtherSpecies), an option that names no fruit or plant
// of the run, a standard outside 0 … 1.
func Judge(run *record.Run, v *Variety, o Options) error {
	o = o.filled()
	if v != nil {
		if err := v.Check(o.Species); err != nil {
			return err
		}
	}
	set, err := newAside(run, o)
	if err != nil {
		return err
	}
	fs := Fruits(run.Fruits)
	g, err := group(run, fs, o)
	if err != nil {
		return err
	}
	j := &judging{run: run, o: o, v: v, g: g.Result, turns: g.turns, aside: set, fruits: fs}
	return j.all()
}

// Fruits turns records into what descriptions are compared with. Uncertainties become k = 1; colours of
// fruit marked colour-doubtful, and everything of a fruit cut by the frame, count as not measured.
func Fruits(fs []record.Fruit) []reference.Fruit {
	out := make([]reference.Fruit, len(fs))
	for i := range fs {
		out[i] = fruit(&fs[i])
	}
	return out
}

// unseenGroove: no ribs found does not mean quite smooth; shallow grooves are missed in soft light.
const unseenGroove = 0.03

// Notes that the judgement reads (docs/tables.md).
const (
	noteCut      = "cut"
	noteDoubtful = "colour-doubtful"
)

// asideNotes put a fruit outside the judgement when a person writes them.
var asideNotes = []string{"sick", "damaged", "late", "unripe", "not-assessable"}

func fruit(f *record.Fruit) reference.Fruit {
	f = f.Known()
	r := reference.NoFruit()
	r.Plant = f.Plant
	if f.Has(noteCut) {
		return r
	}
	m := func(v record.Value) reference.Measured { return reference.Measured{V: v.V, U: v.U / 2} }
	r.Length, r.Width, r.Ratio, r.Midline, r.Volume = m(f.Length), m(f.Width), m(f.Ratio), m(f.Midline), m(f.Volume)
	r.Broad, r.Bend, r.Neck, r.Taper, r.Groove = m(f.BroadestAt), m(f.Bend), m(f.Neck), m(f.Taper), m(f.GrooveDepth)
	doubt(&r, f)
	if f.Ribs >= 0 {
		r.Ribs = reference.Measured{V: float64(f.Ribs)}
	}
	if f.Ribs == 0 && !f.GrooveDepth.Ok() {
		r.Groove = reference.Measured{V: 0, U: unseenGroove}
	}
	if f.Skin == nil || f.Has(noteDoubtful) {
		return r
	}
	r.Skin = &[3]float64{f.Skin.L, f.Skin.A, f.Skin.B}
	if f.Skin.U > 0 {
		r.SkinU = f.Skin.U / 2
	}
	r.Pattern = f.Pattern
	if f.Second != nil {
		r.Second = &[3]float64{f.Second.L, f.Second.A, f.Second.B}
		r.Share = m(f.SecondShare)
	} else if r.Pattern == "none" {
		r.Share = reference.Measured{V: 0}
	}
	return r
}

// doubt takes away the traits that a fruit's notes make unreliable (docs/tables.md).
func doubt(r *reference.Fruit, f *record.Fruit) {
	gone := reference.Missing()
	ends := f.Has("stem-unsure") || f.Has("too-oblique") || f.Has("ends-unsure") || f.Has("poor-fit") || f.Has("no-body-fits")
	if ends { // which end is which, or how it tapers, is a guess
		r.Broad, r.Neck, r.Taper = gone, gone, gone
	}
	if f.Has("too-oblique") || f.Has("ends-unsure") || f.Has("no-body-fits") {
		r.Bend = gone
	}
	if f.Has("ends-unsure") || f.Has("no-body-fits") {
		r.Length, r.Ratio, r.Midline = gone, gone, gone
	}
}

// deltaE is CIEDE2000 for plain triples.
func deltaE(a, b [3]float64) float64 {
	return colour.DeltaE2000(colour.Lab{L: a[0], A: a[1], B: a[2]}, colour.Lab{L: b[0], A: b[1], B: b[2]})
}

// group finds the groups and fills run.Groups and run.Grouping. Fruit that were measured the wrong way round
// are turned in fs.
func group(run *record.Run, fs []reference.Fruit, o Options) (g groupsFound, err error) {
	run.Groups = nil
	if len(run.Fruits) == 0 {
		run.Grouping = nil
		return g, nil
	}
	t := reference.Table(relative(run.Fruits, fs))
	if !slices.ContainsFunc(run.Fruits, func(f record.Fruit) bool { return !f.Unscaled }) {
		for i := range t.Traits { // a length is a number of px: "longer", not "30 mm longer"
			if t.Traits[i].Unit == "mm" {
				t.Traits[i].Unit = ""
			}
		}
	}
	co := cluster.DefaultOptions()
	co.Groups = o.Groups
	r, err := cluster.Find(t, co)
	if errors.Is(err, cluster.ErrNoTraits) {
		r = oneGroup(t)
	} else if err != nil {
		return g, err
	}
	turns := turned(run, fs, &r)
	for i := range run.Fruits {
		f := &run.Fruits[i]
		m := r.Members[i]
		run.Groups = append(run.Groups, record.Membership{Key: f.Key(), Plant: f.Plant, Group: m.Group, Membership: m.Probability, Unsure: m.Unsure, Alone: m.Alone})
	}
	r.Mixed = stillMixed(r.Mixed, turns)
	run.Grouping = grouping(run, r)
	run.Grouping.Given = o.Groups
	for i := range run.Fruits {
		if t := turns[i]; t != asMeasured {
			fs[i] = turnedFruit(fs[i], t)
			run.Grouping.Notes = append(run.Grouping.Notes, turnedSentence(&run.Fruits[i], r.Members[i].Group, t))
		}
	}
	return groupsFound{r, turns}, nil
}

// groupsFound is a grouping with the fruit that were measured the wrong way round.
type groupsFound struct {
	cluster.Result
	turns map[int]turn
}

// stillMixed leaves out the plants whose odd fruit were only measured the wrong way round.
func stillMixed(ms []cluster.Mixed, turns map[int]turn) []cluster.Mixed {
	var out []cluster.Mixed
	for _, m := range ms {
		odd := slices.DeleteFunc(slices.Clone(m.Rows), func(r int) bool { return turns[r] != asMeasured })
		if len(odd) > 0 {
			out = append(out, cluster.Mixed{Plant: m.Plant, Rows: odd})
		}
	}
	return out
}

// oneGroup is the grouping of fruit of which nothing was measured.
func oneGroup(t cluster.Table) cluster.Result {
	r := cluster.Result{Alikeness: math.NaN()}
	g := cluster.Group{Number: 1, Stability: math.NaN()}
	for i := range t.Rows {
		r.Members = append(r.Members, cluster.Member{Group: 1, Probability: 1, Unsure: true})
		g.Rows = append(g.Rows, i)
		if p := t.Rows[i].Plant; p != "" && !slices.Contains(g.Plants, p) {
			g.Plants = append(g.Plants, p)
		}
	}
	r.Groups = []cluster.Group{g}
	return r
}

// wideGroups: of harvests of true types, about 1 in 50 spreads wider than this (standard deviation of the logarithm 0.25).
const wideGroups = 1.7

func grouping(run *record.Run, r cluster.Result) *record.Grouping {
	g := &record.Grouping{Points: r.Projection, Axes: r.Axes, Alikeness: r.Alikeness}
	for i := range run.Fruits {
		g.Rows = append(g.Rows, run.Fruits[i].Key())
	}
	for _, m := range r.Tree {
		g.Tree = append(g.Tree, record.Join{A: m.A, B: m.B, Height: m.Height})
	}
	if len(r.Tree) > 0 {
		g.Order = cluster.LeafOrder(r.Tree)
	}
	for _, gr := range r.Groups {
		g.Stability = append(g.Stability, gr.Stability)
		g.Repeats, g.Again = append(g.Repeats, gr.Repeats), append(g.Again, gr.Again)
		if gr.Stability < 0.75 {
			g.Notes = append(g.Notes, fmt.Sprintf("Group %d hangs on few fruit: with another sample of the same plants it might look different.", gr.Number))
		}
	}
	if r.Width > wideGroups {
		g.Notes = append(g.Notes, fmt.Sprintf("Fruit of one group differ %.1f times as much here as fruit of one type usually do: look whether a group holds several types.", r.Width))
	}
	for _, m := range r.Mixed {
		g.MixedPlant = append(g.MixedPlant, m.Plant)
		g.Notes = append(g.Notes, mixedSentence(run, m))
	}
	return g
}

// mixedSentence says that a plant's fruit look like more than one type.
func mixedSentence(run *record.Run, m cluster.Mixed) string {
	var names []string
	for _, r := range m.Rows {
		f := &run.Fruits[r]
		names = append(names, fmt.Sprintf("fruit %d in %s", f.Number, f.Photo))
	}
	return fmt.Sprintf("Plant %s seems mixed: %s does not look like its other fruit. One plant bears one type, so check the tag or whether two plants grew into each other.", m.Plant, strings.Join(names, ", "))
}
