package skin_test

import (
	"os"
	"testing"
	"time"

	"offtype/measure/colour"
	"offtype/measure/skin"
	"offtype/pipeline/scene"
)

func TestProbe(t *testing.T) {
	var all []float64
	for _, n := range scene.Names(scenes) {
		if want := os.Getenv("SCENE"); want != "" && n != want {
			continue
		}
		l := load(t, n)
		skin.Debug = func(f0 float64, l [9][3]float64) { t.Logf("f0 %.4f %.2f", f0, l) }
		t0 := time.Now()
		dump := skin.Dumps()
		r := skin.Measure(&l.in, skin.DefaultOptions())
		t.Logf("%s %v", n, time.Since(t0))
		for i, f := range l.s.Fruits {
			g := r[i].Main
			w := lab3(f.GroundLab)
			d := colour.DeltaE2000(g, w)
			all = append(all, d)
			t.Log(dump[i])
			t.Logf("%-24s %2d dE %5.2f  dL %5.1f da %5.1f db %5.1f  true %5.1f %5.1f %5.1f", n, i, d, g.L-w.L, g.A-w.A, g.B-w.B, w.L, w.A, w.B)
		}
	}
	t.Logf("median %.2f p95 %.2f", quantile(all, .5), quantile(all, .95))
}
