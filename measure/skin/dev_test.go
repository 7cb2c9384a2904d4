package skin_test

import (
	"fmt"
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
			t.Log(judge(&f, &r[i]))
		}
	}
	t.Logf("median %.2f p95 %.2f", quantile(all, .5), quantile(all, .95))
}

func judge(f *scene.Fruit, r *skin.Result) string {
	want, share, de := "none", 0.0, 0.0
	if f.Second != nil {
		want = map[string]string{"mottle": "mottled"}[f.Second.Kind]
		if want == "" {
			want = f.Second.Kind
		}
		share = f.VisibleShare
		if r.Second != nil {
			de = colour.DeltaE2000(*r.Second, lab3(f.Second.Lab))
		}
	}
	t := "right"
	if want != string(r.Pattern) {
		t = "WRONG"
	}
	return fmt.Sprintf("    %s: %s want %s, share %.3f want %.3f, second dE %.1f, stripes %d, ribs %d (%d) %.2f (%.2f) rough %.3f %s, more %v", t, r.Pattern, want, r.SecondShare, share, de, r.Stripes, r.Ribs, f.Ribs, r.Groove, f.RibDepth, r.Rough, r.OnRibs, r.More)
}
