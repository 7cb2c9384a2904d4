package segment

import (
	"math"
	"testing"

	"offtype/measure/geom"
	"offtype/pipeline/scene"
)

// TestEndsOnScenes compares stem and blossom ends with the truth, in units of the root of the
// fruit's area. Ends that are hidden (the truth lies on the far side) are left out.
func TestEndsOnScenes(t *testing.T) {
	if testing.Short() {
		t.Skip("takes half a minute")
	}
	net, err := LoadNet()
	if err != nil {
		t.Fatal(err)
	}
	defer net.Close()
	var stem, bloss []float64
	none, noBloss, n := 0, 0, 0
	for _, name := range scene.Names(sceneDir) {
		s, err := scene.Read(sceneDir, name)
		if err != nil {
			t.Fatal(err)
		}
		res, err := Find(readPhoto(t, s.Photo), net, keepOut(s), DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range res.Fruits {
			c := geom.Centroid(f.Outline)
			lab := s.Labels.GrayAt(int(c.X), int(c.Y)).Y
			for _, tf := range s.Fruits {
				if tf.Label != int(lab) {
					continue
				}
				n++
				size := math.Sqrt(geom.Area(f.Outline))
				at := func(p [2]float64) geom.Px { return geom.Px{X: p[0] - .5, Y: p[1] - .5} }
				if f.StemBase == nil {
					none++
				} else {
					d := f.StemBase.Sub(at(tf.StemPx)).Norm() / size
					stem = append(stem, d)
					if d > 0.2 {
						t.Logf("%s fruit %d at %.0f,%.0f (%s): stem end %.2f off, sure %.2f, stalk %v", name, f.Number, c.X, c.Y, tf.Pose, d, f.StemBy, len(f.Stalk) > 0)
					}
				}
				if f.Blossom == nil {
					noBloss++
				} else {
					d := f.Blossom.Sub(at(tf.BlossomPx)).Norm() / size
					bloss = append(bloss, d)
					if d > 0.3 {
						t.Logf("%s fruit %d at %.0f,%.0f (%s): blossom end %.2f off, sure %.2f", name, f.Number, c.X, c.Y, tf.Pose, d, f.BlossomBy)
					}
				}
			}
		}
	}
	t.Logf("%d fruit: stem end median %.3f p90 %.3f, %d without; blossom end median %.3f p90 %.3f, %d without", n, median(stem), p90(stem), none, median(bloss), p90(bloss), noBloss)
	if median(stem) > 0.12 {
		t.Errorf("stem ends are off by %.3f of the fruit's size in the median, want 0.12", median(stem))
	}
}
