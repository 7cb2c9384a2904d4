package colour

import (
	"math"

	"offtype/measure/geom"
)

// Kind says what a sample is a sample of.
type Kind uint8

const (
	// Neutral is a grey patch of the card's ladder (the printed black counts as one).
	Neutral Kind = iota
	// Chroma is a coloured patch of the card.
	Chroma
	// Paper is bare card, wherever there is some.
	Paper
)

// Sample is the mean colour of a small even area of the photo.
type Sample struct {
	Name    string     // patch name, "paper", "black"
	Card    int        // card number
	Kind    Kind       //
	RGB     [3]float64 // mean encoded values, 0–255
	SD      [3]float64 // standard deviation within the area, 0–255
	Place   geom.Px    // middle of the area
	Ref     Lab        // true or nominal colour, D65
	Known   bool       // Ref was measured (a colour file); false: the nominal colour is assumed
	Clipped float64    // share of pixels with a channel at 0–2 or 253–255
}

// Frame is the size of the photo in px, after orientation.
type Frame struct {
	Width, Height int
	MMPerPx       float64 // on the table; 0 not known
}

// usualMM is the half diagonal of a photo of a whole table, taken where the scale is not known.
const usualMM = 900.0

// wide is the half diagonal over the usual one, within limits: light changes little across a small place.
func (f Frame) wide() float64 {
	if !(f.MMPerPx > 0) {
		return 1
	}
	return math.Max(0.25, math.Min(1.5, f.MMPerPx*math.Hypot(float64(f.Width), float64(f.Height))/2/usualMM))
}

// norm returns p relative to the picture's middle, in half diagonals (−1 … 1).
func (f Frame) norm(p geom.Px) (u, v float64) {
	c := geom.Px{X: float64(f.Width-1) / 2, Y: float64(f.Height-1) / 2}
	d := c.Norm()
	if d == 0 {
		return 0, 0
	}
	return (p.X - c.X) / d, (p.Y - c.Y) / d
}
