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

// TestOneEndAtAPlace: a fruit seen from one end shows one end only; the other's sign is doubt.
func TestOneEndAtAPlace(t *testing.T) {
	at := func(x, y float64) *geom.Px { return &geom.Px{X: x, Y: y} }
	square := []geom.Px{{X: 0, Y: 0}, {X: 100, Y: 0}, {X: 100, Y: 100}, {X: 0, Y: 100}}
	for _, c := range []struct {
		name                       string
		stem, blossom              *geom.Px
		stemBy, blossomBy          float64
		stalk                      bool
		wantStem, wantBlossom      float64
		stemStays, blossomEndStays bool
	}{
		{"apart", at(50, 2), at(50, 98), 0.7, 0.7, false, 0.7, 0.7, true, true},
		{"stem likelier", at(50, 50), at(55, 50), 0.9, 0.3, false, 0.9, 0, true, false},
		{"blossom likelier", at(50, 50), at(55, 50), 0.2, 0.8, false, 0, 0.64, false, true},
		{"blossom seen faintly", at(50, 50), at(55, 50), 0.4, 0.45, false, 0, 0.4, false, true},
		{"a stalk decides", at(50, 50), at(55, 50), 0.3, 0.6, true, 0.4, 0, true, false},
	} {
		f := Fruit{Outline: square, StemBase: c.stem, Blossom: c.blossom, StemBy: c.stemBy, BlossomBy: c.blossomBy}
		if c.stalk {
			f.Stalk = square
		}
		f.oneEnd()
		if math.Abs(f.StemBy-c.wantStem) > 1e-9 || math.Abs(f.BlossomBy-c.wantBlossom) > 1e-9 || (f.StemBase != nil) != c.stemStays || (f.Blossom != nil) != c.blossomEndStays {
			t.Errorf("%s: stem %.3f, blossom %.3f; want %.3f, %.3f", c.name, f.StemBy, f.BlossomBy, c.wantStem, c.wantBlossom)
		}
	}
}

// TestStemSure: equal signs are near even odds, a clear one is sure, and it never claims certainty.
func TestStemSure(t *testing.T) {
	for _, c := range []struct{ stem, blossom, lo, hi float64 }{
		{0.3, 0.3, 0.4, 0.55}, {0.5, 0.1, 0.95, 0.97}, {0.1, 0.4, 0, 0.05}, {0, 0, 0.4, 0.55}, {0.95, 0, 0.97, 0.97},
	} {
		if v := stemSure(c.stem, c.blossom); v < c.lo || v > c.hi {
			t.Errorf("stem %.2f, blossom %.2f: %.3f, want %.2f to %.2f", c.stem, c.blossom, v, c.lo, c.hi)
		}
	}
}
