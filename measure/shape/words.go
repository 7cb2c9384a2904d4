package shape

import "math"

// The words are the states of "fruit: general shape" in UPOV's test guideline for Cucurbita pepo
// (characteristic 30 as quoted in a national questionnaire citing CPVO-TP/119/1 Rev.). The guideline
// gives drawings, no figures: the limits below are this program's own reading of the words (common
// practice, no source), so a word is a suggestion and never an official state.
const (
	Disc                   = "disc"
	TransverseElliptical   = "transverse elliptical"
	TransverseBroadEllipse = "transverse broad elliptical"
	Globular               = "globular"
	TopShaped              = "top-shaped"
	BroadElliptical        = "broad elliptical"
	Ovate                  = "ovate"
	Elliptical             = "elliptical"
	Cylindrical            = "cylindrical"
	PearShaped             = "pear-shaped"
	BottleShaped           = "bottle-shaped"
	ClubShaped             = "club-shaped"
	ratioDisc              = 0.55 // below: disc
	ratioTransverse        = 0.78 // below: transverse elliptical
	ratioTransverseBroad   = 0.92 // below: transverse broad elliptical
	ratioGlobular          = 1.08 // below: globular
	ratioBroad             = 1.30 // below: broad elliptical
	ratioClub              = 2.2  // above, and thicker at the blossom end: club-shaped
	broadestStem           = 0.42 // below: broadest towards the stem end
	broadestBlossom        = 0.57 // above: broadest towards the blossom end
	neckBottle             = 0.66 // below, with an even neck: bottle-shaped
	neckPear               = 0.80 // below: pear-shaped
	fullCylinder           = 0.80 // fullness above: cylindrical
	taperTop               = 0.15 // |taper| above: top-shaped rather than ovate
	evenNeck               = 1.12 // the neck's diameters up to station 0.35 differ by at most this factor
	nearly                 = 0.06 // a ratio this near to a limit, relative, names the neighbour too
	broadestFlat           = 0.12 // above this taper a round fruit is not globular
)

// Words suggests words for the shape, likeliest first, one or two.
//
// Rule, in this order: a smallest stem-side diameter below 0.66 of the greatest with an even neck is
// bottle-shaped; longer than 2.2 widths and thicker at the blossom end, club-shaped; a stem-side part
// below 0.80 and the broadest place beyond 0.57, pear-shaped; longer than 1.3 widths and filling over
// 0.80 of its cylinder, cylindrical; broadest before 0.42 and tapering by over 0.15 of the width
// towards the blossom end, top-shaped; broadest before 0.42 otherwise and longer than 1.08 widths,
// ovate; all others by length/width: below 0.55 disc, 0.78 transverse elliptical, 0.92 transverse broad
// elliptical, 1.08 globular, 1.30 broad elliptical, above elliptical. A second word is added when the
// ratio lies within 6 % of a limit or within its own uncertainty. NaN ratio: none.
func Words(t Traits) []string {
	r, b := t.Ratio.V, t.BroadestAt.V
	if math.IsNaN(r) || math.IsNaN(b) {
		return nil
	}
	thick := b > broadestBlossom && t.Taper.V > 0
	switch {
	case thick && t.Neck.V < neckBottle && even(t.Profile):
		return []string{BottleShaped, PearShaped}
	case thick && r > ratioClub:
		return []string{ClubShaped}
	case thick && t.Neck.V < neckPear:
		return []string{PearShaped}
	case r > ratioBroad && t.Fullness.V > fullCylinder:
		return []string{Cylindrical}
	case b < broadestStem && t.Taper.V < -taperTop:
		return []string{TopShaped}
	case b < broadestStem && r > ratioGlobular && t.Taper.V < -broadestFlat/2:
		return []string{Ovate}
	}
	return byRatio(t)
}

// even reports whether the neck keeps its diameter from station 0.1 to 0.35.
func even(profile []float64) bool {
	lo, hi := math.Inf(1), 0.0
	for s := stemPart; s < 0.351; s += 0.05 {
		d := At(profile, s)
		lo, hi = math.Min(lo, d), math.Max(hi, d)
	}
	return hi <= evenNeck*lo
}

// byRatio names plain shapes by length / width alone.
func byRatio(t Traits) []string {
	limits := []float64{ratioDisc, ratioTransverse, ratioTransverseBroad, ratioGlobular, ratioBroad}
	words := []string{Disc, TransverseElliptical, TransverseBroadEllipse, Globular, BroadElliptical, Elliptical}
	r := t.Ratio.V
	i := 0
	for i < len(limits) && r >= limits[i] {
		i++
	}
	out := []string{words[i]}
	near := math.Max(nearly*r, t.Ratio.U)
	if math.IsNaN(near) {
		near = nearly * r
	}
	down, up := math.Inf(1), math.Inf(1)
	if i > 0 {
		down = r - limits[i-1]
	}
	if i < len(limits) {
		up = limits[i] - r
	}
	switch {
	case down <= up && down < near:
		out = append(out, words[i-1])
	case up < near:
		out = append(out, words[i+1])
	}
	return out
}
