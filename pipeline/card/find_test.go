package card

import (
	"encoding/json"
	"errors"
	"image"
	_ "image/jpeg"
	"math"
	"os"
	"slices"
	"sort"
	"strings"
	"testing"

	"offtype/measure/camera"
	"offtype/measure/geom"
	"offtype/pipeline/scene"
	"offtype/pipeline/vision"
)

func readPicture(t testing.TB, path string) Picture {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	m, _, err := image.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	return fromImage(m)
}

func fromImage(m image.Image) Picture {
	b := m.Bounds()
	p := Picture{W: b.Dx(), H: b.Dy(), RGB: make([]uint8, 3*b.Dx()*b.Dy())}
	i := 0
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			r, g, bb, _ := m.At(x, y).RGBA()
			p.RGB[i], p.RGB[i+1], p.RGB[i+2] = uint8(r>>8), uint8(g>>8), uint8(bb>>8)
			i += 3
		}
	}
	return p
}

// exif35 is what the renderer wrote: the focal length rounded to a whole millimetre.
func exif35(c *camera.Camera) float64 {
	return math.Round(camera.FocalMM35(c.Focal, c.Width, c.Height))
}

// worstScale returns the greatest relative error of mm per px over a grid of the frame.
func worstScale(got, want *camera.Camera, z float64) (worst float64) {
	for i := 0; i <= 4; i++ {
		for j := 0; j <= 4; j++ {
			p := geom.Px{X: float64(i) / 4 * float64(want.Width-1), Y: float64(j) / 4 * float64(want.Height-1)}
			for _, d := range []geom.Px{{X: 40}, {Y: 40}} {
				if i == 4 || j == 4 {
					d = d.Scale(-1)
				}
				l := func(c *camera.Camera) float64 {
					a, _ := c.OnPlane(p, z)
					b, _ := c.OnPlane(p.Add(d), z)
					return b.Sub(a).Norm()
				}
				if e := math.Abs(l(got)/l(want) - 1); e > worst {
					worst = e
				}
			}
		}
	}
	return worst
}

// TestScenes finds cards, tags and camera in all scenes and compares with the renderer's truth.
// The limits are about twice the worst value measured, so that a change for the worse fails.
func TestScenes(t *testing.T) {
	const dir = "../../testdata/scenes"
	names := scene.Names(dir)
	if len(names) == 0 {
		t.Fatal("no scenes in testdata/scenes")
	}
	var zz, nz float64
	for _, n := range names {
		s, err := scene.Read(dir, n)
		if err != nil {
			t.Fatal(err)
		}
		im := readPicture(t, s.Photo)
		f, err := FindIn(im, Options{Lens: camera.LensFrom35(exif35(&s.Camera), im.W, im.H)})
		if err != nil {
			t.Errorf("%s: %v", n, err)
			continue
		}
		c := &f.Camera
		sf, sk, _ := f.Solution.SD()
		inner := innerScale(c, &s.Camera)
		w0 := worstScale(c, &s.Camera, 0)
		w60 := worstScale(c, &s.Camera, 60)
		z := (math.Log(s.Camera.Focal) - math.Log(c.Focal)) * c.Focal / sf
		zz, nz = zz+z*z, nz+1
		t.Logf("%-24s residual %.3f px, focal %+.2f %% (sd %.2f), k1 %+.4f (sd %.4f), height %+.2f %%, scale: middle %.2f %%, frame's corners %.2f %%, at 60 mm %.2f %%, %v",
			n, f.ResidualPx, 100*(c.Focal/s.Camera.Focal-1), 100*sf/c.Focal, c.K1-s.Camera.K1, sk,
			100*(c.Centre().Z/s.Camera.Centre().Z-1), 100*inner, 100*w0, 100*w60, f.Notes)
		if inner > 0.008 || w0 > 0.02 || f.ResidualPx > 0.1 {
			t.Errorf("%s: scale error %.2f %% in the middle, %.2f %% at the frame, residual %.3f px", n, 100*inner, 100*w0, f.ResidualPx)
		}
		checkSheets(t, s, f)
	}
	if r := math.Sqrt(zz / nz); r > 1.5 {
		t.Errorf("focal lengths are off by %.2f stated standard deviations", r)
	}
}

