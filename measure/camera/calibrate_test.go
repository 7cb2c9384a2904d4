package camera

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"offtype/measure/geom"
	"offtype/pipeline/reftable"
)

// boardViews sees a 9 × 6 board of 25 mm squares from n places with noise sd px.
func boardViews(lens Camera, n int, tilt, sd float64, rnd *rand.Rand) []Board {
	var out []Board
	for i := range n {
		a := 2 * math.Pi * float64(i) / float64(n)
		at := geom.Vec3{X: 100 + tilt*math.Cos(a), Y: -62 + tilt*math.Sin(a), Z: 380 + 60*math.Sin(3*a)}
		c := lookAt(lens.Width, lens.Height, 26, at, geom.Vec3{X: 100 + 30*math.Sin(a), Y: -62}, 70*float64(i))
		c.Focal, c.CX, c.CY, c.K1, c.K2 = lens.Focal, lens.CX, lens.CY, lens.K1, lens.K2
		var b Board
		for y := range 6 {
			for x := range 9 {
				q := [2]float64{25 * float64(x), 25 * float64(y)}
				p := c.Project(geom.Vec3{X: q[0], Y: -q[1]})
				b.MM = append(b.MM, q)
				b.Px = append(b.Px, p.Add(geom.Px{X: sd * rnd.NormFloat64(), Y: sd * rnd.NormFloat64()}))
			}
		}
		out = append(out, b)
	}
	return out
}

func TestCalibrate(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	lens := Camera{Width: 1600, Height: 1200, Focal: 1230, CX: 806, CY: 590, K1: -0.12, K2: 0.06}
	c, err := Calibrate(boardViews(lens, 10, 200, 0, rnd), 1600, 1200)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(c.Focal-lens.Focal) > 1e-3 || math.Abs(c.CX-806) > 1e-3 || math.Abs(c.K1+0.12) > 1e-6 || math.Abs(c.K2-0.06) > 1e-5 || c.RMS > 1e-6 {
		t.Errorf("exact points: %+v", c)
	}
	c, err = Calibrate(boardViews(lens, 12, 200, 0.1, rnd), 1600, 1200)
	if err != nil {
		t.Fatal(err)
	}
	// two coordinates of 0.1 px each: RMS distance 0.141 less the fitted parameters' share
	if c.RMS < 0.13 || c.RMS > 0.15 {
		t.Errorf("RMS %.3f px of points with noise 0.1 px in x and y, want 0.141", c.RMS)
	}
	if z := math.Abs(c.Focal-lens.Focal) / c.FocalSD; z > 3.5 || c.FocalSD/c.Focal > 0.002 {
		t.Errorf("focal %.2f ± %.2f, truth %.2f", c.Focal, c.FocalSD, lens.Focal)
	}
}

func TestCalibrateRefuses(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	lens := Camera{Width: 1600, Height: 1200, Focal: 1230, CX: 799.5, CY: 599.5}
	if _, err := Calibrate(boardViews(lens, 2, 200, 0, rnd), 1600, 1200); !errors.Is(err, ErrBoards) {
		t.Errorf("two views: error %v", err)
	}
	// all views straight down: the focal length cannot be told
	var flat []Board
	for range 4 {
		flat = append(flat, boardViews(lens, 1, 0, 0.1, rnd)...)
	}
	if c, err := Calibrate(flat, 1600, 1200); err == nil && c.FocalSD < 0.02*c.Focal {
		t.Errorf("views without tilt gave focal %.1f ± %.1f", c.Focal, c.FocalSD)
	}
}

// Real corners against OpenCV's calibrateCamera with the same ones: its figures stand in the table's head, to half the
// last digit printed. Refined within 11 px, the corners of left02, whose squares are 22 px wide, jump to their
// neighbours: the focal length of all photos is then 0.6 % greater for either program. Without that photo it is 0.1 %.
func TestCalibrateLikeOpenCV(t *testing.T) {
	boards := map[string][]Board{}
	last := ""
	for _, r := range reftable.Records(t, "../../testdata/reference/chessboard_corners.csv") {
		w := r["window"]
		if key := w + r["photo"]; key != last {
			last = key
			if r["photo"] != "left02" {
				boards[w+" less left02"] = append(boards[w+" less left02"], Board{})
			}
			boards[w] = append(boards[w], Board{})
		}
		i := int(reftable.Num(t, r["corner"]))
		for _, name := range []string{w, w + " less left02"} {
			if name != w && r["photo"] == "left02" {
				continue
			}
			b := &boards[name][len(boards[name])-1]
			b.MM = append(b.MM, [2]float64{25 * float64(i%9), 25 * float64(i/9)})
			b.Px = append(b.Px, geom.Px{X: reftable.Num(t, r["x"]), Y: reftable.Num(t, r["y"])})
		}
	}
	for _, c := range []struct {
		name                          string
		focal, within, rms, withinRMS float64
	}{
		{"7", 532.940, 0.005, 0.1919, 0.0005},
		{"11", 536.271, 0.005, 0.4186, 0.0005},
		{"11 less left02", 533.46, 0.01, 0.242, 0.001},
	} {
		got, err := Calibrate(boards[c.name], 640, 480)
		if err != nil {
			t.Fatalf("window %s: %v", c.name, err)
		}
		if math.Abs(got.Focal-c.focal) > c.within || math.Abs(got.RMS-c.rms) > c.withinRMS {
			t.Errorf("window %s: focal %.3f px, residual %.4f px; OpenCV has %.3f and %.4f", c.name, got.Focal, got.RMS, c.focal, c.rms)
		}
	}
}
