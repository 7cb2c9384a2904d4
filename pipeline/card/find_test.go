package card

import (
	"image"
	_ "image/jpeg"
	"math"
	"os"
	"testing"

	"offtype/measure/camera"
	"offtype/measure/geom"
	"offtype/pipeline/scene"
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
func worstScale(got, want *camera.Camera, z float64) (worst float64, at geom.Px) {
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
					worst, at = e, p
				}
			}
		}
	}
	return worst, at
}

func must(v geom.Vec3, _ bool) geom.Vec3 { return v }

func TestScenes(t *testing.T) {
	const dir = "../../testdata/scenes"
	for _, n := range scene.Names(dir) {
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
		sf, sk, sh := f.Solution.SD()
		c := &f.Camera
		var z []float64
		for _, u := range []float64{0.2, 0.5, 0.8} {
			for _, v := range []float64{0.2, 0.5, 0.8} {
				p := geom.Px{X: u * float64(im.W), Y: v * float64(im.H)}
				z = append(z, math.Log(c.MMPerPx(must(c.OnPlane(p, 0)))/s.Camera.MMPerPx(must(s.Camera.OnPlane(p, 0))))/f.Solution.ScaleSD(p, 0))
			}
		}
		t.Logf("z scores of scale %.1f, of focal %.1f, k1 %.1f", z, (c.Focal-s.Camera.Focal)/sf, (c.K1-s.Camera.K1)/sk)
		w0, p0 := worstScale(c, &s.Camera, 0)
		w60, _ := worstScale(c, &s.Camera, 60)
		t.Logf("%-24s cards %d tags %d res %.3f edges %d | f %+.2f%% (sd %.2f) k1 %+.4f (sd %.4f) h %+.2f%% (sd %.2f) | z0 %.2f%% (sd %.2f at %.0f) z60 %.2f%% | %v",
			n, len(f.Cards), len(f.Tags), f.ResidualPx, f.Solution.Used[0], 100*(c.Focal/s.Camera.Focal-1), 100*sf/c.Focal,
			c.K1-s.Camera.K1, sk, 100*(c.Centre().Z/s.Camera.Centre().Z-1), 100*sh/c.Centre().Z,
			100*w0, 100*f.Solution.ScaleSD(p0, 0), p0, 100*w60, f.Notes)
	}
}
