package cluster

import (
	"errors"
	"fmt"
	"math"
)

// Kind is the family a trait belongs to. Traits of one kind are taken to be related.
type Kind string

// The kinds of traits.
const (
	Size    Kind = "size"
	Shape   Kind = "shape"
	Colour  Kind = "colour"
	Pattern Kind = "pattern"
)

// Scale says how a trait is turned into its working scale.
type Scale string

// The working scales.
const (
	Linear Scale = "linear" // x
	Log    Scale = "log"    // ln x, x > 0: sizes, volumes
	Share  Scale = "share"  // asin √x, 0 ≤ x ≤ 1
	Bend   Scale = "bend"   // √(x + 4), x ≥ 0 in degrees: a straight fruit still bends a little
)

// Trait describes a column of a table.
type Trait struct {
	Name     string // of the column: length
	Unit     string // mm, °, empty
	Means    string // what a number without unit is: thinnest ÷ widest place
	Label    string // for a sentence: "length"
	More     string // word for a larger value: longer
	Less     string // word for a smaller value: shorter
	Scale    Scale
	Kind     Kind
	Seasonal bool    // changes with season and ripeness more than with the type
	Spread   float64 // usual standard deviation among fruit of one type, working scale; 0: unknown
}

// Row is a fruit. Values and U follow the traits: NaN is not measured. U is the standard
// uncertainty (k = 1) in the unit of the value, NaN or 0 when not known.
type Row struct {
	ID     string
	Plant  string // empty: not known
	Values []float64
	U      []float64
}

// Table is what the grouping works on.
type Table struct {
	Traits []Trait
	Rows   []Row
}

// ErrNoTraits says that nothing was measured on any fruit.
var ErrNoTraits = errors.New("no trait was measured on any fruit; measure at least one")

// check reports a table whose rows do not fit its traits.
func (t Table) check() error {
	for i, r := range t.Rows {
		if len(r.Values) != len(t.Traits) || (r.U != nil && len(r.U) != len(t.Traits)) {
			return fmt.Errorf("row %d (%q) has %d values and %d uncertainties for %d traits; give one of each a trait, NaN where not measured",
				i+1, r.ID, len(r.Values), len(r.U), len(t.Traits))
		}
	}
	return nil
}

// Work returns x on the working scale; values outside the scale's range give NaN.
func (s Scale) Work(x float64) float64 {
	switch s {
	case Log:
		if x <= 0 {
			return math.NaN()
		}
		return math.Log(x)
	case Share:
		return math.Asin(math.Sqrt(min(1, max(0, x))))
	case Bend:
		return math.Sqrt(max(0, x) + 4)
	}
	return x
}

// Back is the inverse of Work.
func (s Scale) Back(y float64) float64 {
	switch s {
	case Log:
		return math.Exp(y)
	case Share:
		v := math.Sin(min(math.Pi/2, max(0, y)))
		return v * v
	case Bend:
		return max(0, y*y-4)
	}
	return y
}

// Slope is |dy/dx| of the working scale at x: turns an uncertainty of x into one of y.
func (s Scale) Slope(x float64) float64 {
	switch s {
	case Log:
		return 1 / x
	case Share:
		x = min(0.99, max(0.01, x))
		return 0.5 / math.Sqrt(x*(1-x))
	case Bend:
		return 0.5 / math.Sqrt(max(0, x)+4)
	}
	return 1
}
