package compare

import (
	"encoding/json"
	"fmt"
	"io"
	"math"

	"offtype/cluster/season"
	"offtype/pipeline/record"
)

// Result is compare.json. Numbers that do not exist are null; differences are second minus first.
type Result struct {
	Format   int       `json:"format"`
	Program  string    `json:"program"`
	Harvests []Harvest `json:"harvests"`
	Pairs    []Pair    `json:"pairs"`
}

// Harvest says what was compared.
type Harvest struct {
	Name        string   `json:"name"`
	Season      string   `json:"season,omitempty"`
	Lot         string   `json:"lot,omitempty"`
	Stage       string   `json:"stage,omitempty"`
	Variety     string   `json:"variety,omitempty"`
	Description string   `json:"description_version,omitempty"`
	Photos      int      `json:"photos"`
	Fruits      int      `json:"fruits"`
	Plants      int      `json:"plants"`
	Cameras     []string `json:"cameras"`
	Cards       []string `json:"cards"`
	Program     string   `json:"program"`
}

// Pair compares two harvests.
type Pair struct {
	From      string      `json:"from"`
	To        string      `json:"to"`
	Unit      string      `json:"unit"` // plant or fruit
	Sentences []string    `json:"sentences"`
	Warnings  []string    `json:"warnings"`
	OffTypes  *OffTypes   `json:"off_types"`
	Drift     *Drift      `json:"drift"`
	Groups    []GroupPair `json:"groups"`
	Sections  []*Section  `json:"sections"`
}

// GroupPair is a group that both harvests have, or one (0 for the side that lacks it).
type GroupPair struct {
	From       int      `json:"from"`
	To         int      `json:"to"`
	FromFruits int      `json:"from_fruits"`
	ToFruits   int      `json:"to_fruits"`
	FromPlants int      `json:"from_plants"`
	ToPlants   int      `json:"to_plants"`
	Distance   *float64 `json:"distance"`
	Share      *Rate    `json:"share"`
	Sentence   string   `json:"sentence"`

	names []string // plants of a group that only one harvest has
}

// Section compares the fruit of one group, or all fruit.
type Section struct {
	Title      string    `json:"title"`
	FromGroup  int       `json:"from_group"` // 0: all fruit
	ToGroup    int       `json:"to_group"`
	FromPlants int       `json:"from_n"`
	ToPlants   int       `json:"to_n"`
	Sentences  []string  `json:"sentences"`
	Traits     []Trait   `json:"traits"`
	Colour     *Colour   `json:"colour"`
	Together   *Together `json:"together"`

	points [][2][]float64 // plant means of each trait, for drawing
}

// Trait is the comparison of a trait.
type Trait struct {
	Name       string   `json:"trait"`
	Label      string   `json:"label"`
	Unit       string   `json:"unit"`
	FromN      int      `json:"from_n"`
	ToN        int      `json:"to_n"`
	FromMean   *float64 `json:"from_mean"`
	ToMean     *float64 `json:"to_mean"`
	FromSD     *float64 `json:"from_sd"`
	ToSD       *float64 `json:"to_sd"`
	Difference *float64 `json:"difference"`
	Low        *float64 `json:"low"`
	High       *float64 `json:"high"`
	Effect     *float64 `json:"effect"` // Hedges' g
	EffectLow  *float64 `json:"effect_low"`
	EffectHigh *float64 `json:"effect_high"`
	Measuring  *float64 `json:"measuring"` // what measuring alone can make of it, k = 2
	P          *float64 `json:"p"`
	PShuffled  *float64 `json:"p_shuffled"`
	PAdjusted  *float64 `json:"p_adjusted"`
	Found      bool     `json:"found"`
	Rest       *Rest    `json:"rest,omitempty"` // where both harvests have control plants
	Sentence   string   `json:"sentence"`
	Decimals   int      `json:"-"`
}

// Colour is the comparison of the mean skin colours (CIELAB, D65, 2°; ΔE00).
type Colour struct {
	FromN     int         `json:"from_n"`
	ToN       int         `json:"to_n"`
	From      *[3]float64 `json:"from"` // D65
	To        *[3]float64 `json:"to"`   // D65
	DE00      *float64    `json:"de00"`
	Low       *float64    `json:"low"`
	High      *float64    `json:"high"`
	Chance    *float64    `json:"chance"`
	Measuring *float64    `json:"measuring"`
	P         *float64    `json:"p"`
	PAdjusted *float64    `json:"p_adjusted"`
	Found     bool        `json:"found"`
	Sentence  string      `json:"sentence"`
	White     string      `json:"white"`              // of From and To: D65
	FromD50   *[3]float64 `json:"from_d50,omitempty"` // the same with white D50, when asked for
	ToD50     *[3]float64 `json:"to_d50,omitempty"`
	shown     record.White
}

