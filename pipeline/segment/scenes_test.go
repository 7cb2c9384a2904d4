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

// TestScenesNetwork runs the whole way, network included, on the rendered scenes.
func TestScenesNetwork(t *testing.T) {
	if testing.Short() {
		t.Skip("takes half a minute")
	}
	net, err := LoadNet()
	if err != nil {
		t.Fatal(err)
	}
	defer net.Close()
	only := os.Getenv("SEGMENT_SCENE")
	truth, found, extra, worst, sum := 0, 0, 0, 1.0, 0.0
	var gaps, conf []float64
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
		res, err := Find(im, net, keepOut(s), DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		took := time.Since(t0)
		r := compare(l, res.Fruits)
		e, per := edgeErrors(l, res.Fruits, stemPoints(s))
		t.Logf("%-24s true %2d found %2d extra %d  overlap %.4f worst %.4f | free edge %+.3f sd %.2f p90 %.2f | %v", name, r.truth, r.found, r.extra, r.iou, r.worst, mean(e), sd(e), p90(e), took)
		savePictures(t, name, im, l, res)
		if only != "" {
			report(t, res, r, per)
		}
		truth, found, extra, worst = truth+r.truth, found+r.found, extra+r.extra, min(worst, r.worst)
		sum += r.iou * float64(r.found)
		for _, f := range res.Fruits {
			conf = append(conf, f.Confidence)
		}
		for _, v := range e {
			gaps = append(gaps, math.Abs(v))
		}
	}
	t.Logf("all: true %d found %d extra %d overlap %.4f worst %.4f median |edge error| %.2f px", truth, found, extra, sum/float64(max(1, found)), worst, median(gaps))
	sort.Float64s(conf)
	t.Logf("confidence: lowest %.2f", conf[:min(12, len(conf))])
	if found != truth || extra != 0 {
		t.Errorf("found %d of %d, %d extra", found, truth, extra)
	}
	if mean := sum / float64(max(1, found)); mean < 0.975 || worst < 0.92 {
		t.Errorf("overlap %.4f, worst %.4f; want 0.975 and 0.92", mean, worst)
	}
}

func report(t *testing.T, res *Result, r score, per []float64) {
	for i, b := range r.bias {
		t.Logf("  truth %d overlap %.3f, area off by %+.3f px a side", r.names[i], r.each[i], b)
	}
	for i, f := range res.Fruits {
		c := geom.Centroid(f.Outline)
		t.Logf("  fruit %d (%.0f,%.0f) edge %+.2f conf %.2f sigma %.3f upright %.2f stem %.2f blossom %.2f stalk %v notes %v", f.Number, c.X, c.Y, per[i], f.Confidence, f.SigmaPx, f.UprightScore, f.StemBy, f.BlossomBy, len(f.Stalk) > 0, f.Notes)
	}
	for _, f := range res.Rejected[:min(12, len(res.Rejected))] {
		t.Logf("  rejected %v: %s", geom.Centroid(f.Outline), f.Reason)
	}
}

// keepOut returns the card outlines of a scene, as the card finder gives them.
func keepOut(s *scene.Scene) (out [][]geom.Px) {
	for _, c := range s.Cards {
		var q []geom.Px
		for _, p := range c.CornersPx {
			q = append(q, geom.Px{X: p[0] - .5, Y: p[1] - .5})
		}
		out = append(out, q)
	}
	return
}

func stemPoints(s *scene.Scene) (out []geom.Px) {
	for _, f := range s.Fruits {
		out = append(out, geom.Px{X: f.StemPx[0] - .5, Y: f.StemPx[1] - .5})
	}
	return
}

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
		e, per := edgeErrors(l, res.Fruits, stemPoints(s))
		t.Logf("   free edge: mean %+.3f sd %.3f p90 %.2f | per fruit %.2f", mean(e), sd(e), p90(e), per)
		t.Logf("%-24s true %2d found %2d extra %d  overlap %.4f worst %.4f | coarse %.4f | bias %+.3f | %v of %v", name, r.truth, r.found, r.extra, r.iou, r.worst, c.iou, mean(r.bias), t2, time.Since(t0))
		savePictures(t, name, im, l, res)
		if only != "" {
			report(t, res, r, per)
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
