package camera

import (
	"math"
	"testing"

	"offtype/measure/geom"
)

// Round trips: a whole share of one mode is that mode, half of it twice as well, none is the base.
func TestMix(t *testing.T) {
	base := lookAt(2400, 1800, 26, geom.Vec3{X: 100, Y: -300, Z: 1200}, geom.Vec3{}, 10)
	base.K1 = 0.01
	a := base.moved([]float64{0.004, 0.001, 2, -1, 0.003, -0.002, 0.001, 3, -4, 5})
	b := base.moved([]float64{-0.002, 0, 0, 1, -0.001, 0.002, 0.002, -1, 2, 1})
	p := geom.Vec3{X: 60, Y: 150, Z: 40}
	off := func(x, y Camera) float64 { return x.Project(p).Sub(y.Project(p)).Norm() }
	modes := []Camera{a, b}
	if d := off(Mix(base, modes, nil), base); d > 1e-9 {
		t.Errorf("no share moves the point by %g px", d)
	}
	if d := off(Mix(base, modes, []float64{1}), a); d > 1e-3 {
		t.Errorf("the whole of mode 0 is off by %g px", d)
	}
	half := Mix(base, modes, []float64{0.5})
	if d := off(Mix(half, []Camera{Mix(a, []Camera{base}, []float64{0})}, []float64{1}), a); d > 1e-3 {
		t.Errorf("half and the rest are off by %g px", d)
	}
	both, want := Mix(base, modes, []float64{1, 1}), base.Project(p).Add(a.Project(p).Sub(base.Project(p))).Add(b.Project(p).Sub(base.Project(p)))
	if d := both.Project(p).Sub(want).Norm(); d > 0.1 || math.IsNaN(d) {
		t.Errorf("two modes add up to %g px beside", d)
	}
}
