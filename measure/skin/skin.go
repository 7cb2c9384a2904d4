// Package skin measures the colours, the pattern and the ribs of fruit in a calibrated photo.
//
// A pixel shows reflectance × light on the surface + shine. The light on a surface depends on where it
// faces; that is the same for all fruit of a photo, so it is estimated from all of them together (light.go),
// with the card, which faces straight up, as the fixed point. What is left is the skin's own colour.
//
// Limits: light that fruit and table throw on each other near the table and shadows of neighbours are not modelled; the
// middle of the fruit, facing up, decides the main colour.
package skin

import (
	"math"
	"slices"

	"offtype/measure/colour"
	"offtype/measure/geom"
)

// Surface returns what the fitted body shows at pixel p: place s along the axis (0 stem end, 1 blossom end),
// angle theta around it in radians, the point (mm) and the outward unit normal in the table frame; ok is false
// beside the body.
type Surface func(p geom.Px) (s, theta float64, point, normal geom.Vec3, ok bool)

// Fruit is one fruit of a photo.
type Fruit struct {
	Outline []geom.Px // closed, px, without the stalk
	Stalk   []geom.Px // outline of the stalk, px; its neighbourhood is left out; may be nil
	Surface Surface   // nil: a round body is assumed from the outline, pattern and ribs stay untold
	Upright bool      // the axis points up: the stem end is in view
}

// Photo is a photo with its fruit.
type Photo struct {
	Pix           []uint8 // RGB, 3 bytes a pixel, encoded
	Width, Height int
	Colour        *colour.Calibration
	Camera        geom.Vec3   // centre of the camera, table frame, mm
	Cards         []geom.Vec3 // middles of the cards, table frame, mm
	Quads, Tags   [][]geom.Px // outlines of the cards and of the plant tags
	Fruits        []Fruit
}

// Pattern is how a secondary colour lies on the fruit.
type Pattern string

// The patterns.
const (
	None    Pattern = "none"
	Stripes Pattern = "stripes" // along the fruit
	Bands   Pattern = "bands"   // around the fruit
	Patches Pattern = "patches" // few, large
	Dots    Pattern = "dots"    // many, small
	Mottled Pattern = "mottled" // irregular
)

// Share is a further colour.
type Share struct {
	Lab   colour.Lab
	Share float64 // of the visible skin, 0–1
	Kind  string  // "mark", "ground spot", "scar", "shine"
}

// Result is what is known of one fruit's skin.
type Result struct {
	OK          bool       // false: too little skin seen, nothing else is set
	Main        colour.Lab // ground colour, D65
	MainU       float64    // expanded uncertainty (k = 2), ΔE00
	Second      *colour.Lab
	SecondU     float64
	SecondShare float64 // of the visible skin, 0–1
	Pattern     Pattern
	More        []Share // further colours, ground spot, scars
	Stripes     int     // number around the fruit, 0 when none or not told
	OnRibs      string  // "grooves", "ribs" or empty: where the stripes lie
	MarkMM      float64 // width of stripes or bands, or diameter of marks, mm; 0 when none
	Ribs        int     // −1: cannot be told
	Groove      float64 // depth of the grooves over the greatest radius; NaN when not told
	Rough       float64 // unevenness of the shading within 2–10 mm, relative; NaN when not told
	Shine       float64 // share of the visible skin left out for shine
	OtherLight  bool    // the table says that the fruit lies in other light than the card: its colours are not to be believed
	Words       string  // plain words, "tan", "dark green with cream dots"
	Notes       []string
}

// Options of Measure.
type Options struct {
	MaxPixels int // sampled pixels a fruit; default 4000
}

// DefaultOptions returns the defaults named at Options.
func DefaultOptions() Options { return Options{MaxPixels: 4000} }

// Measure measures all fruit of a photo; the results are in the order of ph.Fruits.
func Measure(ph *Photo, opt Options) []Result {
	if opt.MaxPixels <= 0 {
		opt = DefaultOptions()
	}
	skins := make([]*patchwork, len(ph.Fruits))
	for i := range ph.Fruits {
		skins[i] = sample(ph, &ph.Fruits[i], opt.MaxPixels)
	}
	l, cal := lightOf(skins, ph)
	out := make([]Result, len(skins))
	other := otherLight(ph)
	for i, s := range skins {
		out[i] = s.measure(l, cal)
		if out[i].OtherLight = other[i]; other[i] {
			out[i].Notes = append(out[i].Notes, "other-light")
		}
	}
	return out
}