// innerScale returns the greatest relative error of mm per px at nine places of the frame's middle.
func innerScale(got, want *camera.Camera) float64 {
	worst := 0.0
	for _, u := range []float64{0.25, 0.5, 0.75} {
		for _, v := range []float64{0.25, 0.5, 0.75} {
			p := geom.Px{X: u * float64(want.Width), Y: v * float64(want.Height)}
			g, _ := got.OnPlane(p, 0)
			w, _ := want.OnPlane(p, 0)
			worst = math.Max(worst, math.Abs(got.MMPerPx(g)/want.MMPerPx(w)-1))
		}
	}
	return worst
}

// checkSheets compares the cards' cut corners and the tags' centres with the truth, px. The truth
// has its origin at the corner of the top-left pixel.
func checkSheets(t *testing.T, s *scene.Scene, f *Found) {
	t.Helper()
	if len(f.Cards) != len(s.Cards) {
		t.Errorf("%s: %d cards, truth %d", s.Name, len(f.Cards), len(s.Cards))
		return
	}
	for i, k := range s.Cards {
		if f.Cards[i].Number != k.Number || f.Cards[i].Markers != 4 || len(f.Cards[i].Patches) != 18 || len(f.Cards[i].Paper) < 40 {
			t.Errorf("%s: card %d with %d markers, %d patches, %d paper places; truth is card %d", s.Name,
				f.Cards[i].Number, f.Cards[i].Markers, len(f.Cards[i].Patches), len(f.Cards[i].Paper), k.Number)
		}
		for j, q := range k.CornersPx {
			if d := f.Cards[i].Quad[j].Sub(geom.Px{X: q[0] - 0.5, Y: q[1] - 0.5}).Norm(); d > 0.15 {
				t.Errorf("%s: corner %d of card %d is %.3f px away", s.Name, j, k.Number, d)
			}
		}
	}
	b, err := os.ReadFile("../../testdata/scenes/" + s.Name + ".truth.json")
	if err != nil {
		t.Fatal(err)
	}
	var truth struct {
		Tags []struct {
			Plant int        `json:"plant"`
			Px    [2]float64 `json:"px"`
		} `json:"tags"`
	}
	if err := json.Unmarshal(b, &truth); err != nil {
		t.Fatal(err)
	}
	if len(truth.Tags) != len(f.Tags) {
		t.Errorf("%s: %d tags, truth %d", s.Name, len(f.Tags), len(truth.Tags))
		return
	}
	sort.Slice(truth.Tags, func(i, j int) bool { return truth.Tags[i].Plant < truth.Tags[j].Plant })
	for i, g := range truth.Tags {
		if d := f.Tags[i].Px.Sub(geom.Px{X: g.Px[0] - 0.5, Y: g.Px[1] - 0.5}).Norm(); f.Tags[i].Plant != g.Plant || d > 0.3 {
			t.Errorf("%s: tag %d, %.2f px from the truth's tag %d", s.Name, f.Tags[i].Plant, d, g.Plant)
		}
	}
}

// TestCardLength: a card said to be 2 % larger makes everything 2 % larger.
func TestCardLength(t *testing.T) {
	s, err := scene.Read("../../testdata/scenes", "dev-2-fabric-oblique")
	if err != nil {
		t.Fatal(err)
	}
	im := readPicture(t, s.Photo)
	o := Options{Lens: camera.LensFrom35(26, im.W, im.H)}
	a, err := FindIn(im, o)
	if err != nil {
		t.Fatal(err)
	}
	o.LengthMM = 102
	b, err := FindIn(im, o)
	if err != nil {
		t.Fatal(err)
	}
	if r := b.MMPerPx / a.MMPerPx; math.Abs(r-1.02) > 1e-4 {
		t.Errorf("scale changed by a factor %.5f, want 1.02", r)
	}
	for _, bad := range []float64{-1, 3, 1000, math.NaN()} {
		o.LengthMM = bad
		if _, err := FindIn(im, o); err == nil {
			t.Errorf("card length %g was accepted", bad)
		}
	}
}

