// Package reference holds the description of a variety and judges fruit and plants against it.
//
// A description says, trait by trait, what fruit of the variety look like: a range, or a mean with the
// spread among fruit and among plants. It is written by hand, learnt from fruit that are known to be
// true to type (Learn), or both. Bytes, numbers and sentences only: no files, no clock.
package reference

import (
	"math"

	"offtype/cluster"
)

// Format is the version of the file format.
const Format = 1

// Stages a trait is described at.
const (
	Young     = "young"
	AtHarvest = "at harvest"
	Cured     = "cured"
	Stored    = "stored"
)

// Description is a variety description. Optional numbers are pointers: nil is "not said".
type Description struct {
	Format  int      `yaml:"format"`
	Name    string   `yaml:"name"`
	Species string   `yaml:"species"`          // botanical name
	Crop    string   `yaml:"crop,omitempty"`   // in plain words
	Version string   `yaml:"version"`          // a verdict names it
	Stage   string   `yaml:"stage,omitempty"`  // of all traits that do not say another
	Source  string   `yaml:"source,omitempty"` // of all traits that do not say another
	Learnt  *Learnt  `yaml:"learnt,omitempty"` // nil: written by hand
	Traits  Traits   `yaml:"traits,omitempty"`
	Skin    *Colour  `yaml:"skin,omitempty"`
	Second  *Colour  `yaml:"second,omitempty"`
	Marks   *Marks   `yaml:"marks,omitempty"`
	Pattern []string `yaml:"pattern,omitempty"` // those that occur in the variety
	Shape   []string `yaml:"shape,omitempty"`   // words, for people
	Notes   []string `yaml:"notes,omitempty"`
}

// Learnt says which fruit a description was learnt from.
type Learnt struct {
	Harvest string   `yaml:"harvest,omitempty"`
	Plants  int      `yaml:"plants"` // 0: the fruit had no plant tags
	Fruits  int      `yaml:"fruits"`
	Tags    []string `yaml:"tags,omitempty"`
	LeftOut []string `yaml:"left_out,omitempty"` // fruit that did not look like the others
	Named   bool     `yaml:"named,omitempty"`    // the grower named the true plants
	From    string   `yaml:"from,omitempty"`     // fingerprint of the table: a harvest does not judge itself
	Photos  []string `yaml:"photos,omitempty"`   // the same of its photos: the first 16 digits of their SHA-256
}

// Traits are the measured traits by name; Names lists the names in order.
type Traits struct {
	Length   *Range `yaml:"length,omitempty"`
	Width    *Range `yaml:"width,omitempty"`
	Ratio    *Range `yaml:"ratio,omitempty"`
	Midline  *Range `yaml:"midline,omitempty"`
	Volume   *Range `yaml:"volume,omitempty"`
	Broadest *Range `yaml:"broadest_at,omitempty"`
	Bend     *Range `yaml:"bend,omitempty"`
	Neck     *Range `yaml:"neck,omitempty"`
	Taper    *Range `yaml:"taper,omitempty"`
	Groove   *Range `yaml:"groove_depth,omitempty"`
	Ribs     *Range `yaml:"ribs,omitempty"`
}

// Range is what is expected of a trait: low and high (what about 19 of 20 fruit keep to), or mean and
// spread (standard deviation among fruit), or all four.
type Range struct {
	Unit         string   `yaml:"unit,omitempty"`
	Low          *float64 `yaml:"low,omitempty"`
	High         *float64 `yaml:"high,omitempty"`
	Mean         *float64 `yaml:"mean,omitempty"`
	Spread       *float64 `yaml:"spread,omitempty"`
	PlantsSpread *float64 `yaml:"plants_spread,omitempty"` // part of the spread that lies between plants
	Weight       *float64 `yaml:"weight,omitempty"`        // 0 … 1, default 1, seasonal traits 0.5
	Seasonal     *bool    `yaml:"seasonal,omitempty"`
	Measured     *bool    `yaml:"measured,omitempty"` // false: from words, not measured
	Stage        string   `yaml:"stage,omitempty"`
	Source       string   `yaml:"source,omitempty"`
}

// Colour is an expected colour, CIELAB D65/2°.
type Colour struct {
	Lab          []float64 `yaml:"lab,flow"`
	Tolerance    *float64  `yaml:"tolerance,omitempty"` // ΔE00 that fruit of the variety keep to
	Spread       []float64 `yaml:"spread,flow,omitempty"`
	PlantsSpread []float64 `yaml:"plants_spread,flow,omitempty"`
	Share        *Range    `yaml:"share,omitempty"` // second colour only: part of the skin, 0–1
	Weight       *float64  `yaml:"weight,omitempty"`
	Seasonal     *bool     `yaml:"seasonal,omitempty"`
	Measured     *bool     `yaml:"measured,omitempty"`
	Stage        string    `yaml:"stage,omitempty"`
	Source       string    `yaml:"source,omitempty"`
}

