package colour_test

import (
	"math"
	"testing"

	"offtype/measure/colour"
	"offtype/pipeline/scene"
)

const scenes = "../../testdata/scenes"

func TestScenesCalibrate(t *testing.T) {
	for _, n := range scene.Names(scenes) {
		s, err := scene.Read(scenes, n)
		if err != nil {
			t.Fatal(err)
		}
		m, err := s.Load()
		if err != nil {
			t.Fatal(err)
		}
		c, err := colour.Calibrate(s.Samples(m), colour.Frame{Width: m.W, Height: m.H}, colour.DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%s: mean %.2f leave-one-out %.2f neutral %.2f uneven %.3f ok %v %v U %.2f", n, c.Mean, c.LeaveOut, c.Neutral, c.Uneven, c.OK, c.Reasons, c.U)
		if math.IsNaN(c.Mean) || !c.OK {
			t.Errorf("%s: %+v", n, c.Patches)
		}
	}
}
