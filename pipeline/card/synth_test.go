package card

import (
	"bytes"
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"offtype/measure/camera"
	"offtype/measure/geom"
)

// rasterCard prints card number n to A4 at 300 dpi with poppler, an outside reader of our PDF.
func rasterCard(t testing.TB, n int) Picture {
	t.Helper()
	var b bytes.Buffer
	if err := WritePDF(&b, n, A4); err != nil {
		t.Fatal(err)
	}
	return raster(t, b.Bytes())
}

func raster(t testing.TB, pdf []byte) Picture {
	t.Helper()
	tool, err := exec.LookPath("pdftoppm")
	if err != nil {
		t.Skip("pdftoppm (Debian package poppler-utils) is not installed")
	}
	dir := t.TempDir()
	name := filepath.Join(dir, "a.pdf")
	if err := os.WriteFile(name, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command(tool, "-r", "300", "-f", "1", "-l", "1", "-singlefile", "-png", name, filepath.Join(dir, "a")).CombinedOutput(); err != nil {
		t.Fatalf("pdftoppm: %v\n%s", err, out)
	}
	f, err := os.Open(filepath.Join(dir, "a.png"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	m, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	return fromImage(m)
}

// print is a printed page lying on the table.
type print struct {
	page   Picture // 300 dpi
	x0, y0 float64 // place of the sheet's origin on the page, mm
	w, h   float64 // of the cut sheet, mm
	pose   camera.SheetPose
}

// shot is a synthetic photo.
type shot struct {
	cam    camera.Camera
	prints []print
	blur   float64                                      // px, of the lens
	noise  float64                                      // standard deviation, encoded 0–255
	cover  func(x, y float64) (v float64, covered bool) // linear light of a thing over table point (x, y)
	light  func(x, y float64) float64
	seed   uint64
	grid   []geom.Vec3
}

// take renders the photo: 4 × 4 rays a pixel, linear light, Gaussian blur, sRGB, noise.
func (s *shot) take() Picture {
	w, h := s.cam.Width, s.cam.Height
	lin := make([]float64, 3*w*h)
	s.grid = make([]geom.Vec3, (w+1)*(h+1)) // table points of the pixels' corners
	for y := 0; y <= h; y++ {
		for x := 0; x <= w; x++ {
			s.grid[y*(w+1)+x], _ = s.cam.OnPlane(geom.Px{X: float64(x) - 0.5, Y: float64(y) - 0.5}, 0)
		}
	}
	for y := 0; y < h; y++ {
		for x := 0; x < w; x++ {
			s.pixel(x, y, lin[3*(y*w+x):])
		}
	}
	lin = gauss(lin, w, h, s.blur)
	rnd := rand.New(rand.NewPCG(s.seed, 1))
	im := Picture{W: w, H: h, RGB: make([]uint8, 3*w*h)}
	for i, v := range lin {
		e := 12.92 * v
		if v > 0.0031308 {
			e = 1.055*math.Pow(v, 1/2.4) - 0.055
		}
		im.RGB[i] = uint8(math.Max(0, math.Min(255, math.Round(255*e+s.noise*rnd.NormFloat64()))))
	}
	return im
}

func (s *shot) pixel(x, y int, out []float64) {
	const sub = 4
	for i := 0; i < sub; i++ {
		for j := 0; j < sub; j++ {
			// a turned grid: 16 different places along each axis
			u, v := (float64(i)+(float64(j)+0.5)/sub)/sub, (float64(j)+(float64(sub-1-i)+0.5)/sub)/sub
			q := s.grid[y*(s.cam.Width+1)+x:]
			r := q[s.cam.Width+1:]
			g := q[0].Scale((1 - u) * (1 - v)).Add(q[1].Scale(u * (1 - v))).Add(r[0].Scale((1 - u) * v)).Add(r[1].Scale(u * v))
			ok := true
			c := [3]float64{0.12, 0.10, 0.08} // table
			if ok {
				k := 0.02 * math.Sin(g.X/17) * math.Sin(g.Y/23)
				c = [3]float64{c[0] + k, c[1] + k, c[2] + k}
				for q := range s.prints {
					s.prints[q].colour(g, &c)
				}
				l := 1.0
				if s.light != nil {
					l = s.light(g.X, g.Y)
				}
				for k := range c {
					c[k] *= l
				}
				if s.cover != nil {
					if v, on := s.cover(g.X, g.Y); on {
						c = [3]float64{v, v, v}
					}
				}
			}
			for k := range c {
				out[k] += c[k] / (sub * sub)
			}
		}
	}
}

// colour sets c to what is printed at table point g, if the sheet lies there.
func (p *print) colour(g geom.Vec3, c *[3]float64) {
	dx, dy := g.X-p.pose.X, g.Y-p.pose.Y
	cs, sn := math.Cos(p.pose.Turn), math.Sin(p.pose.Turn)
	x, y := cs*dx+sn*dy, -(-sn*dx + cs*dy)
	if x < 0 || y < 0 || x > p.w || y > p.h {
		return
	}
	const k = 300 / 25.4
	i, j := int((p.x0+x)*k), int((p.y0+y)*k)
	if i < 0 || j < 0 || i >= p.page.W || j >= p.page.H {
		return
	}
	for n := range c {
		c[n] = 0.85 * linearLUT[p.page.RGB[3*(j*p.page.W+i)+n]]
	}
}

func gauss(v []float64, w, h int, sd float64) []float64 {
	if sd == 0 {
		return v
	}
	r := int(math.Ceil(3.5 * sd))
	k := make([]float64, 2*r+1)
	sum := 0.0
	for i := range k {
		k[i] = math.Exp(-sq(float64(i-r)/sd) / 2)
		sum += k[i]
	}
	pass := func(v []float64, dx, dy int) []float64 {
		out := make([]float64, len(v))
		for y := 0; y < h; y++ {
			for x := 0; x < w; x++ {
				var a [3]float64
				for i, g := range k {
					q := v[3*(min(h-1, max(0, y+(i-r)*dy))*w+min(w-1, max(0, x+(i-r)*dx))):]
					a[0] += g * q[0]
					a[1] += g * q[1]
					a[2] += g * q[2]
				}
				o := out[3*(y*w+x):]
				o[0], o[1], o[2] = a[0]/sum, a[1]/sum, a[2]/sum
			}
		}
		return out
	}
	return pass(pass(v, 1, 0), 0, 1)
}

// aim returns a camera at (x, y, z) that looks at (ax, ay, 0), turned by roll degrees about its axis.
func aim(w, h int, f35 float64, at, to geom.Vec3, roll float64) camera.Camera {
	d := math.Hypot(float64(w), float64(h))
	fw := to.Sub(at).Unit()
	up := geom.Vec3{X: math.Sin(roll * math.Pi / 180), Y: math.Cos(roll * math.Pi / 180)}
	rt := fw.Cross(up).Unit()
	dn := fw.Cross(rt)
	c := camera.Camera{Width: w, Height: h, Focal: f35 / 43.2666 * d, CX: float64(w)/2 - 0.5, CY: float64(h)/2 - 0.5}
	for i, r := range [3]geom.Vec3{rt, dn, fw} {
		c.R[i] = [3]float64{r.X, r.Y, r.Z}
		t := -r.Dot(at)
		switch i {
		case 0:
			c.T.X = t
		case 1:
			c.T.Y = t
		default:
			c.T.Z = t
		}
	}
	return c
}

func cardPrint(t testing.TB, n int, pose camera.SheetPose) print {
	l := Revision1()
	return print{page: rasterCard(t, n), x0: (297 - l.WidthMM) / 2, y0: (210 - l.HeightMM) / 2, w: l.WidthMM, h: l.HeightMM, pose: pose}
}

// cornerError returns the greatest distance of the found card corners from the printed ones,
// mm on the table, seen through the true camera.
func cornerError(f *Found, truth *camera.Camera) float64 {
	l := Revision1()
	e := 0.0
	for i, c := range [4][2]float64{{0, 0}, {l.WidthMM, 0}, {l.WidthMM, l.HeightMM}, {0, l.HeightMM}} {
		g, _ := truth.OnPlane(f.Cards[0].Quad[i], 0)
		e = math.Max(e, math.Hypot(g.X-c[0], g.Y+c[1]))
	}
	return e
}

// TestPrintedCardIsFound prints the card, photographs it with a synthetic camera and asks for its
// corners within 0.1 mm: near, far, oblique, turned, blurred, noisy, with lens distortion.
func TestPrintedCardIsFound(t *testing.T) {
	pr := cardPrint(t, 0, camera.SheetPose{})
	mid := geom.Vec3{X: 125, Y: -90}
	for _, c := range []struct {
		name        string
		at, to      geom.Vec3
		roll, k1    float64
		blur, noise float64
		limit       float64
	}{
		{"overhead", geom.Vec3{X: 125, Y: -90, Z: 520}, mid, 0, 0, 0.7, 2, 0.1},
		{"corner of the frame", geom.Vec3{X: 425, Y: 160, Z: 900}, geom.Vec3{X: 425, Y: 200}, 0, 0.015, 0.7, 2, 0.1},
		{"oblique 35°", geom.Vec3{X: 125, Y: -690, Z: 850}, mid, 0, -0.01, 0.7, 2, 0.1},
		{"turned 137°", geom.Vec3{X: 325, Y: -190, Z: 800}, geom.Vec3{X: 225, Y: -90}, 137, 0.01, 0.8, 2, 0.1},
		{"upside down", geom.Vec3{X: 25, Y: -190, Z: 800}, geom.Vec3{X: 75, Y: -90}, 180, 0, 0.8, 2, 0.1},
		{"blurred, noisy", geom.Vec3{X: 195, Y: -90, Z: 560}, geom.Vec3{X: 195, Y: -40}, 90, 0.01, 2, 6, 0.1},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := shot{cam: aim(1200, 900, 26.3, c.at, c.to, c.roll), prints: []print{pr}, blur: c.blur, noise: c.noise, seed: 7}
			s.cam.K1 = c.k1
			f, err := FindIn(s.take(), Options{Lens: camera.LensFrom35(26, 1200, 900)})
			if err != nil {
				t.Fatal(err)
			}
			e := cornerError(f, &s.cam)
			t.Logf("corners within %.3f mm, residual %.3f px, blur %v, notes %v", e, f.ResidualPx, c.blur, f.Notes)
			if e > c.limit {
				t.Errorf("corner %.3f mm away, want %.1f", e, c.limit)
			}
		})
	}
}
