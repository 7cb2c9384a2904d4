package segment

import (
	"math"
	"testing"

	"offtype/measure/geom"
)

// oval is an outline about the origin, a × b in half-axes.
func oval(a, b float64) (out []geom.Px) {
	for i := range 180 {
		sin, cos := math.Sincos(float64(i) * math.Pi / 90)
		out = append(out, geom.Px{X: a * cos, Y: b * sin})
	}
	return out
}

// TestOpposite: two ends on the rim of a round fruit that do not lie across from each other are not both believed; a long
// fruit may be bent, and an end in the middle of the outline faces the camera.
func TestOpposite(t *testing.T) {
	at := func(r, deg float64) geom.Px {
		sin, cos := math.Sincos(deg * math.Pi / 180)
		return geom.Px{X: r * cos, Y: r * sin}
	}
	for _, c := range []struct {
		name          string
		outline       []geom.Px
		stem, blossom geom.Px
		stemBy        float64 // against 0.6 of the blossom end
		keepsStem     bool
		keepsBlossom  bool
	}{
		{"across", oval(100, 100), at(95, 0), at(95, 180), 0.9, true, true},
		{"a quarter around, stem end surer", oval(100, 100), at(95, 0), at(95, 90), 0.9, true, false},
		{"a quarter around, blossom end surer", oval(100, 100), at(95, 0), at(95, 90), 0.3, false, true},
		{"a quarter around a long fruit", oval(160, 80), at(95, 0), at(75, 90), 0.9, true, true},
		{"stem end towards the camera", oval(100, 100), at(20, 0), at(95, 90), 0.9, true, true},
	} {
		f := Fruit{Outline: c.outline, StemBase: &c.stem, StemBy: c.stemBy, Blossom: &c.blossom, BlossomBy: 0.6}
		f.opposite()
		if (f.StemBase != nil) != c.keepsStem || (f.Blossom != nil) != c.keepsBlossom {
			t.Errorf("%s: stem end kept %v, blossom end kept %v", c.name, f.StemBase != nil, f.Blossom != nil)
		}
		if f.StemBase == nil && f.StemBy != 0 || f.Blossom == nil && f.BlossomBy != 0 {
			t.Errorf("%s: an end that is gone is still sure", c.name)
		}
	}
}