// Shown writes the two mean colours with the white that was asked for.
func (c *Colour) Shown() string {
	if c.From == nil || c.To == nil {
		return ""
	}
	w := func(x *[3]float64) string {
		l := c.shown.Of(record.Lab{L: x[0], A: x[1], B: x[2]})
		return fmt.Sprintf("L* %.1f a* %.1f b* %.1f", l.L, l.A, l.B)
	}
	return fmt.Sprintf("%s, then %s (CIELAB, white %s, 2°)", w(c.From), w(c.To), c.shown)
}

// show sets the white that the colours are shown with.
func (c *Colour) show(w record.White) {
	c.White, c.shown = record.D65.String(), w
	if w != record.D50 || c.From == nil || c.To == nil {
		return
	}
	for _, x := range []struct {
		from *[3]float64
		to   **[3]float64
	}{{c.From, &c.FromD50}, {c.To, &c.ToD50}} {
		l := w.Of(record.Lab{L: x.from[0], A: x.from[1], B: x.from[2]})
		*x.to = &[3]float64{l.L, l.A, l.B}
	}
}

// Together is the test of several traits at once.
type Together struct {
	Traits    []string `json:"traits"`
	T2        *float64 `json:"t2"`
	Shrunk    float64  `json:"shrunk"`
	P         *float64 `json:"p"`
	PAdjusted *float64 `json:"p_adjusted"`
	Found     bool     `json:"found"`
}

// Rate compares a share of plants: From of FromOf with To of ToOf; intervals Clopper–Pearson 95 %.
type Rate struct {
	From      int      `json:"from"`
	FromOf    int      `json:"from_of"`
	To        int      `json:"to"`
	ToOf      int      `json:"to_of"`
	FromLow   float64  `json:"from_low"`
	FromHigh  float64  `json:"from_high"`
	ToLow     float64  `json:"to_low"`
	ToHigh    float64  `json:"to_high"`
	P         *float64 `json:"p"`
	PAdjusted *float64 `json:"p_adjusted"`
	Found     bool     `json:"found"`
}

// OffTypes compares the off-type plants.
type OffTypes struct {
	Rate
	FromPlants   []string `json:"from_plants"`
	ToPlants     []string `json:"to_plants"`
	FromDoubtful []string `json:"from_doubtful"`
	ToDoubtful   []string `json:"to_doubtful"`
	Sentence     string   `json:"sentence"`
}

// Drift says whether the fruit moved towards the description or away from it.
type Drift struct {
	Variety string `json:"variety"`
	Trait
	Sentence string `json:"sentence"`
}

// Write writes compare.json.
func (r *Result) Write(w io.Writer) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", " ")
	return e.Encode(r)
}

// num is nil for what does not exist.
func num(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

func traitResult(d *season.Difference, t trait, p *Pair) Trait {
	out := Trait{Name: t.Name, Label: t.label, Unit: t.Unit, FromN: d.NA, ToN: d.NB, FromMean: num(d.MeanA), ToMean: num(d.MeanB), FromSD: num(d.SDA), ToSD: num(d.SDB),
		Difference: num(d.Diff), Low: num(d.Low), High: num(d.High), Effect: num(d.Effect), EffectLow: num(d.EffectLow), EffectHigh: num(d.EffectHigh),
		Measuring: num(d.Measuring), P: num(d.P), PShuffled: num(d.PShuffled), PAdjusted: num(d.PAdjusted), Found: d.Found, Decimals: t.decimals}
	out.Sentence = traitSentence(&out, t, p)
	return out
}

func colourResult(c *season.ColourDifference, p *Pair) *Colour {
	out := &Colour{FromN: c.NA, ToN: c.NB, DE00: num(c.DE), Low: num(c.Low), High: num(c.High), Chance: num(c.Chance), Measuring: num(c.Measuring), P: num(c.P), PAdjusted: num(c.PAdjusted), Found: c.Found}
	if c.NA > 0 {
		out.From = &c.MeanA
	}
	if c.NB > 0 {
		out.To = &c.MeanB
	}
	if out.DE00 == nil {
		return nil
	}
	out.Sentence = colourSentence(out, p)
	return out
}

func jointResult(j *season.Joint) *Together {
	if math.IsNaN(j.P) {
		return nil
	}
	return &Together{Traits: j.Traits, T2: num(j.T2), Shrunk: j.Shrunk, P: num(j.P), PAdjusted: num(j.PAdjusted), Found: j.Found}
}