// TestCovered paints over parts of the card: with two markers left it is found and the covered
// patches are left out; with one left, or none, the error says so.
func TestCovered(t *testing.T) {
	s, err := scene.Read("../../testdata/scenes", "demo-2026-table-1")
	if err != nil {
		t.Fatal(err)
	}
	im := readPicture(t, s.Photo)
	o := Options{Lens: camera.LensFrom35(exif35(&s.Camera), im.W, im.H)}
	for _, c := range []struct {
		name           string
		x0, y0, x1, y1 float64 // covered part of the card, mm
		hidden         int
		err            error
	}{
		{"left half", -5, -5, 125, 185, 9, nil},
		{"bottom half", -5, 90, 255, 185, 8, nil},
		{"one marker", 195, 125, 255, 185, 0, nil},
		{"all but one marker", 52, -5, 255, 185, 0, ErrPartCard},
		{"all", -5, -5, 255, 185, 0, ErrNoCard},
	} {
		p := Picture{W: im.W, H: im.H, RGB: append([]uint8(nil), im.RGB...)}
		y0, y1 := c.y0, c.y1
		if c.err == ErrPartCard { // leave the top left marker only
			paint(&p, &s.Camera, -5, 52, 52, 185)
		}
		paint(&p, &s.Camera, c.x0, y0, c.x1, y1)
		f, err := FindIn(p, o)
		if c.err != nil {
			if !errors.Is(err, c.err) {
				t.Errorf("%s: error %v, want %v", c.name, err, c.err)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if e := innerScale(&f.Camera, &s.Camera); e > 0.01 || len(f.Cards[0].Hidden) != c.hidden || f.Cards[0].Markers > 3 {
			t.Errorf("%s: scale error %.2f %%, hidden %v, %d markers", c.name, 100*e, f.Cards[0].Hidden, f.Cards[0].Markers)
		}
	}
}

// paint covers a part of the first card with a brown rectangle.
func paint(p *Picture, c *camera.Camera, x0, y0, x1, y1 float64) {
	var poly []geom.Px
	for _, q := range [][2]float64{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}} {
		poly = append(poly, c.Project(geom.Vec3{X: q[0], Y: -q[1]}))
	}
	lo, hi := geom.Bounds(poly)
	for y := max(0, int(lo.Y)); y <= min(p.H-1, int(hi.Y)); y++ {
		for x := max(0, int(lo.X)); x <= min(p.W-1, int(hi.X)); x++ {
			if geom.Contains(poly, geom.Px{X: float64(x), Y: float64(y)}) {
				copy(p.RGB[3*(y*p.W+x):], []uint8{120, 90, 60})
			}
		}
	}
}

// TestTurnedAndReduced: the same photo upside down and at half its size gives the same table.
func TestTurnedAndReduced(t *testing.T) {
	s, err := scene.Read("../../testdata/scenes", "demo-2026-table-1")
	if err != nil {
		t.Fatal(err)
	}
	im := readPicture(t, s.Photo)
	o := Options{Lens: camera.LensFrom35(exif35(&s.Camera), im.W, im.H)}
	f, err := FindIn(im, o)
	if err != nil {
		t.Fatal(err)
	}
	turned := Picture{W: im.W, H: im.H, RGB: make([]uint8, len(im.RGB))}
	for i := 0; i < im.W*im.H; i++ {
		copy(turned.RGB[3*i:], im.RGB[3*(im.W*im.H-1-i):][:3])
	}
	g, err := FindIn(turned, o)
	if err != nil {
		t.Fatal(err)
	}
	if d := g.Camera.Centre().Sub(f.Camera.Centre()).Norm(); d > 1 {
		t.Errorf("upside down the camera stands %.2f mm elsewhere", d)
	}
	half, err := vision.Reduce(im.RGB, im.W, im.H, 3, im.W/2, im.H/2)
	if err != nil {
		t.Fatal(err)
	}
	h, err := FindIn(Picture{W: im.W / 2, H: im.H / 2, RGB: half}, Options{Lens: camera.LensFrom35(exif35(&s.Camera), im.W/2, im.H/2)})
	if err != nil {
		t.Fatal(err)
	}
	if r := h.MMPerPx / f.MMPerPx / 2; math.Abs(r-1) > 0.002 || len(h.Tags) != len(f.Tags) {
		t.Errorf("half size: scale off by a factor %.4f, %d tags", r, len(h.Tags))
	}
}

// TestWrongLens: a photo whose Exif is a third off, or that was cut out of a larger one, is noticed:
// the card overrules, and the stated uncertainty covers what is left.
func TestWrongLens(t *testing.T) {
	s, err := scene.Read("../../testdata/scenes", "dev-2-fabric-oblique")
	if err != nil {
		t.Fatal(err)
	}
	im := readPicture(t, s.Photo)
	f, err := FindIn(im, Options{Lens: camera.LensFrom35(34, im.W, im.H), from: FromExif})
	if err != nil {
		t.Fatal(err)
	}
	if e := math.Abs(f.Camera.Focal/s.Camera.Focal - 1); e > 0.02 || f.FocalFrom != FromCard || !slices.Contains(f.Notes, NoteLensDoubted) {
		t.Errorf("wrong Exif: focal length %.1f %% off, from %s, notes %v", 100*e, f.FocalFrom, f.Notes)
	}
	other := camera.Lens{Focal: camera.Prior{Mean: 1998, SD: 6}, K1: camera.Prior{Mean: -0.29, SD: 0.002}, // a lens file of another camera
		CX: camera.Prior{Mean: 1285, SD: 1.5}, CY: camera.Prior{Mean: 875, SD: 1.5}, K2: 0.1}
	f, err = FindIn(im, Options{Lens: other, from: FromFile})
	if err != nil {
		t.Fatal(err)
	}
	if e := math.Abs(f.Camera.Focal/s.Camera.Focal - 1); e > 0.02 || innerScale(&f.Camera, &s.Camera) > 0.01 || !slices.Contains(f.Notes, NoteLensDoubted) {
		t.Errorf("another camera's lens file: focal length %.1f %% off, scale %.2f %%, notes %v", 100*e, 100*innerScale(&f.Camera, &s.Camera), f.Notes)
	}
	w, h := im.W*3/4, im.H*3/4
	cut := Picture{W: w, H: h, RGB: make([]uint8, 3*w*h)} // the lower left three quarters
	for y := range h {
		copy(cut.RGB[3*y*w:3*(y+1)*w], im.RGB[3*(y+im.H-h)*im.W:])
	}
	truth := s.Camera
	truth.Width, truth.Height, truth.CY = w, h, truth.CY-float64(im.H-h)
	f, err = FindIn(cut, Options{Lens: camera.LensFrom35(26, w, h), from: FromExif})
	if err != nil {
		t.Fatal(err)
	}
	sd, _, _ := f.Solution.SD()
	if z := math.Abs(f.Camera.Focal-truth.Focal) / sd; z > 3 || innerScale(&f.Camera, &truth) > 0.01 || !slices.Contains(f.Notes, NoteLensDoubted) {
		t.Errorf("cut-out: focal %.0f ± %.0f, truth %.0f, scale error %.2f %%, notes %v", f.Camera.Focal, sd, truth.Focal, 100*innerScale(&f.Camera, &truth), f.Notes)
	}
}

func TestNoCard(t *testing.T) {
	im := Picture{W: 160, H: 120, RGB: make([]uint8, 3*160*120)}
	for i := range im.RGB {
		im.RGB[i] = uint8(i * 7 % 251)
	}
	if _, err := FindIn(im, Options{}); !errors.Is(err, ErrNoCard) || !NoScale(err) {
		t.Errorf("error %v, want ErrNoCard, which is a want of scale", err)
	}
	if NoScale(nil) || NoScale(os.ErrPermission) {
		t.Error("other errors are no want of scale")
	}
	if _, err := FindIn(Picture{W: 160, H: 120, RGB: im.RGB[:30]}, Options{}); err == nil {
		t.Error("a picture that lacks pixels was accepted")
	}
	if _, err := FindIn(Picture{W: 1, H: 1, RGB: im.RGB[:3]}, Options{}); err == nil || !strings.Contains(err.Error(), "only 1 × 1 px; take") {
		t.Errorf("a picture of one pixel: %v", err)
	}
}

func BenchmarkFind(b *testing.B) {
	s, err := scene.Read("../../testdata/scenes", "demo-2026-table-1")
	if err != nil {
		b.Fatal(err)
	}
	im := readPicture(b, s.Photo)
	o := Options{Lens: camera.LensFrom35(26, im.W, im.H)}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := FindIn(im, o); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkFindLarge finds the two cards of a photo of 4800 × 3600 px: a scene of half that size with every pixel fourfold.
func BenchmarkFindLarge(b *testing.B) {
	s, err := scene.Read("../../testdata/scenes", "dev-6-two-cards-far")
	if err != nil {
		b.Fatal(err)
	}
	im := readPicture(b, s.Photo)
	big := Picture{W: 2 * im.W, H: 2 * im.H, RGB: make([]uint8, 12*im.W*im.H)}
	for i := 0; i < big.W*big.H; i++ {
		copy(big.RGB[3*i:3*i+3], im.RGB[3*(i/big.W/2*im.W+i%big.W/2):])
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := FindIn(big, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
