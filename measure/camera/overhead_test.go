package camera

import (
	"math"
	"testing"

	"offtype/measure/geom"
)

// TestOverheadScale: a known length comes back, the origin is the pixel asked for, X is right and Y
// away in the picture, in closed form height = focal · mm per px.
func TestOverheadScale(t *testing.T) {
	l := LensFrom35(26, 2000, 1500)
	at := geom.Px{X: 300, Y: 1100}
	s := Overhead(2000, 1500, l, at, 0.4, 0.01)
	c := &s.Camera
	if z := c.Centre().Z; math.Abs(z-0.4*c.Focal) > 1e-9 {
		t.Errorf("height %g, want %g", z, 0.4*c.Focal)
	}
	if o, ok := c.OnPlane(at, 0); !ok || o.Norm() > 1e-9 {
		t.Errorf("origin lies at %v", o)
	}
	a, _ := c.OnPlane(geom.Px{X: 400, Y: 1000}, 0)
	if math.Abs(a.X-40) > 1e-9 || math.Abs(a.Y-40) > 1e-9 {
		t.Errorf("100 px right and up is %v mm, want 40, 40", a)
	}
	// scale 1 %, tilt 7° and lens: the tilt dominates this far from the middle
	if sd := scaleSD(s, at, 0); sd < 0.01 || sd > 0.08 {
		t.Errorf("relative standard deviation of scale %g", sd)
	}
	if far := scaleSD(s, geom.Px{X: 1900, Y: 100}, 0); far < scaleSD(s, at, 0) {
		t.Errorf("scale is surer far away: %g", far)
	}
}

// TestOverheadTiltMode: turning the camera about the coin keeps the coin where it was and tilts by 7°.
func TestOverheadTiltMode(t *testing.T) {
	l := LensFrom35(26, 2000, 1500)
	l.Focal.SD, l.K1.SD = 1e-9, 1e-12
	at := geom.Px{X: 300, Y: 1100}
	s := Overhead(2000, 1500, l, at, 0.4, 0)
	for i, m := range s.Modes(2) {
		if d := m.Project(geom.Vec3{}).Sub(at).Norm(); d > 24 { // second order of 7°
			t.Errorf("mode %d moves the coin by %g px", i, d)
		}
		if a := m.TiltDeg(); math.Abs(a-7) > 0.3 {
			t.Errorf("mode %d tilts by %g°", i, a)
		}
	}
}