// Marks are what stripes, patches and the like add to the skin: share × (second colour − main colour),
// CIELAB; zeros for a plain fruit. Learnt; by hand the second colour with its share says the same.
type Marks struct {
	Mean         []float64 `yaml:"mean,flow"`
	Spread       []float64 `yaml:"spread,flow"`
	PlantsSpread []float64 `yaml:"plants_spread,flow"`
	Striped      *Range    `yaml:"striped,omitempty"` // part of the skin under stripes or bands, 0–1
}

// entry ties a name in the file to its range and to how it is written and judged.
type entry struct {
	name  string
	r     *Range
	trait cluster.Trait
	least float64 // smallest possible value
	most  float64 // largest possible value
}

// entries lists all traits of a description in a fixed order, those not given with a nil range.
func (d *Description) entries() []entry {
	f := cluster.FruitTraits()
	t := d.Traits
	inf := math.Inf(1)
	ratio := cluster.Trait{Name: "ratio", Label: "length ÷ width", More: "longer for its width", Less: "shorter for its width", Scale: cluster.Log, Kind: cluster.Shape, Spread: 0.075}
	midline := cluster.Trait{Name: "midline", Unit: "mm", Label: "length along the middle line", More: "longer along the middle line", Less: "shorter along the middle line", Scale: cluster.Log, Kind: cluster.Size, Seasonal: true, Spread: 0.08}
	volume := cluster.Trait{Name: "volume", Unit: "cm³", Label: "volume", More: "larger", Less: "smaller", Scale: cluster.Log, Kind: cluster.Size, Seasonal: true, Spread: 0.2}
	ribs := cluster.Trait{Name: "ribs", Label: "number of ribs", More: "more ribs", Less: "fewer ribs", Scale: cluster.Linear, Kind: cluster.Shape, Spread: 1}
	return []entry{
		{"length", t.Length, f[cluster.TLength], 0, inf},
		{"width", t.Width, f[cluster.TWidth], 0, inf},
		{"ratio", t.Ratio, ratio, 0, inf},
		{"midline", t.Midline, midline, 0, inf},
		{"volume", t.Volume, volume, 0, inf},
		{"broadest_at", t.Broadest, f[cluster.TBroadest], 0, 1},
		{"bend", t.Bend, f[cluster.TBend], 0, 720},
		{"neck", t.Neck, f[cluster.TNeck], -inf, inf},
		{"taper", t.Taper, f[cluster.TTaper], -inf, inf},
		{"groove_depth", t.Groove, f[cluster.TGroove], 0, 1},
		{"ribs", t.Ribs, ribs, 0, 60},
	}
}

// RoughlyMeasured reports whether any trait is marked as not measured.
func (d *Description) RoughlyMeasured() bool {
	for _, e := range d.entries() {
		if e.r != nil && e.r.Measured != nil && !*e.r.Measured {
			return true
		}
	}
	for _, c := range []*Colour{d.Skin, d.Second} {
		if c != nil && c.Measured != nil && !*c.Measured {
			return true
		}
	}
	return false
}

// FewPlants is the least number of plants for a verdict on size alone.
const FewPlants = 6

// Few reports whether the description was learnt from fewer than FewPlants plants.
func (d *Description) Few() bool { return d.Learnt != nil && d.Learnt.Plants < FewPlants }

// Over returns the description with what hand says put over it: for traits that both have, hand wins.
func (d *Description) Over(hand *Description) *Description {
	o := *d
	t, h := &o.Traits, hand.Traits
	for _, p := range []struct{ to, from **Range }{{&t.Length, &h.Length}, {&t.Width, &h.Width}, {&t.Ratio, &h.Ratio}, {&t.Midline, &h.Midline},
		{&t.Volume, &h.Volume}, {&t.Broadest, &h.Broadest}, {&t.Bend, &h.Bend}, {&t.Neck, &h.Neck}, {&t.Taper, &h.Taper}, {&t.Groove, &h.Groove}, {&t.Ribs, &h.Ribs}} {
		if *p.from != nil {
			*p.to = *p.from
		}
	}
	if hand.Skin != nil {
		o.Skin = hand.Skin
	}
	if hand.Second != nil {
		o.Second = hand.Second
	}
	if len(hand.Pattern) > 0 {
		o.Pattern = hand.Pattern
	}
	if len(hand.Shape) > 0 {
		o.Shape = hand.Shape
	}
	return &o
}
