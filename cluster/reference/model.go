package reference

import (
	"math"

	"offtype/cluster"
)

// Fruit is what was measured on a fruit. NaN and nil are "not measured". Uncertainties are standard
// uncertainties (k = 1) in the unit of the value.
type Fruit struct {
	Plant   string
	Length  Measured // mm
	Width   Measured
	Ratio   Measured
	Midline Measured
	Volume  Measured // cm³
	Broad   Measured
	Bend    Measured // °
	Neck    Measured
	Taper   Measured
	Groove  Measured
	Ribs    Measured
	Skin    *[3]float64 // CIELAB D65/2°
	SkinU   float64     // of each coordinate
	Second  *[3]float64
	Share   Measured // of the second colour
	Pattern string   // empty: not told
	Control bool     // of a control plant: same variety, other seed, same bed and sowing
}

// Measured is a value with its standard uncertainty.
type Measured struct{ V, U float64 }

// Missing is a value that was not measured.
func Missing() Measured { return Measured{math.NaN(), math.NaN()} }

// NoFruit is a fruit on which nothing was measured.
func NoFruit() Fruit {
	m := Missing()
	return Fruit{Length: m, Width: m, Ratio: m, Midline: m, Volume: m, Broad: m, Bend: m, Neck: m, Taper: m, Groove: m, Ribs: m, Share: m}
}

// value returns the trait called name.
func (f *Fruit) value(name string) Measured {
	switch name {
	case "length":
		return f.Length
	case "width":
		return f.Width
	case "ratio":
		return f.Ratio
	case "midline":
		return f.Midline
	case "volume":
		return f.Volume
	case "broadest_at":
		return f.Broad
	case "bend":
		return f.Bend
	case "neck":
		return f.Neck
	case "taper":
		return f.Taper
	case "groove_depth":
		return f.Groove
	case "ribs":
		return f.Ribs
	}
	return Missing()
}

// mark is what a fruit's marks add to its skin: share × (second colour − main colour); 0 without marks.
func (f *Fruit) mark(axis int) Measured {
	if f.Pattern == "none" && f.Second == nil {
		return Measured{0, 0}
	}
	if f.Skin == nil || f.Second == nil || math.IsNaN(f.Share.V) {
		return Missing()
	}
	u := f.SkinU * f.Share.V
	if d := f.Second[axis] - f.Skin[axis]; f.Share.U > 0 {
		u = math.Hypot(u, f.Share.U*d)
	}
	return Measured{f.Share.V * (f.Second[axis] - f.Skin[axis]), u}
}

// striped is the share of the skin under stripes or bands.
func (f *Fruit) striped() Measured {
	switch f.Pattern {
	case "":
		return Missing()
	case "stripes", "bands":
		return f.Share
	}
	return Measured{0, 0}
}

// dim is a direction in which fruit are compared with the description, on its working scale.
type dim struct {
	trait  cluster.Trait
	name   string
	mean   float64
	sd     float64 // among fruit
	plants float64 // part of sd between plants
	season float64 // standard deviation of a whole season's shift
	low    float64 // bounds for a sentence, trait's unit; NaN: none
	high   float64
	side   int // +1: only a high bound, −1: only a low bound, 0: both
	hard   bool
	value  func(*Fruit) Measured
	size   bool
}

// betweenPlants is the part of the variance among fruit that lies between plants when nothing is
// known. Common practice, no source.
const betweenPlants = 0.35

// halfRange: a range is read as what 19 of 20 fruit keep to, mean ± 2 standard deviations.
const halfRange = 2.0

// model is a description ready for judging.
type model struct {
	dims   []dim
	n      float64 // plants that the means rest on; +Inf: written by hand
	fruits float64
	df     float64 // of the spreads
}

// Degrees of freedom of the spreads: those of the usual spreads, which learnt ones lean on, and those
// that each teacher plant adds; hand-written spreads are taken at their word. Set by the simulation
// (docs/verdicts.md).
const (
	teacherPrior = 5.0
	teacherPlant = 1.8
	handDF       = 60.0
)

