package season

import (
	"math"
	"math/rand/v2"
	"testing"
)

func sampleOf(v ...float64) Sample {
	s := Sample{U: []float64{0}, Tagged: true}
	for _, x := range v {
		s.X = append(s.X, []float64{x})
		s.Lab = append(s.Lab, [3]float64{math.NaN(), math.NaN(), math.NaN()})
	}
	return s
}

// Computed step by step with scipy 1.10.1 (stats.t.ppf) from the formulas in the doc comment.
func TestLessControls(t *testing.T) {
	a, b := sampleOf(210, 214, 206, 220), sampleOf(230, 236, 228, 241, 233)
	r := LessControls(a, b, sampleOf(209, 213), sampleOf(221, 228, 225), 0, 0.95)
	for _, c := range []struct {
		what      string
		got, want float64
	}{{"shift", r.Shift, 13.6666666667}, {"from", r.ShiftLow, 4.0801188018}, {"to", r.ShiftHigh, 23.2532145308}, {"remains", r.Diff, 7.4333333333}, {"from", r.Low, -7.9121114792}, {"to", r.High, 22.7787781459}} {
		if math.Abs(c.got-c.want) > 1e-9*100 {
			t.Errorf("%s %.10f, want %.10f", c.what, c.got, c.want)
		}
	}
	if r = LessControls(a, b, sampleOf(209), sampleOf(221), 0, 0.95); !math.IsNaN(r.Low) || !math.IsNaN(r.ShiftLow) || r.Shift != 12 || math.Abs(r.Diff-9.1) > 1e-9 {
		t.Errorf("one control plant a year: %+v", r)
	}
	if r = LessControls(a, b, sampleOf(), sampleOf(221), 0, 0.95); !math.IsNaN(r.Diff) || r.NA != 0 {
		t.Errorf("no control plant: %+v", r)
	}
}

// The season moves all plants alike: the range of what remains leaves out 0 in no more than 5 of 100 pairs of harvests.
// Three standard errors of 4,000 pairs are 1.0 points.
func TestLessControlsHolds(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	draw := func(n int, shift float64) Sample {
		v := make([]float64, n)
		for i := range v {
			v[i] = shift + rng.NormFloat64()
		}
		return sampleOf(v...)
	}
	for _, n := range [][4]int{{20, 20, 2, 2}, {8, 8, 3, 3}, {4, 8, 3, 3}, {4, 8, 2, 2}, {20, 12, 1, 3}} {
		const pairs = 4000
		wrong := 0
		for range pairs {
			if r := LessControls(draw(n[0], 0), draw(n[1], 2), draw(n[2], 0), draw(n[3], 2), 0, 0.95); r.Low > 0 || r.High < 0 {
				wrong++
			}
		}
		if share := float64(wrong) / pairs; share > 0.06 {
			t.Errorf("%v plants: the seed is blamed for the season in %.1f of 100 pairs", n, 100*share)
		}
	}
}
