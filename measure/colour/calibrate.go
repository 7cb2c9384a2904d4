package colour

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"offtype/measure/geom"
)

// ErrFewPatches is returned when too little of a card can be used.
var ErrFewPatches = errors.New("too few usable card patches")

// Options of Calibrate. The limits are this program's own (common practice, no source): a phone with one
// chart holds 2–5 ΔE on matt patches.
type Options struct {
	MaxMean    float64 // mean ΔE00 over the patches above which colours are doubtful; default 3.3
	MaxNeutral float64 // mean ΔE00 over paper and greys above which colours are doubtful; default 2.0
	MaxUneven  float64 // spread (SD) of log light over the paper of one card; default 0.06
	NoteCast   float64 // cast of the light above which it is noted, though corrected; default 0.15
	NoteGamma  float64 // natural logarithm of the tone curve's power above which it is noted, though corrected; default 0.12
	MinNeutral int     // greys and paper needed; default 4
}

// DefaultOptions returns the limits named at Options.
func DefaultOptions() Options {
	return Options{MaxMean: 3.3, MaxNeutral: 2.0, MaxUneven: 0.06, NoteCast: 0.15, NoteGamma: 0.12, MinNeutral: 4}
}

// PatchResidual is what is left of a patch after the correction.
type PatchResidual struct {
	Name  string
	Card  int
	DE00  float64
	Lab   Lab    // as corrected
	Ref   Lab    // as it should be
	State string // "used", "clipped", "shine" (brighter than it can be), "off" (lost weight in the fit)
}

// Calibration turns the encoded values of one photo into reflectance colours. The zero value is not usable:
// use Calibrate or Uncorrected.
type Calibration struct {
	frame Frame
	tone  tone
	lut   lut
	m     Matrix // camera light → linear sRGB reflectance
	fall  falloff
	// fallCov is the covariance of the fall-off's five numbers.
	fallCov [nFall][nFall]float64
	apart   float64 // what Expect left unsure

	Corrected bool            // false: the photo's own sRGB values, no card
	Mean      float64         // mean ΔE00 over the card's patches and paper after correction; NaN when not corrected
	LeaveOut  float64         // the same, each patch predicted from the others
	Neutral   float64         // mean ΔE00 over greys and paper
	Uneven    float64         // SD of log light over the paper of the worst card, after the fall-off found
	Patches   []PatchResidual // in the order of the samples
	OK        bool            // false: the colours of this photo are doubtful
	Reasons   []string        // why not OK: short codes, see docs/colour.md
	Notes     []string        // faults that the card has corrected: the colours hold; short codes, see docs/colour.md
	Before    float64         // mean ΔE00 over patches and paper before correction, brightness set by the paper; NaN without a card
	Cast      float64         // how far white is from neutral in the photo: length of (ln R/G, ln B/G) of its linear light
	U         float64         // expanded uncertainty (k = 2) of a corrected colour, ΔE00
}

