package reference

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"offtype/cluster"
)

// Options of Judge.
type Options struct {
	Stage  string                        // of the fruit; empty: not said, all traits are judged
	Alpha  float64                       // share of true plants that may be called off-type; 0.01
	Doubt  float64                       // plants with p below this and above Alpha are doubtful; 0.02
	DeltaE func(a, b [3]float64) float64 // CIEDE2000; nil: colours are told in words only
}

// DefaultOptions returns the stated rate of the contract.
func DefaultOptions() Options { return Options{Alpha: 0.01, Doubt: 0.02} }

// Call is what a unit was found to be.
type Call int

// The calls, in rising order of doubt. NotJudged: nothing that the description says was measured.
const (
	NotJudged Call = iota
	True
	Doubtful
	OffType
)

// Verdict is the finding on a fruit, or on the fruit of a plant together.
type Verdict struct {
	Call     Call
	Distance float64 // root mean square over the traits, in standard deviations of a fruit (of the plant's mean) of the variety: about 1 for true ones; NaN when not judged
	P        float64 // chance that a true one is as far from the description, or farther; NaN when not judged
	Reasons  []string
	Traits   []Deviation // every trait compared, strongest first
}

// Deviation is how far a unit lies from the description in one trait.
type Deviation struct {
	Name  string // as in the file: length, skin
	Label string
	Value float64 // of the unit, trait's unit
	Mean  float64 // of the description
	Z     float64 // in standard deviations of a true unit
}

// Judged is a judged harvest.
type Judged struct {
	Fruits  []Verdict
	Plants  map[string]Verdict // by plant tag
	Skipped []string           // traits described for another stage
	HolmP   float64            // smallest p of the plants (of the fruit where there are no tags), adjusted by Holm for having looked at all of them; a plant that is off by its size alone and not called off-type is left out; NaN when none was judged
	Control int                // control plants that the verdicts were compared with first
}

// judge holds what is needed to judge units of one harvest.
type judge struct {
	d     *Description
	m     model
	o     Options
	shift []float64 // of the season, from control plants
	known []float64 // its variance; NaN: no control, the weight's variance applies
}

// Judge compares fruit, and the fruit of each plant together, with the description.
//
// Per trait: x̄ − μ, with variance B·(1 + 1/n) + W/m + W/f + u² + S: between plants, within plants over m fruit,
// uncertainty of the means learnt from f fruit of n plants, measurement, season. Together: Mahalanobis distance with the usual
// correlations of the traits; D²/p · f/(f−2) is taken as F with p and f degrees of freedom, f from the
// number of teacher plants (Hotelling's form for spreads that are shrunk towards the usual ones).
// Fruit of control plants are not judged; they show how far this season moves the variety.
func (d *Description) Judge(fs []Fruit, o Options) Judged {
	j := &judge{d: d, o: o}
	h := Judged{Plants: map[string]Verdict{}, HolmP: math.NaN()}
	j.m, h.Skipped = d.build(o.Stage)
	plants := map[string][]int{}
	control := map[string][]int{}
	var tags []string
	for i, f := range fs {
		switch {
		case f.Control:
			k := f.Plant
			if k == "" {
				k = fmt.Sprint("#", i)
			}
			control[k] = append(control[k], i)
		case f.Plant != "":
			if len(plants[f.Plant]) == 0 {
				tags = append(tags, f.Plant)
			}
			plants[f.Plant] = append(plants[f.Plant], i)
		}
	}
	j.controls(fs, control)
	h.Control = len(control)
	h.Fruits = make([]Verdict, len(fs))
	least, n := math.Inf(1), 0
	see := func(v Verdict) {
		if v.Call == NotJudged {
			return
		}
		n++
		if v.Call == OffType || v.P >= o.Alpha { // not by size alone, where few plants taught the description
			least = min(least, v.P)
		}
	}
	for i, f := range fs {
		if f.Control {
			h.Fruits[i] = none("of a control plant: what the others are compared with")
			continue
		}
		h.Fruits[i] = j.unit(fs, []int{i})
		if f.Plant == "" {
			see(h.Fruits[i])
		}
	}
	for _, t := range tags {
		v := j.unit(fs, plants[t])
		h.Plants[t] = v
		see(v)
	}
	if n > 0 {
		h.HolmP = min(1, least*float64(n))
	}
	return h
}

func none(reason string) Verdict {
	return Verdict{Distance: math.NaN(), P: math.NaN(), Reasons: []string{reason}}
}

// controls takes the season's shift from the control plants.
func (j *judge) controls(fs []Fruit, control map[string][]int) {
	j.shift, j.known = make([]float64, len(j.m.dims)), make([]float64, len(j.m.dims))
	for k, dm := range j.m.dims {
		j.known[k] = math.NaN()
		n, v := 0.0, 0.0
		sum := 0.0
		for _, tag := range slices.Sorted(maps.Keys(control)) {
			x, _, m := average(fs, control[tag], dm)
			if m > 0 {
				n++
				sum += x - dm.mean
				v += dm.plants*dm.plants + (dm.sd*dm.sd-dm.plants*dm.plants)/m
			}
		}
		if n > 0 && dm.season > 0 {
			j.shift[k] = sum / n
			j.known[k] = v / (n * n)
		}
	}
}