// measure turns the samples of one fruit into its result.
func (s *patchwork) measure(l *light, cal *colour.Calibration) Result {
	r := Result{Ribs: -1, Groove: math.NaN(), Rough: math.NaN()}
	if len(s.px) < 40 {
		r.Notes = append(r.Notes, "little-skin-seen")
		return r
	}
	switch cut := s.cutShare(); {
	case cut > 0.8:
		r.Notes = append(r.Notes, "colour-out-of-range")
		return r
	case cut > 0.25:
		r.Notes = append(r.Notes, "colour-out-of-range")
	}
	own := s.unshade(l)
	s.split()
	s.size()
	parts := s.judgeParts(own)
	if len(parts) == 0 {
		r.Notes = append(r.Notes, "little-skin-seen")
		return r
	}
	r.OK, r.Main, r.MainU = true, parts[0].lab, cal.U
	if cal.Corrected {
		r.MainU = math.Hypot(r.MainU, 100.0/3/2*cal.FallU(geom.Centroid(s.fruit.Outline)))
	}
	s.absorb(parts)
	var groove float64
	if s.fruit.Surface != nil {
		r.Ribs, r.Groove, groove = s.ribs(l, parts)
		r.Rough = s.rough()
	}
	s.secondary(&r, parts)
	r.Words = words(&r)
	if best := markOf(parts); r.Pattern == Stripes && r.Ribs > 0 && best >= 0 {
		r.OnRibs = s.stripesLie(func(q *pixel) bool { return q.part == best }, r.Ribs, groove)
	}
	return r
}

// cutShare returns the share of the samples in which a channel is at the end of its range.
func (s *patchwork) cutShare() float64 {
	n := 0
	for i := range s.px {
		if s.px[i].cut {
			n++
		}
	}
	return float64(n) / float64(len(s.px))
}

// words puts the colours and the pattern into plain words.
func words(r *Result) string {
	w := colour.Words(r.Main)
	if r.Second == nil {
		return w
	}
	second := colour.Words(*r.Second)
	if second == w {
		second = "darker " + second
		if r.Second.L > r.Main.L {
			second = "lighter " + colour.Words(*r.Second)
		}
	}
	switch r.Pattern {
	case Mottled:
		return w + ", mottled " + second
	case None:
		return w
	}
	return w + " with " + second + " " + string(r.Pattern)
}

// size fills the radius and the step on the skin.
func (s *patchwork) size() {
	ax := s.axesOf()
	var mm []float64
	var c geom.Vec3
	for i := range s.px {
		q := &s.px[i]
		c = c.Add(q.at.Scale(1 / float64(len(s.px))))
		if j := s.at(q.gx+1, q.gy); j >= 0 && q.facing > 0.6 {
			mm = append(mm, s.px[j].at.Sub(q.at).Norm())
		}
	}
	s.mmStep = median(mm)
	if math.IsNaN(s.mmStep) {
		s.mmStep = 1
	}
	var across []float64
	for i := range s.px {
		d := s.px[i].at.Sub(c)
		if ax.ok {
			d = d.Sub(ax.a.Scale(d.Dot(ax.a)))
		}
		across = append(across, d.Norm())
	}
	slices.Sort(across)
	s.radius = math.Max(1e-6, across[len(across)*98/100])
}

// markOf returns the largest mark, −1 when there is none.
func markOf(parts []part) int {
	for p, q := range parts {
		if q.kind == mark {
			return p
		}
	}
	return -1
}

// secondary fills the secondary colour, its share and pattern, and the further colours.
func (s *patchwork) secondary(r *Result, parts []part) {
	r.Pattern = None
	best := markOf(parts)
	for p, q := range parts {
		switch q.kind {
		case mark:
			if p != best && len(r.More) < 3 {
				r.More = append(r.More, Share{q.lab, q.share, "mark"})
			}
		case spot:
			r.More = append(r.More, Share{q.lab, q.share, "ground spot"})
		case scar:
			r.More = append(r.More, Share{q.lab, q.share, "scar"})
		case shine:
			r.Shine += q.share
		}
	}
	if best < 0 {
		return
	}
	q := parts[best]
	r.Second, r.SecondShare, r.SecondU = &q.lab, q.share, math.Hypot(r.MainU, 2)
	is := func(x *pixel) bool { return x.part == best }
	l := s.layOf(is, func(x *pixel) bool {
		return x.part >= 0 && (parts[x.part].kind == mark || parts[x.part].kind == ground || parts[x.part].kind == shade)
	})
	r.Pattern, r.Stripes, r.MarkMM = l.pattern, l.stripes, l.mm
}