// Uncorrected returns the calibration of a photo without a card: its values are read as sRGB, white is what
// the phone took for white. Never OK.
func Uncorrected(f Frame) *Calibration {
	t := tone{gamma: 1}
	return &Calibration{frame: f, tone: t, lut: t.table(), m: Matrix{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
		Mean: math.NaN(), LeaveOut: math.NaN(), Neutral: math.NaN(), U: math.NaN(), Before: math.NaN(), Reasons: []string{"no-card"}}
}

// RGB returns the linear sRGB reflectance that a matt surface lying flat like the card would have to show the
// encoded values rgb (0–255) at pixel p.
func (c *Calibration) RGB(rgb [3]float64, p geom.Px) RGB {
	u, v := c.frame.norm(p)
	f := 1 / c.fall.factor(u, v)
	x := [3]float64{c.lut.at(rgb[0]) * f, c.lut.at(rgb[1]) * f, c.lut.at(rgb[2]) * f}
	return c.m.Mul(x)
}

// Lab returns RGB as CIELAB, D65.
func (c *Calibration) Lab(rgb [3]float64, p geom.Px) Lab { return c.RGB(rgb, p).Lab() }

// Calibrate fits the camera and the light of one photo to the samples of its cards.
//
// samples: patches and paper of one or more cards. Clipped samples (more than 2 % of pixels) are left out. The
// fit is robust: patches with shine or in a shadow's edge lose weight. When colours are only nominal, greys and
// paper carry the white and the tone and coloured patches count less.
//
// Errors: ErrFewPatches. Cost: about 20 ms.
func Calibrate(samples []Sample, f Frame, opt Options) (*Calibration, error) {
	fit := newCardFit(samples, f)
	if fit.neutral < opt.MinNeutral {
		return nil, fmt.Errorf("%w: %d greys and paper samples of %d needed", ErrFewPatches, fit.neutral, opt.MinNeutral)
	}
	c := fit.run()
	c.Corrected = true
	c.report(fit, samples)
	c.judge(fit, opt)
	return c, nil
}

// report fills the residuals.
func (c *Calibration) report(f *cardFit, samples []Sample) {
	var all, neutral, before []float64
	paper, paperBefore := map[int][]float64{}, map[int][]float64{}
	var cards []int
	known := map[int]bool{}
	for _, s := range samples {
		known[s.Card] = known[s.Card] || s.Known
	}
	for _, s := range samples {
		if guessed(s, known) {
			continue
		}
		l := c.Lab(s.RGB, s.Place)
		r := PatchResidual{Name: s.Name, Card: s.Card, DE00: DeltaE2000(s.Ref, l), Lab: l, Ref: s.Ref, State: "used"}
		switch {
		case clipped(s):
			r.State = "clipped"
		case l.L-s.Ref.L > 6 && l.Chroma() < s.Ref.Chroma()+4:
			r.State = "shine"
		case r.DE00 > 6:
			r.State = "off"
		}
		c.Patches = append(c.Patches, r)
		if r.State == "clipped" {
			continue
		}
		was := DeltaE2000(s.Ref, f.plain(s))
		switch s.Kind {
		case Paper:
			if paper[s.Card] == nil {
				cards = append(cards, s.Card)
			}
			paper[s.Card] = append(paper[s.Card], r.DE00)
			paperBefore[s.Card] = append(paperBefore[s.Card], was)
			continue
		case Neutral:
			neutral = append(neutral, r.DE00)
		}
		all, before = append(all, r.DE00), append(before, was)
	}
	for _, n := range cards { // however many pieces of it, paper counts as one patch a card
		all, neutral = append(all, mean(paper[n])), append(neutral, mean(paper[n]))
		before = append(before, mean(paperBefore[n]))
	}
	c.Mean, c.Neutral, c.Before = mean(all), mean(neutral), mean(before)
	c.Cast = c.cast()
	c.LeaveOut = f.leaveOut
	c.Uneven = c.unevenness(samples)
}

// unevenness returns the SD of log luminance over the paper of the worst card, once the fall-off is out.
func (c *Calibration) unevenness(samples []Sample) float64 {
	by := map[int][]float64{}
	for _, s := range samples {
		if s.Kind == Paper && !clipped(s) {
			y := c.RGB(s.RGB, s.Place).XYZ().Y
			by[s.Card] = append(by[s.Card], math.Log(math.Max(1e-3, y)))
		}
	}
	worst := 0.0
	for _, v := range by {
		if len(v) >= 3 {
			worst = math.Max(worst, sd(v))
		}
	}
	return worst
}

// judge decides whether the colours can be used and how uncertain they are.
func (c *Calibration) judge(f *cardFit, opt Options) {
	why := func(bad bool, code string) {
		if bad {
			c.Reasons = append(c.Reasons, code)
		}
	}
	why(!(c.Mean <= opt.MaxMean), "card-colours-do-not-fit")
	why(!(c.Neutral <= opt.MaxNeutral), "greys-do-not-fit")
	why(c.Uneven > opt.MaxUneven, "uneven-light-on-card")
	odd, cut := 0, 0
	for _, p := range c.Patches {
		switch p.State {
		case "shine", "off":
			odd++
		case "clipped":
			cut++
		}
	}
	why(4*odd > len(c.Patches), "shine-or-shadow-on-card")
	why(4*cut > len(c.Patches), "card-too-bright-or-dark")
	bent := math.Abs(math.Log(c.tone.gamma))
	why(bent > maxGamma || math.Abs(c.tone.black) > 0.03, "tone-curve-unusual")
	c.OK = len(c.Reasons) == 0
	if c.Cast > opt.NoteCast {
		c.Notes = append(c.Notes, "strong-cast-corrected")
	}
	if bent > opt.NoteGamma && bent <= maxGamma {
		c.Notes = append(c.Notes, "tone-curve-corrected")
	}
	c.U = 2 * math.Sqrt(0.36+0.5*c.LeaveOut*c.LeaveOut+900*c.Uneven*c.Uneven)
}

// maxGamma is the logarithm of the tone curve's power beyond which colours are doubtful. Powers from 0.7 to 1.4 were
// corrected to 0.3 ΔE00 (TestCameraFaults); further was not tried.
const maxGamma = 0.41

// cast returns how far the light of a white surface is from neutral in the photo.
func (c *Calibration) cast() float64 {
	w, ok := c.m.solve([3]float64{1, 1, 1})
	if !ok || !(w[0] > 0 && w[1] > 0 && w[2] > 0) {
		return math.Inf(1)
	}
	return math.Hypot(math.Log(w[0]/w[1]), math.Log(w[2]/w[1]))
}

// solve returns x with m·x = y (Cramer's rule); ok is false when m is singular.
func (m Matrix) solve(y [3]float64) (x [3]float64, ok bool) {
	d := m.det()
	if math.Abs(d) < 1e-9 {
		return x, false
	}
	for j := range x {
		n := m
		for i := range y {
			n[i][j] = y[i]
		}
		x[j] = n.det() / d
	}
	return x, true
}

func (m Matrix) det() float64 {
	return m[0][0]*(m[1][1]*m[2][2]-m[1][2]*m[2][1]) - m[0][1]*(m[1][0]*m[2][2]-m[1][2]*m[2][0]) +
		m[0][2]*(m[1][0]*m[2][1]-m[1][1]*m[2][0])
}

func clipped(s Sample) bool { return s.Clipped > 0.02 }

func mean(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	s := 0.0
	for _, x := range v {
		s += x
	}
	return s / float64(len(v))
}

// sd returns the sample standard deviation (n−1).
func sd(v []float64) float64 {
	m, s := mean(v), 0.0
	for _, x := range v {
		s += (x - m) * (x - m)
	}
	return math.Sqrt(s / float64(len(v)-1))
}

func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	w := slices.Clone(v)
	slices.Sort(w)
	n := len(w)
	return (w[(n-1)/2] + w[n/2]) / 2
}
