package scene

import (
	"math"
	"testing"

	"offtype/measure/geom"
)

// TestCameraReproducesTruth projects the stem ends and card corners with the camera built from
// the truth and compares with the pixels the renderer wrote (same camera, so rounding only).
func TestCameraReproducesTruth(t *testing.T) {
	const dir = "../../testdata/scenes"
	names := Names(dir)
	if len(names) == 0 {
		t.Fatal("no scenes in testdata/scenes")
	}
	for _, n := range names {
		s, err := Read(dir, n)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range s.Fruits {
			got := s.Camera.Project(s.World(f.StemMM))
			want := geom.Px{X: f.StemPx[0] - .5, Y: f.StemPx[1] - .5}
			if d := got.Sub(want).Norm(); d > 1e-6 || math.IsNaN(d) {
				t.Errorf("%s fruit %d: stem at %v, want %v", n, f.Index, got, want)
			}
		}
	}
}
