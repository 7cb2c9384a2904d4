package shape

import (
	"math"
	"slices"
	"testing"

	"offtype/measure/body"
)

// made builds a body record from a profile function, as the fit would give it.
func made(length, width float64, r func(s float64) float64) *body.Body {
	b := &body.Body{Pose: body.Side, Length: body.Value{V: length, U: 1}, Width: body.Value{V: width, U: 0.5}}
	vol, best := 0.0, 0.0
	const n = 2000
	for i := 0; i <= n; i++ {
		s := float64(i) / n
		d := width * r(s)
		if d > best {
			best, b.BroadestAt.V = d, s
		}
		vol += math.Pi / 4 * d * d * length / n
	}
	b.Volume.V = vol / 1000
	const stations = 21 // as body.Body.Profile has
	for i := range stations {
		b.Profile = append(b.Profile, width*r(float64(i)/(stations-1)))
		b.ProfileU = append(b.ProfileU, 0.5)
	}
	return b
}

func ellipse(s float64) float64 { return math.Sqrt(math.Max(0, 4*s*(1-s))) }

// Closed formulas: an ellipsoid fills 2/3 of its cylinder, a cylinder all of it; both are symmetrical.
func TestClosedForms(t *testing.T) {
	const tol = 1e-3 // rectangle rule over 2000 slices
	e := Of(made(180, 120, ellipse))
	c := Of(made(200, 80, func(float64) float64 { return 1 }))
	cases := []struct {
		name      string
		got, want float64
	}{
		{"ellipsoid ratio", e.Ratio.V, 1.5},
		{"ellipsoid fullness", e.Fullness.V, 2.0 / 3},
		{"ellipsoid broadest", e.BroadestAt.V, 0.5},
		{"ellipsoid taper", e.Taper.V, 0},
		{"ellipsoid volume, π/6·L·W²", e.Volume.V, math.Pi / 6 * 180 * 120 * 120 / 1000},
		{"ellipsoid diameter at 0.1", e.Profile[2] / 120, 0.6},
		{"ellipsoid neck at 0.1", e.Neck.V, 0.6},
		{"cylinder fullness", c.Fullness.V, 1},
		{"cylinder neck", c.Neck.V, 1},
		{"uncertainty of a ratio", e.Ratio.U, 1.5 * math.Hypot(1.0/180, 0.5/120)},
	}
	for _, k := range cases {
		if math.Abs(k.got-k.want) > tol*math.Max(1, math.Abs(k.want)) {
			t.Errorf("%s: got %.5f, want %.5f", k.name, k.got, k.want)
		}
	}
}

// The words' own drawings described as profiles: common practice, no source.
func TestWords(t *testing.T) {
	bulb := func(neck, at float64) func(float64) float64 {
		return func(s float64) float64 {
			tip := math.Min(1, math.Sqrt(math.Max(0, 1-math.Pow(1-math.Min(s, 1-s)/0.1, 2))))
			if s > 0.1 && s < 0.9 {
				tip = 1
			}
			w := 1 / (1 + math.Exp(-(s-at+0.15)*22))
			return tip * (neck + (1-neck)*w*math.Exp(-math.Pow((s-at-0.08)/0.35, 2)))
		}
	}
	cases := []struct {
		name string
		b    *body.Body
		want string
	}{
		{"flat", made(40, 100, ellipse), Disc},
		{"low", made(68, 100, ellipse), TransverseElliptical},
		{"slightly low", made(85, 100, ellipse), TransverseBroadEllipse},
		{"ball", made(100, 100, ellipse), Globular},
		{"egg-like but even", made(120, 100, ellipse), BroadElliptical},
		{"long", made(170, 100, ellipse), Elliptical},
		{"tube", made(230, 85, func(s float64) float64 { return math.Pow(ellipse(s), 0.2) }), Cylindrical},
		{"spinning top", made(130, 120, func(s float64) float64 {
			return math.Min(1, math.Sqrt(s/0.15)) * math.Min(1, 1.15-1.05*s) * math.Min(1, math.Sqrt((1-s)/0.02))
		}), TopShaped},
		{"bottle with a straight neck", made(215, 112, bulb(0.5, 0.66)), BottleShaped},
		{"long club", made(300, 90, func(s float64) float64 {
			return math.Min(1, math.Sqrt(s/0.04)) * (0.7 + 0.35*s) * math.Min(1, math.Sqrt((1-s)/0.06))
		}), ClubShaped},
		{"pear", made(170, 110, func(s float64) float64 {
			return math.Min(1, math.Sqrt(s/0.06)) * (0.45 + 0.75*s) * math.Min(1, math.Sqrt((1-s)/0.2))
		}), PearShaped},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			got := Of(c.b).Words
			if len(got) == 0 || got[0] != c.want {
				x := Of(c.b)
				t.Errorf("got %v, want %q first (ratio %.2f broadest %.2f neck %.2f taper %.2f fullness %.2f)", got, c.want, x.Ratio.V, x.BroadestAt.V, x.Neck.V, x.Taper.V, x.Fullness.V)
			}
		})
	}
}

func TestNearALimitNamesTwo(t *testing.T) {
	got := Of(made(107, 100, ellipse)).Words
	if !slices.Equal(got, []string{Globular, BroadElliptical}) {
		t.Errorf("ratio 1.07: got %v", got)
	}
}

func TestUprightHasNoLengthTraits(t *testing.T) {
	b := made(100, 100, ellipse)
	b.Pose = body.Upright
	x := Of(b)
	if !math.IsNaN(x.Ratio.V) || !math.IsNaN(x.Neck.V) || x.Words != nil || x.Profile != nil {
		t.Errorf("upright fruit: got %+v", x)
	}
}

func TestAt(t *testing.T) {
	p := []float64{0, 10, 20}
	for _, c := range []struct{ s, want float64 }{{-1, 0}, {0, 0}, {0.25, 5}, {0.5, 10}, {1, 20}, {2, 20}} {
		if got := At(p, c.s); got != c.want {
			t.Errorf("At(%v) = %v, want %v", c.s, got, c.want)
		}
	}
	if !math.IsNaN(At(nil, 0.5)) {
		t.Error("empty profile: want NaN")
	}
}