// build makes the model for fruit at a stage of ripeness; skipped lists the traits that are described
// for another stage only.
func (d *Description) build(stage string) (m model, skipped []string) {
	m = model{n: math.Inf(1), fruits: math.Inf(1), df: handDF}
	if d.Learnt != nil {
		m.n = float64(d.Learnt.Plants)
		m.fruits = float64(max(1, d.Learnt.Fruits))
		if d.Learnt.Plants == 0 { // no tags: at worst four fruit came from one plant
			m.n = max(1, m.fruits/4)
		}
		m.df = teacherPrior + teacherPlant*m.n
	}
	for _, e := range d.entries() {
		if e.r == nil || d.redundant(e.name) || weight(e.r.Weight, e.r.Seasonal, e.trait.Seasonal) == 0 {
			continue
		}
		if !d.atStage(e.r.Stage, stage) {
			skipped = append(skipped, e.trait.Label)
			continue
		}
		name := e.name
		dm := fromRange(e.r, e.trait)
		dm.name, dm.value = name, func(f *Fruit) Measured { return f.value(name) }
		m.dims = append(m.dims, dm)
	}
	if d.Skin != nil && !d.atStage(d.Skin.Stage, stage) {
		skipped = append(skipped, "skin colour")
		return m, skipped
	}
	m.dims = append(m.dims, d.skinDims()...)
	m.dims = append(m.dims, d.markDims()...)
	return m, skipped
}

// redundant names traits that say nothing beyond others that are described.
func (d *Description) redundant(name string) bool {
	t := d.Traits
	switch name {
	case "ratio":
		return t.Length != nil && t.Width != nil
	case "midline":
		return t.Length != nil
	case "volume":
		return t.Length != nil || t.Width != nil
	case "ribs":
		return t.Groove != nil
	}
	return false
}

// atStage reports whether a trait described at its stage may be judged on fruit at stage now.
// A stage that is not said fits all.
func (d *Description) atStage(own, now string) bool {
	if own == "" {
		own = d.Stage
	}
	return own == "" || now == "" || own == now
}

func weight(w *float64, seasonal *bool, usually bool) float64 {
	if w != nil {
		return *w
	}
	s := usually
	if seasonal != nil {
		s = *seasonal
	}
	if s {
		return 0.5
	}
	return 1
}

// seasonSD is the standard deviation of a season's shift that a weight stands for: with weight w a
// share 1 − w of a trait's whole variance is taken to be due to season and site.
func seasonSD(sd, w float64) float64 { return sd * math.Sqrt(1/w-1) }

// fromRange turns a range into a direction.
func fromRange(r *Range, tr cluster.Trait) dim {
	d := dim{trait: tr, low: math.NaN(), high: math.NaN(), size: tr.Kind == cluster.Size}
	w := tr.Scale.Work
	usual := tr.Spread
	if tr.Scale == cluster.Log && r.Low != nil && *r.Low <= 0 { // "0 to 250 mm" is "up to 250 mm"
		upTo := *r
		upTo.Low = nil
		r = &upTo
	}
	switch {
	case r.Mean != nil:
		d.mean = w(*r.Mean)
		d.sd = usual
		if r.Spread != nil {
			d.sd = *r.Spread * tr.Scale.Slope(*r.Mean)
		} else if r.Low != nil && r.High != nil {
			d.sd = (w(*r.High) - w(*r.Low)) / (2 * halfRange)
		}
	case r.Low != nil && r.High != nil:
		d.mean = (w(*r.Low) + w(*r.High)) / 2
		d.sd = (w(*r.High) - w(*r.Low)) / (2 * halfRange)
	case r.High != nil:
		d.mean, d.sd, d.side = w(*r.High)-halfRange*usual, usual, 1
	default:
		d.mean, d.sd, d.side = w(*r.Low)+halfRange*usual, usual, -1
	}
	d.sd = max(d.sd, 0.3*usual) // nobody's fruit are more alike than they can be measured
	d.plants = math.Sqrt(betweenPlants) * d.sd
	if r.PlantsSpread != nil && r.Mean != nil {
		d.plants = min(d.sd, *r.PlantsSpread*tr.Scale.Slope(*r.Mean))
	}
	d.season = seasonSD(d.sd, weight(r.Weight, r.Seasonal, tr.Seasonal))
	d.bounds(r)
	return d
}

// bounds fills what the description allows, for sentences.
func (d *dim) bounds(r *Range) {
	back := d.trait.Scale.Back
	if r != nil && r.Low != nil {
		d.low, d.hard = *r.Low, true
	} else if d.side <= 0 {
		d.low = back(d.mean - halfRange*d.sd)
	}
	if r != nil && r.High != nil {
		d.high, d.hard = *r.High, true
	} else if d.side >= 0 {
		d.high = back(d.mean + halfRange*d.sd)
	}
}

