package skin_test

import (
	"math"
	"testing"

	"offtype/measure/colour"
	"offtype/measure/skin"
	"offtype/pipeline/scene"
)

// truthPattern returns the painted pattern in this package's words.
func truthPattern(f *scene.Fruit) skin.Pattern {
	switch {
	case f.Second == nil:
		return skin.None
	case f.Second.Kind == "mottle":
		return skin.Mottled
	}
	return skin.Pattern(f.Second.Kind)
}

// TestScenes measures every fruit of the rendered scenes with true outlines and fitted bodies and holds the figures
// to the project's own aims; the truth is what the renderer painted.
func TestScenes(t *testing.T) {
	if testing.Short() {
		t.Skip("reads 17 photos")
	}
	const (
		mainMedian, mainP95 = 1.5, 4.0 // ΔE00
		secondMedian        = 5.0      // ΔE00
		shareMedian         = 0.06
		patternsRight       = 0.97
	)
	var main, second, share []float64
	right, all := 0, 0
	smooth, ribbed, near, called := 0, 0, 0, 0
	for _, n := range scene.Names(scenes) {
		l := load(t, n)
		r := skin.Measure(&l.in, skin.DefaultOptions())
		for i := range l.s.Fruits {
			f := &l.s.Fruits[i]
			if !r[i].OK {
				t.Errorf("%s fruit %d: %v", n, i, r[i].Notes)
				continue
			}
			truth := lab3(f.GroundLab)
			d := colour.DeltaE2000(r[i].Main, truth)
			main = append(main, d)
			if d > 4 {
				t.Logf("%s fruit %d: main colour %.1f, painted %.1f, ΔE00 %.1f", n, i, r[i].Main, truth, d)
			}
			all++
			switch {
			case f.Ribs == 0 && r[i].Ribs > 0:
				called++
				fallthrough
			case f.Ribs == 0:
				smooth++
			case r[i].Ribs > 0 && math.Abs(float64(r[i].Ribs-f.Ribs)) <= 2:
				near++
				fallthrough
			case r[i].Ribs > 0:
				ribbed++
			}
			if want := truthPattern(f); r[i].Pattern == want {
				right++
			} else {
				t.Logf("%s fruit %d: pattern %s, painted %s", n, i, r[i].Pattern, want)
				if n == "dev-9-patterns" {
					t.Errorf("%s fruit %d: pattern %s, painted %s", n, i, r[i].Pattern, want)
				}
			}
			if f.Second != nil {
				share = append(share, math.Abs(r[i].SecondShare-f.VisibleShare))
				if r[i].Second != nil {
					second = append(second, colour.DeltaE2000(*r[i].Second, lab3(f.Second.Lab)))
				}
			}
		}
	}
	t.Logf("%d fruit: main ΔE00 median %.2f, 95th percentile %.2f; second median %.2f, share median %.3f; patterns %d right",
		all, quantile(main, .5), quantile(main, .95), quantile(second, .5), quantile(share, .5), right)
	t.Logf("ribs: %d of %d smooth fruit called ribbed; %d of %d ribbed fruit seen, %d of them to 2 ribs", called, smooth, ribbed, all-smooth, near)
	check := func(what string, got, limit float64) {
		if !(got <= limit) {
			t.Errorf("%s: %.2f, allowed %.2f", what, got, limit)
		}
	}
	check("main colour, median", quantile(main, .5), mainMedian)
	check("main colour, 95th percentile", quantile(main, .95), mainP95)
	check("secondary colour, median", quantile(second, .5), secondMedian)
	check("share, median", quantile(share, .5), shareMedian)
	if float64(right) < patternsRight*float64(all) {
		t.Errorf("%d of %d patterns right", right, all)
	}
}
