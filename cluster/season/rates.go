package season

import (
	"math"

	"offtype/cluster/lot"
)

// Rate compares a share of plants between two harvests.
type Rate struct {
	XA, NA, XB, NB int
	LowA, HighA    float64 // Clopper–Pearson at Options.Confidence
	LowB, HighB    float64
	P              float64 // Fisher's exact test, two-sided
	PAdjusted      float64 // Holm; set by Settle
	Found          bool    // set by Settle
}

// Rates compares xa of na plants with xb of nb. p is NaN when a harvest has no plants.
func Rates(xa, na, xb, nb int, opt Options) Rate {
	r := Rate{XA: xa, NA: na, XB: xb, NB: nb, P: math.NaN(), PAdjusted: math.NaN()}
	r.LowA, r.HighA = lot.ClopperPearson(xa, na, opt.Confidence)
	r.LowB, r.HighB = lot.ClopperPearson(xb, nb, opt.Confidence)
	if na > 0 && nb > 0 {
		r.P, _, _ = lot.Fisher(xa, na-xa, xb, nb-xb)
	}
	return r
}

// Page gathers the tests that stand on one page, so that together they raise a false alarm with at
// most Alpha.
type Page struct {
	Traits  []*Difference
	Colours []*ColourDifference
	Joint   []*Joint
	Rates   []*Rate
}

// Settle adjusts all p values of the page together (Holm) and sets Found: adjusted p at most Alpha,
// for traits also the shuffled p, and a difference larger than measuring alone can make.
func Settle(p Page, opt Options) {
	var ps []float64
	for _, d := range p.Traits {
		ps = append(ps, d.P)
	}
	for _, c := range p.Colours {
		ps = append(ps, c.P)
	}
	for _, j := range p.Joint {
		ps = append(ps, j.P)
	}
	for _, r := range p.Rates {
		ps = append(ps, r.P)
	}
	adj := Holm(ps)
	next := func() float64 { x := adj[0]; adj = adj[1:]; return x }
	for _, d := range p.Traits {
		d.PAdjusted = next()
		d.Found = d.PAdjusted <= opt.Alpha && d.PShuffled <= opt.Alpha && !(math.Abs(d.Diff) < d.Measuring)
	}
	for _, c := range p.Colours {
		c.PAdjusted = next()
		c.Found = c.PAdjusted <= opt.Alpha && !(c.DE < c.Measuring)
	}
	for _, j := range p.Joint {
		j.PAdjusted = next()
		j.Found = j.PAdjusted <= opt.Alpha
	}
	for _, r := range p.Rates {
		r.PAdjusted = next()
		r.Found = r.PAdjusted <= opt.Alpha
	}
}
