package body

import (
	"math"
	"testing"

	"offtype/measure/camera"
	"offtype/measure/geom"
)

// Constructed geometry: three fruit in two photos, the second photo's camera moved by one and a half standard
// uncertainties. The outlines bring it back; a table whose fruit are seen once says nothing.
func TestRefineTable(t *testing.T) {
	low, high := tilted(1200, 0.12), tilted(1250, -0.3)
	modes := func(c camera.Camera) []camera.Camera {
		focal, tilt := c, c
		focal.Focal *= 1.01
		focal.T = geom.Vec3{}
		focal.T = focal.ToCamera(c.Centre().Scale(-1.004)) // farther away with the longer lens
		s, k := math.Sincos(0.002)
		for i := range tilt.R[1] {
			tilt.R[1][i], tilt.R[2][i] = k*c.R[1][i]-s*c.R[2][i], s*c.R[1][i]+k*c.R[2][i]
		}
		tilt.T = geom.Vec3{}
		tilt.T = tilt.ToCamera(c.Centre().Scale(-1))
		return []camera.Camera{focal, tilt}
	}
	wrong := camera.Mix(high, modes(high), []float64{0, 1.5})
	var bodies []*Body
	var seen [][]int
	for i, yaw := range []float64{0.3, 1.4, 2.5} {
		m := bulb()
		m.p[pYaw], m.p[pX], m.p[pY] = yaw, 250*float64(i-1), 120*float64(i%2)
		m.update()
		b, err := Fit([]View{
			{Camera: low, Outline: outline(m, &low), SigmaPx: 0.4},
			{Camera: wrong, Outline: outline(m, &high), SigmaPx: 0.4},
		}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		bodies, seen = append(bodies, b), append(seen, []int{0, 1})
	}
	shots := []Shot{{low, modes(low)[:1]}, {wrong, modes(wrong)}}
	moved, ok := RefineTable(bodies, shots, seen)
	if !ok {
		t.Fatal("not refined")
	}
	at := geom.Vec3{X: 100, Y: 80, Z: 50}
	off := func(c camera.Camera) float64 { return c.Project(at).Sub(high.Project(at)).Norm() }
	if before, after := off(wrong), off(moved[1].Camera); before < 1 || after > 0.35*before {
		t.Errorf("second camera %.2f px off, before %.2f", after, before)
	}
	if a, b := moved[1].Modes[1].Project(at).Sub(moved[1].Camera.Project(at)).Norm(), off(camera.Mix(high, modes(high), []float64{0, 1})); a > 0.7*b {
		t.Errorf("what remains of the tilt's uncertainty moves the point by %.2f px, before %.2f", a, b)
	}
	one := append([]*Body(nil), bodies[0])
	one[0].views = one[0].views[:1]
	if _, ok := RefineTable(one, shots, [][]int{{0}}); ok {
		t.Error("one view ties no photos together")
	}
}
