package colour_test

import (
	"math"
	"slices"
	"testing"

	"offtype/measure/colour"
	"offtype/pipeline/scene"
)

const scenes = "../../testdata/scenes"

// paperCast is how far bare paper is from neutral in the photo, read as plain sRGB (IEC 61966-2-1).
func paperCast(samples []colour.Sample) float64 {
	var x [3]float64
	for _, s := range samples {
		if s.Kind == colour.Paper {
			for k := range x {
				x[k] += colour.Linear(s.RGB[k] / 255)
			}
		}
	}
	return math.Hypot(math.Log(x[0]/x[1]), math.Log(x[2]/x[1]))
}

// TestScenesCalibrate: the cards of all scenes fit, and only a photo whose paper is clearly coloured gets a note; the
// renderer used the plain curve with an S of up to 0.2, so none may be noted for its tone.
func TestScenesCalibrate(t *testing.T) {
	const sure = 0.03 // between the paper's plain cast and the calibrated one: S-curve and channel matrix
	noted := 0
	for _, n := range scene.Names(scenes) {
		s, err := scene.Read(scenes, n)
		if err != nil {
			t.Fatal(err)
		}
		m, err := s.Load()
		if err != nil {
			t.Fatal(err)
		}
		samples := s.Samples(m)
		c, err := colour.Calibrate(samples, colour.Frame{Width: m.W, Height: m.H}, colour.DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%s: mean %.2f leave-one-out %.2f neutral %.2f uneven %.3f ok %v %v U %.2f", n, c.Mean, c.LeaveOut, c.Neutral, c.Uneven, c.OK, c.Reasons, c.U)
		if math.IsNaN(c.Mean) || !c.OK {
			t.Errorf("%s: %+v", n, c.Patches)
		}
		limit, cast := colour.DefaultOptions().NoteCast, paperCast(samples)
		t.Logf("%s: before %.1f, cast %.3f, plain %.3f, notes %v", n, c.Before, c.Cast, cast, c.Notes)
		if slices.Contains(c.Notes, "tone-curve-corrected") {
			t.Errorf("%s: noted for its tone", n)
		}
		cold := !slices.Contains(c.Notes, "strong-cast-corrected")
		if !cold {
			noted++
		}
		if cold && cast > limit+sure || !cold && cast < limit-sure {
			t.Errorf("%s: notes %v with a cast of %.3f of the paper", n, c.Notes, cast)
		}
	}
	if noted != 1 {
		t.Errorf("%d of 17 scenes noted for a cast: only one was lit by bulbs without the camera's correction", noted)
	}
}
