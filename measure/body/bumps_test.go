package body

import (
	"math"
	"testing"

	"offtype/measure/geom"
)

// warty is a ball of 100 mm below the camera with 26 bumps of the given height all around its outline, mm.
func warty(high float64) View {
	cam := nadir(1200)
	k := 1 / math.Sqrt(1-100.0/1200)
	v := View{Camera: cam, SigmaPx: 0.15}
	for i := 0; i < 720; i++ {
		th := 2 * math.Pi * float64(i) / 720
		r := 50 + high*math.Max(0, math.Sin(26*th)+0.6*math.Sin(7.3*th))
		s, c := math.Sincos(th)
		v.Outline = append(v.Outline, cam.Project(geom.Vec3{X: k * r * c, Y: k * r * s}))
	}
	return v
}

// Callipers rest on bumps: over a ball with bumps of 2 mm on either side they show about 104 mm, more than the smooth
// body through the bumps (102.9), and at most
// 106.4, over two of the highest; a smooth ball stays as wide as it is.
func TestCallipersRestOnBumps(t *testing.T) {
	b, err := Fit([]View{warty(2)}, Options{Pose: Side})
	if err != nil {
		t.Fatal(err)
	}
	if b.Width.V < 103.5 || b.Width.V > 106.4 || b.Width.U < 1 {
		t.Errorf("width %v over bumps on a ball of 100 mm", b.Width)
	}
	if b, err = Fit([]View{warty(0)}, Options{Pose: Side}); err != nil {
		t.Fatal(err)
	}
	if math.Abs(b.Width.V-100) > 0.3 {
		t.Errorf("width %v of a smooth ball, want 100", b.Width)
	}
}
