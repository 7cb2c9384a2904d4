package segment

import (
	"math"
	"os"
	"sort"
	"strings"
	"testing"
	"time"

	"offtype/measure/geom"
	"offtype/pipeline/scene"
)

// TestScenesSimulatedMaps runs everything after the network on the rendered scenes.
func TestScenesSimulatedMaps(t *testing.T) {
	only := os.Getenv("SEGMENT_SCENE")
	for _, name := range scene.Names(sceneDir) {
		if !strings.Contains(name, only) {
			continue
		}
		s, err := scene.Read(sceneDir, name)
		if err != nil {
			t.Fatal(err)
		}
		im := readPhoto(t, s.Photo)
		l := sceneLabels(s)
		t0 := time.Now()
		opt := DefaultOptions()
		opt.Refine = false
		c := compare(l, FromMaps(im, simulated(l, s.Fruits, 1, 7), nil, opt).Fruits)
		opt.Refine = true
		m := simulated(l, s.Fruits, 1, 7)
		t1 := time.Now()
		res := FromMaps(im, m, nil, opt)
		t2 := time.Since(t1)
		r := compare(l, res.Fruits)
		var stems []geom.Px
		for _, f := range s.Fruits {
			stems = append(stems, geom.Px{X: f.StemPx[0] - .5, Y: f.StemPx[1] - .5})
		}
		e, per := edgeErrors(l, res.Fruits, stems)
		t.Logf("   free edge: mean %+.3f sd %.3f p90 %.2f | per fruit %.2f", mean(e), sd(e), p90(e), per)
		t.Logf("%-24s true %2d found %2d extra %d  overlap %.4f worst %.4f | coarse %.4f | bias %+.3f | %v of %v", name, r.truth, r.found, r.extra, r.iou, r.worst, c.iou, mean(r.bias), t2, time.Since(t0))
		savePictures(t, name, im, l, res)
		if testing.Verbose() && only != "" {
			for i, b := range r.bias {
				t.Logf("  label %d bias %+.3f", r.names[i], b)
			}
			for _, f := range res.Fruits {
				t.Logf("  conf %.2f sigma %.3f upright %.2f notes %v", f.Confidence, f.SigmaPx, f.UprightScore, f.Notes)
			}
			for _, f := range res.Rejected {
				t.Logf("  rejected %s", f.Reason)
			}
		}
		if r.found != r.truth || r.extra != 0 {
			t.Errorf("%s: found %d of %d, %d extra", name, r.found, r.truth, r.extra)
		}
	}
}

func mean(v []float64) float64 {
	s := 0.0
	for _, x := range v {
		s += x
	}
	return s / float64(max(1, len(v)))
}

func sd(v []float64) float64 {
	m, s := mean(v), 0.0
	for _, x := range v {
		s += (x - m) * (x - m)
	}
	return math.Sqrt(s / float64(max(1, len(v))))
}

// p90 is the 90th percentile of |v|.
func p90(v []float64) float64 {
	a := make([]float64, len(v))
	for i, x := range v {
		a[i] = math.Abs(x)
	}
	sort.Float64s(a)
	if len(a) == 0 {
		return 0
	}
	return a[len(a)*9/10]
}
