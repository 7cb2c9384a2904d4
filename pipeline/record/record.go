// Package record holds the result of a run as plain structs, and reads and writes the tables of
// the result folder (fruits.csv, photos.csv, groups.csv, judgement.json). Every stage and every
// adapter (report, harvest book, page) speaks in these types.
package record

import (
	"math"

	"github.com/lucasb-eyer/go-colorful"

	"offtype/measure/geom"
)

// Value is a measured number with its expanded uncertainty (k = 2), in the same unit.
// V is NaN when not measured; U is NaN when not known.
type Value struct{ V, U float64 }

// None is a value that was not measured.
func None() Value { return Value{math.NaN(), math.NaN()} }

// Ok reports whether the value was measured.
func (v Value) Ok() bool { return !math.IsNaN(v.V) }

// Lab is a CIELAB colour, D65, 2°: L* 0–100. U is the expanded uncertainty as a ΔE00 (k = 2).
type Lab struct {
	L, A, B float64
	U       float64
}

// Hex returns the sRGB colour nearest to c for the screen, as #rrggbb (white D65).
func (c Lab) Hex() string {
	return colorful.Lab(c.L/100, c.A/100, c.B/100).Clamped().Hex()
}

// Pose says how a fruit lies.
type Pose string

// The poses of the contract.
const (
	Side    Pose = "side"
	Upright Pose = "upright"
	Unclear Pose = "unclear"
)

// Status of a photo.
type Status string

// The states of the contract.
const (
	StatusOK        Status = "ok"
	StatusFailed    Status = "failed"
	StatusDuplicate Status = "duplicate"
)

// Photo is a row of photos.csv and what else the report and the book need of the photo.
type Photo struct {
	Name         string // relative to the argument it was found under; unique in a run
	Path         string // where the original lies; never written to tables
	SHA256       string
	Width        int // px, after orientation
	Height       int
	Taken        string // Exif date and time, empty when unknown
	Make, Model  string // never a serial number
	Status       Status
	Fruits       int
	Cards        []int // card numbers found
	MMPerPx      float64
	TiltDeg      float64
	HeightMM     float64
	FocalPx      float64
	FocalFrom    string // exif, card, file
	CardResidual float64
	ColourDE00   float64
	ColourOK     bool // false: colours of this photo are doubtful
	Message      string
	Notes        []string
	Quads        [][]geom.Px     // outline of each card, px
	Tags         map[int]geom.Px // plant number → centre of its tag, px
	Settings     string          // hash of what its numbers depend on
	ColourBefore float64         // mean ΔE00 over the card's patches before correction
	NoScale      bool            `json:",omitempty"` // it failed although it could be read: nothing in it gave its scale
}

// Fruit is a row of fruits.csv and what else is known of the fruit.
type Fruit struct {
	Photo  string
	Number int
	Plant  string // plant number of its tag, or empty
	X, Y   float64
	Pose   Pose

	Length, Width, Ratio, Midline Value // mm, mm, –, mm
	Bend, BroadestAt, Volume      Value // °, 0–1, cm³
	Neck, Taper, Lopsided         Value // –
	Skin                          *Lab
	Second                        *Lab
	SecondShare                   Value
	Pattern                       string // none, stripes, bands, patches, dots, mottled; empty: not told
	Stripes                       int    // number of stripes around, 0 when none or not told
	More                          []ColourShare
	Ribs                          int // −1: cannot be told
	GrooveDepth                   Value
	Roughness                     Value // –, relative to the radius
	StalkLength                   Value // mm
	StalkColour                   *Lab
	Profile                       []float64 // diameter in mm at 21 stations, stem end to blossom end
	ShapeWords                    []string  // suggested words, with the rule in docs
	SkinWords                     string    // plain colour words
	Notes                         []string  // short codes
	Confidence                    float64   // 0–1, of the outline being one whole fruit
	Unsure                        bool      // below the limit: asked about
	Views                         int       // photos used

	Outline    []geom.Px // body without the stalk, px
	StalkPx    []geom.Px // outline of the stalk, px
	StemPx     *geom.Px  // where the stalk meets the body
	BlossomPx  *geom.Px
	LengthLine [2]geom.Px // ends of the length, px; equal when not drawn
	WidthLine  [2]geom.Px
	MidlinePx  []geom.Px
	Edge       []geom.Edge   // what each outline point separates; empty: all free
	SigmaPx    float64       // noise of the outline, px
	Strokes    []geom.Stroke // lines in the skin
	SegStem    *geom.Px      // stalk base as the outlining saw it
	StemBy     float64       // 0–1, how sure the outlining is of it
	BlossomBy  float64       // 0–1, the same of the blossom end
	SegTip     *geom.Px      // free end of the stalk
	TableMM    geom.Vec3     // place of the body's middle on the table
	Unscaled   bool          // no card and no scale: sizes are relative within the photo, colours uncorrected; tables leave both empty
}

// ColourShare is a further colour of a fruit with its share of the visible skin.
type ColourShare struct {
	Lab   Lab
	Share float64
	Kind  string // mark, ground spot, scar …
}

// Key names a fruit within a run.
type Key struct {
	Photo  string
	Number int
}

// Key returns the fruit's name within the run.
func (f *Fruit) Key() Key { return Key{f.Photo, f.Number} }

// Has reports whether note code c is set.
func (f *Fruit) Has(code string) bool {
	for _, n := range f.Notes {
		if n == code {
			return true
		}
	}
	return false
}

// AddNotes adds note codes, each once.
func (f *Fruit) AddNotes(codes ...string) {
	for _, c := range codes {
		if !f.Has(c) {
			f.Notes = append(f.Notes, c)
		}
	}
}