// skinDims are the three coordinates of the main colour.
func (d *Description) skinDims() []dim {
	c := d.Skin
	if c == nil {
		return nil
	}
	w := weight(c.Weight, c.Seasonal, true)
	if w == 0 {
		return nil
	}
	f := cluster.FruitTraits()
	var out []dim
	for i, t := range []int{cluster.TSkinL, cluster.TSkinA, cluster.TSkinB} {
		sd := f[t].Spread
		if c.Tolerance != nil {
			sd = *c.Tolerance / 2.5 * axisScale(c.Lab, i)
		}
		if c.Spread != nil {
			sd = c.Spread[i]
		}
		sd = max(sd, 0.3*f[t].Spread)
		pl := math.Sqrt(betweenPlants) * sd
		if c.PlantsSpread != nil {
			pl = min(sd, c.PlantsSpread[i])
		}
		axis := i
		out = append(out, dim{trait: f[t], name: "skin", mean: c.Lab[i], sd: sd, plants: pl, season: seasonSD(sd, w), low: math.NaN(), high: math.NaN(),
			value: func(f *Fruit) Measured {
				if f.Skin == nil {
					return Missing()
				}
				return Measured{f.Skin[axis], f.SkinU}
			}})
	}
	return out
}

// axisScale is about how many CIELAB units along an axis make one ΔE00 at a colour (the weighting
// functions SL and SC of CIEDE2000, hue taken as chroma).
func axisScale(lab []float64, axis int) float64 {
	if axis == 0 {
		l := (lab[0] - 50) * (lab[0] - 50)
		return 1 + 0.015*l/math.Sqrt(20+l)
	}
	return 1 + 0.03*math.Hypot(lab[1], lab[2])
}

// markDims compare the marks (second colour and how much of the skin it takes).
func (d *Description) markDims() []dim {
	if d.Marks != nil {
		return d.Marks.dims()
	}
	plain := len(d.Pattern) == 1 && d.Pattern[0] == "none" && d.Second == nil
	share := math.NaN()
	if d.Second != nil && d.Second.Share != nil {
		share = d.Second.Share.middle()
	}
	if !plain && (d.Skin == nil || math.IsNaN(share)) {
		return nil
	}
	f := cluster.FruitTraits()
	var out []dim
	for i, t := range []int{cluster.TMarkL, cluster.TMarkA, cluster.TMarkB} {
		mean := 0.0
		if !plain {
			mean = share * (d.Second.Lab[i] - d.Skin.Lab[i])
		}
		sd := math.Hypot(f[t].Spread, 0.25*mean)
		axis := i
		out = append(out, dim{trait: f[t], name: "marks", mean: mean, sd: sd, plants: math.Sqrt(betweenPlants) * sd, low: math.NaN(), high: math.NaN(),
			value: func(f *Fruit) Measured { return f.mark(axis) }})
	}
	striped := 0.0
	for _, p := range d.Pattern {
		if (p == "stripes" || p == "bands") && !plain {
			striped = share
		}
	}
	sd := f[cluster.TStriped].Spread
	if len(d.Pattern) <= 1 {
		out = append(out, dim{trait: f[cluster.TStriped], name: "stripes", mean: striped, sd: sd, plants: math.Sqrt(betweenPlants) * sd, low: math.NaN(), high: math.NaN(),
			value: func(f *Fruit) Measured { return f.striped() }})
	}
	return out
}

// dims compare the marks with learnt ones.
func (m *Marks) dims() []dim {
	f := cluster.FruitTraits()
	var out []dim
	for i, t := range []int{cluster.TMarkL, cluster.TMarkA, cluster.TMarkB} {
		sd := max(m.Spread[i], 0.3*f[t].Spread)
		axis := i
		out = append(out, dim{trait: f[t], name: "marks", mean: m.Mean[i], sd: sd, plants: min(sd, m.PlantsSpread[i]), low: math.NaN(), high: math.NaN(),
			value: func(f *Fruit) Measured { return f.mark(axis) }})
	}
	if m.Striped != nil {
		d := fromRange(m.Striped, f[cluster.TStriped])
		d.name, d.value = "stripes", func(f *Fruit) Measured { return f.striped() }
		out = append(out, d)
	}
	return out
}

// middle is the mean or the middle of a range.
func (r *Range) middle() float64 {
	switch {
	case r.Mean != nil:
		return *r.Mean
	case r.Low != nil && r.High != nil:
		return (*r.Low + *r.High) / 2
	}
	return math.NaN()
}