// average is the mean of a trait over fruit on its working scale, its measuring uncertainty (taken as
// common to the fruit: the same card, camera and light) and the number of fruit.
func average(fs []Fruit, rows []int, dm dim) (x, u, m float64) {
	for _, r := range rows {
		v := dm.value(&fs[r])
		w := dm.trait.Scale.Work(v.V)
		if math.IsNaN(w) || math.IsInf(w, 0) {
			continue
		}
		m++
		x += w
		if v.U > 0 {
			u += v.U * dm.trait.Scale.Slope(v.V)
		}
	}
	return x / m, u / m, m
}

// unit judges the fruit in rows together.
func (j *judge) unit(fs []Fruit, rows []int) Verdict {
	var at []int // dims measured
	var dev, bio, extra, season []float64
	var ds []Deviation
	for k, dm := range j.m.dims {
		x, u, m := average(fs, rows, dm)
		if m == 0 {
			continue
		}
		d := x - j.shift[k] - dm.mean
		if dm.side > 0 && d < 0 || dm.side < 0 && d > 0 {
			d = 0
		}
		b := dm.plants * dm.plants
		w := dm.sd*dm.sd - b
		v := b*(1+1/j.m.n) + w/m + w/j.m.fruits
		s := dm.season * dm.season
		if !math.IsNaN(j.known[k]) {
			s = j.known[k]
		}
		at = append(at, k)
		dev, bio, extra, season = append(dev, d), append(bio, v), append(extra, u*u), append(season, s)
		ds = append(ds, Deviation{dm.name, dm.trait.Label, dm.trait.Scale.Back(x), dm.trait.Scale.Back(dm.mean), d / math.Sqrt(v+u*u+s)})
	}
	pattern := j.wrongPattern(fs, rows)
	if len(at) == 0 {
		if pattern != "" {
			return Verdict{Call: Doubtful, Distance: math.NaN(), P: math.NaN(), Reasons: []string{pattern}}
		}
		return none("nothing was measured that the description speaks of")
	}
	v := Verdict{Traits: ds}
	d2 := j.distance(at, dev, bio, extra, season)
	v.Distance = math.Sqrt(d2 / float64(len(at)))
	v.P = j.p(d2, len(at))
	v.Call = j.call(v.P)
	var notes []string
	if v.Call == OffType && j.d.Few() {
		if p, ok := j.withoutSize(at, dev, bio, extra, season); !ok || j.call(p) != OffType {
			v.Call = Doubtful
			notes = append(notes, fmt.Sprintf("without its size the rest is not enough to call it off-type, and the description was learnt from %s: too few to judge by size", few(j.d.Learnt.Plants)))
		}
	}
	if pattern != "" && v.Call == True && !j.marksJudged(at) {
		v.Call = Doubtful
	}
	slices.SortStableFunc(v.Traits, func(a, b Deviation) int { return cmp.Compare(math.Abs(b.Z), math.Abs(a.Z)) })
	v.Reasons = append(j.reasons(fs, rows, v, pattern), notes...)
	return v
}

func few(n int) string {
	switch n {
	case 0:
		return "fruit without plant tags"
	case 1:
		return "one plant"
	}
	return fmt.Sprintf("%d plants", n)
}

func (j *judge) call(p float64) Call {
	switch {
	case math.IsNaN(p):
		return NotJudged // never a pass by default
	case p < j.o.Alpha:
		return OffType
	case p < j.o.Doubt:
		return Doubtful
	}
	return True
}

// distance is the squared Mahalanobis distance over the traits at.
func (j *judge) distance(at []int, dev, bio, extra, season []float64) float64 {
	n := len(at)
	c := mat.NewSymDense(n, nil)
	for a := range n {
		for b := a; b < n; b++ {
			ta, tb := j.m.dims[at[a]].trait, j.m.dims[at[b]].trait
			v := cluster.UsualCorrelation(ta, tb) * math.Sqrt(bio[a]*bio[b])
			switch {
			case a == b:
				v += extra[a] + season[a]
			case ta.Kind == cluster.Size && tb.Kind == cluster.Size:
				v += 0.8 * math.Sqrt(season[a]*season[b]) // a good season makes fruit bigger all over
			}
			c.SetSym(a, b, v)
		}
	}
	var ch mat.Cholesky
	if !ch.Factorize(c) {
		s := 0.0
		for a := range n {
			s += dev[a] * dev[a] / c.At(a, a)
		}
		return s
	}
	x := mat.NewVecDense(n, slices.Clone(dev))
	var y mat.VecDense
	if err := ch.SolveVecTo(&y, x); err != nil {
		if _, bad := err.(mat.Condition); !bad {
			return math.Inf(1)
		}
	}
	return mat.Dot(x, &y)
}

func (j *judge) p(d2 float64, n int) float64 {
	f := j.m.df
	return cluster.TailF(d2/float64(n)*f/(f-2), float64(n), f)
}

// withoutSize is the p of all traits but sizes; false when there is no other trait.
func (j *judge) withoutSize(at []int, dev, bio, extra, season []float64) (float64, bool) {
	var k []int
	var a, b, c, d []float64
	for i, t := range at {
		if !j.m.dims[t].size {
			k = append(k, t)
			a, b, c, d = append(a, dev[i]), append(b, bio[i]), append(c, extra[i]), append(d, season[i])
		}
	}
	if len(k) == 0 {
		return 1, false
	}
	return j.p(j.distance(k, a, b, c, d), len(k)), true
}

func (j *judge) marksJudged(at []int) bool {
	return slices.ContainsFunc(at, func(k int) bool { return j.m.dims[k].name == "marks" })
}