// Membership is a row of groups.csv.
type Membership struct {
	Key
	Plant      string
	Group      int
	Membership float64
	Unsure     bool
	Alone      bool
}

// Verdict of a fruit, plant, group.
type Verdict string

// The verdicts of the contract.
const (
	TrueToType    Verdict = "true to type"
	Doubtful      Verdict = "doubtful"
	OffType       Verdict = "off-type"
	NotAssessable Verdict = "not assessable"
	NotJudged     Verdict = "not judged"
)

// Mark returns the verdict's sign, which tells it by shape without colour, and its style class on pages.
func (v Verdict) Mark() (sign, class string) {
	switch v {
	case TrueToType:
		return "●", "v-true"
	case OffType:
		return "▲", "v-off"
	case Doubtful:
		return "◆", "v-doubt"
	}
	return "○", "v-none"
}

// FruitVerdict, GroupVerdict, PlantVerdict and Lot are the parts of judgement.json.
type FruitVerdict struct {
	Photo    string   `json:"photo"`
	Fruit    int      `json:"fruit"`
	Plant    string   `json:"plant"`
	Group    int      `json:"group"`
	Distance *float64 `json:"distance"`
	P        *float64 `json:"p"`
	Verdict  Verdict  `json:"verdict"`
	Reasons  []string `json:"reasons"`
}

// GroupVerdict judges a group.
type GroupVerdict struct {
	Group    int      `json:"group"`
	Fruits   int      `json:"fruits"`
	Plants   int      `json:"plants"`
	Distance *float64 `json:"distance"`
	Verdict  Verdict  `json:"verdict"`
	Reasons  []string `json:"reasons"`
	Apart    []string `json:"apart,omitempty"`   // what sets the group apart, sentences
	Leaning  []string `json:"leaning,omitempty"` // towards other described varieties, trait by trait, hints
}

// PlantVerdict judges a plant.
type PlantVerdict struct {
	Plant   string   `json:"plant"`
	Fruits  int      `json:"fruits"`
	Verdict Verdict  `json:"verdict"`
	Reasons []string `json:"reasons"`
}

// Rule is a population standard with what it allows.
type Rule struct {
	Standard   float64 `json:"standard"`   // share of off-types, e.g. 0.01
	Acceptance float64 `json:"acceptance"` // probability, e.g. 0.95
	Allowed    int     `json:"allowed"`
	Within     bool    `json:"within"`
}

// Lot is the finding on the seed lot.
type Lot struct {
	Unit       string     `json:"unit"` // plant or fruit
	Seen       int        `json:"seen"`
	Off        int        `json:"off"`
	Unsure     int        `json:"unsure"`
	Rate       *float64   `json:"rate"`
	Low        *float64   `json:"low"`
	High       *float64   `json:"high"`
	Confidence float64    `json:"confidence"`
	Rule       *Rule      `json:"rule"`
	Sentences  []string   `json:"sentences,omitempty"` // the finding in plain words, with its limits
	Most       int        `json:"most,omitempty"`      // without plant tags: Off is the least number of off-type plants and this the most; 0 where Off is exact
	Lots       []LotCount `json:"lots,omitempty"`      // counts of each, where the plants are known to be of more than one seed lot
	Taught     []string   `json:"taught,omitempty"`    // plants of this harvest that taught the description: true by the grower's word
}

// LotCount is what was seen of one of several seed lots; Lot is empty for plants whose lot nobody wrote down.
type LotCount struct {
	Lot    string  `json:"lot"`
	Seen   int     `json:"seen"`
	Off    int     `json:"off"`
	Unsure int     `json:"unsure"`
	Low    float64 `json:"low"`
	High   float64 `json:"high"`
}

// Vouched reports whether all plants that were counted taught the description: they are true by the grower's word.
func (l *Lot) Vouched() bool { return l.Seen > 0 && len(l.Taught) >= l.Seen }

// HasRange reports whether the range of the rate says something on the seed lot: counted by plant, of one lot, and not only
// plants that taught the description.
func (l *Lot) HasRange() bool {
	return l.Unit == "plant" && l.Low != nil && l.High != nil && !l.Vouched() && len(l.Lots) < 2
}

// Judgement is judgement.json.
type Judgement struct {
	Variety *VarietyRef    `json:"variety"`
	Fruits  []FruitVerdict `json:"fruits"`
	Groups  []GroupVerdict `json:"groups"`
	Plants  []PlantVerdict `json:"plants"`
	Lot     Lot            `json:"lot"`
}

// ItemIsPlant reports whether every fruit (root, bulb) was counted as a plant of its own.
func (j *Judgement) ItemIsPlant() bool {
	n := 0
	for i := range j.Fruits {
		if j.Fruits[i].Verdict.Rests() {
			n++
		}
	}
	return len(j.Plants) == 0 && j.Lot.Unit == "plant" && j.Lot.Most == 0 && n > 0 && j.Lot.Seen == n
}

// VarietyRef names the description a verdict used.
type VarietyRef struct {
	Name    string `json:"name"`
	Species string `json:"species,omitempty"`
	Version string `json:"version"`
	File    string `json:"file,omitempty"`
}

// Run is a whole result.
type Run struct {
	Program   string            `json:"program"`  // version
	Settings  map[string]string `json:"settings"` // what the numbers depend on
	Photos    []Photo
	Fruits    []Fruit
	Groups    []Membership
	Judgement Judgement
	Grouping  *Grouping `json:"-"` // how the groups were found; nil when the run was read back
}
