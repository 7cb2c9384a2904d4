// Package shape turns a fitted body into the traits that describe its shape, and suggests words for
// it. Diameters are in mm; everything else has no unit. Stations run from 0 at the stem end to 1 at the
// blossom end. It does not measure outlines: package body does.
package shape

import (
	"math"

	"offtype/measure/body"
)

// Traits describe the shape of a fruit. A value that cannot be measured is NaN.
type Traits struct {
	Ratio      body.Value // length / width; below 1 for flat fruit
	BroadestAt body.Value // station of the greatest diameter
	Neck       body.Value // smallest diameter of the stem-side part / greatest; 1: no neck
	Taper      body.Value // (diameter at ¾ − diameter at ¼) / greatest; above 0: slimmer at the stem end
	Fullness   body.Value // volume / (π/4·length·width²): 1 cylinder, ⅔ ellipsoid, ⅓ cone
	Lopsided   body.Value // greatest difference between the two sides / width
	Roughness  body.Value // standard deviation of the outline about a smooth one / greatest radius
	Volume     body.Value // cm³
	Profile    []float64  // diameters at the stations, mm
	Words      []string   // suggested words, likeliest first; see Words
}

// stemPart is the station where the stem-side part begins: nearer to the tip every fruit is slim.
const stemPart = 0.1

// Of returns the traits of b. Uncertainties are expanded (k = 2).
//
// Of the profile's diameters the neighbours' errors go together, so Neck and Taper take the
// diameters' uncertainties as independent of the greatest one: a little too wide.
func Of(b *body.Body) Traits {
	t := Traits{BroadestAt: b.BroadestAt, Volume: b.Volume, Profile: b.Profile}
	nan := body.Value{V: math.NaN(), U: math.NaN()}
	t.Lopsided = body.Value{V: b.Lopsided, U: math.NaN()}
	t.Roughness = body.Value{V: b.Roughness, U: b.RoughnessU}
	if b.Pose == body.Upright {
		t.Ratio, t.BroadestAt, t.Neck, t.Taper, t.Fullness, t.Profile = nan, nan, nan, nan, nan, nil
		return t
	}
	if t.Ratio = b.Ratio; t.Ratio.V == 0 { // a body that was not fitted
		t.Ratio = over(b.Length, b.Width)
	}
	t.Neck, t.Taper = neck(b), taper(b)
	t.Fullness = nan
	if full := math.Pi / 4 * b.Length.V * b.Width.V * b.Width.V / 1000; full > 0 {
		v := b.Volume.V / full
		t.Fullness = body.Value{V: v, U: v * math.Hypot(b.Length.U/b.Length.V, 0.02)}
	}
	t.Words = Words(t)
	return t
}

// over returns a/b with its uncertainty, the two taken as independent.
func over(a, b body.Value) body.Value {
	if !(b.V > 0) {
		return body.Value{V: math.NaN(), U: math.NaN()}
	}
	v := a.V / b.V
	return body.Value{V: v, U: v * math.Hypot(a.U/a.V, b.U/b.V)}
}

// neck returns the smallest diameter between station 0.1 and the broadest place, over the greatest.
func neck(b *body.Body) body.Value {
	least := body.Value{V: math.Inf(1)}
	for i, d := range b.Profile {
		s := float64(i) / float64(len(b.Profile)-1)
		if s < stemPart-1e-9 || s > b.BroadestAt.V {
			continue
		}
		if d < least.V {
			least = body.Value{V: d, U: b.ProfileU[i]}
		}
	}
	if math.IsInf(least.V, 1) {
		return body.Value{V: 1}
	}
	r := over(least, b.Width)
	r.V = math.Min(r.V, 1)
	return r
}

// taper returns (D(¾) − D(¼)) / greatest diameter.
func taper(b *body.Body) body.Value {
	q, uq := At(b.Profile, 0.25), At(b.ProfileU, 0.25)
	r, ur := At(b.Profile, 0.75), At(b.ProfileU, 0.75)
	return body.Value{V: (r - q) / b.Width.V, U: math.Hypot(uq, ur) / b.Width.V}
}

// At returns the profile's value at station s, linear between stations; NaN for an empty profile.
func At(profile []float64, s float64) float64 {
	n := len(profile) - 1
	if n < 1 {
		return math.NaN()
	}
	x := math.Min(math.Max(s, 0), 1) * float64(n)
	i := min(int(x), n-1)
	return profile[i] + (x-float64(i))*(profile[i+1]-profile[i])
}
