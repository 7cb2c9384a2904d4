package camera

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"offtype/measure/geom"
)

// lookAt returns a camera at `at` that looks at `to`, turned by roll degrees about its axis.
func lookAt(w, h int, f35 float64, at, to geom.Vec3, roll float64) Camera {
	fw := to.Sub(at).Unit()
	up := geom.Vec3{X: math.Sin(roll * math.Pi / 180), Y: math.Cos(roll * math.Pi / 180)}
	rt := fw.Cross(up).Unit()
	dn := fw.Cross(rt)
	c := Camera{Width: w, Height: h, Focal: f35 / filmDiagonalMM * math.Hypot(float64(w), float64(h)),
		CX: float64(w)/2 - 0.5, CY: float64(h)/2 - 0.5}
	for i, r := range [3]geom.Vec3{rt, dn, fw} {
		c.R[i] = [3]float64{r.X, r.Y, r.Z}
	}
	c.setCentre(at)
	return c
}

// gridObs sees an nx × ny grid of points over w × h mm of a sheet with noise sd px.
func gridObs(c *Camera, sheet int, pose SheetPose, w, h float64, nx, ny int, sd float64, rnd *rand.Rand) []Obs {
	var out []Obs
	for i := 0; i < nx; i++ {
		for j := 0; j < ny; j++ {
			x, y := w*float64(i)/float64(nx-1), -h*float64(j)/float64(ny-1)
			p := c.Project(pose.ToTable(x, y))
			p = p.Add(geom.Px{X: sd * rnd.NormFloat64(), Y: sd * rnd.NormFloat64()})
			out = append(out, Obs{Sheet: sheet, X: x, Y: y, Px: p, SD: 0.1})
		}
	}
	return out
}

type simCamera struct {
	name string
	Camera
}

// scenes of the simulation: a card at the edge of the frame, near overhead and oblique.
func simCameras() []simCamera {
	return []simCamera{
		{"overhead", lookAt(2400, 1800, 26.3, geom.Vec3{X: 550, Y: 300, Z: 1300}, geom.Vec3{X: 560, Y: 350}, 3)},
		{"oblique", lookAt(2400, 1800, 26.3, geom.Vec3{X: 450, Y: -250, Z: 1150}, geom.Vec3{X: 616, Y: 313}, 0)},
	}
}

func innerScaleError(got, want *Camera, z float64) float64 {
	worst := 0.0
	for _, u := range []float64{0.25, 0.5, 0.75} {
		for _, v := range []float64{0.25, 0.5, 0.75} {
			p := geom.Px{X: u * 2399, Y: v * 1799}
			x0, y0 := scaleAt(want, p, z)
			x1, y1 := scaleAt(got, p, z)
			worst = math.Max(worst, math.Max(math.Abs(x1-x0), math.Abs(y1-y0)))
		}
	}
	return worst
}

// TestExactRoundTrip: without noise the camera comes back to rounding, with one sheet, two sheets
// and a distorted lens, whatever the turn.
func TestExactRoundTrip(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 1))
	for _, sc := range simCameras() {
		name, c := sc.name, sc.Camera
		for _, k1 := range []float64{-0.05, 0, 0.03} {
			c.K1 = k1
			pose := SheetPose{Turn: 2.5, X: 700, Y: 500}
			obs := append(gridObs(&c, 0, SheetPose{}, 250, 180, 6, 5, 0, rnd), gridObs(&c, 1, pose, 250, 180, 6, 5, 0, rnd)...)
			v := View{Width: c.Width, Height: c.Height, Lens: LensFrom35(26.3, c.Width, c.Height), Obs: obs}
			v.Lens.Focal.Mean, v.Lens.K1.Mean = c.Focal, k1 // the priors agree with the truth
			s, err := Solve([]View{v}, []Sheet{{}, {ZSD: 1}}, nil)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if e := innerScaleError(&s.Camera, &c, 60); e > 1e-6 {
				t.Errorf("%s k1 %v: scale differs by %g", name, k1, e)
			}
			if d := s.Camera.Centre().Sub(c.Centre()).Norm(); d > 1e-3 {
				t.Errorf("%s k1 %v: centre %g mm away", name, k1, d)
			}
			if d := math.Hypot(s.Sheets[1].X-700, s.Sheets[1].Y-500) + math.Abs(math.Mod(s.Sheets[1].Turn-2.5, 2*math.Pi)); d > 1e-3 {
				t.Errorf("%s: second sheet at %+v", name, s.Sheets[1])
			}
			if s.RMS[0] > 1e-6 {
				t.Errorf("%s: residual %g px of exact points", name, s.RMS[0])
			}
		}
	}
}

// TestCovarianceMatchesScatter draws lens, principal point and noise from the stated priors and
// asks that errors divided by the stated standard deviations scatter with standard deviation 1.
// 60 draws of each camera: the band 0.7–1.3 is more than three standard errors (1/√120) wide.
func TestCovarianceMatchesScatter(t *testing.T) {
	rnd := rand.New(rand.NewPCG(5, 6))
	for _, sc := range simCameras() {
		name, c := sc.name, sc.Camera
		var zf, zk, zs, zh []float64
		for range 60 {
			d := c
			l := LensFrom35(26, c.Width, c.Height)
			draw := func(p Prior) float64 { return p.Mean + p.SD*rnd.NormFloat64() }
			d.Focal, d.K1, d.CX, d.CY = draw(l.Focal), draw(l.K1), draw(l.CX), draw(l.CY)
			v := View{Width: c.Width, Height: c.Height, Lens: l, Obs: gridObs(&d, 0, SheetPose{}, 250, 180, 10, 7, 0.1, rnd)}
			s, err := Solve([]View{v}, []Sheet{{}}, nil)
			if err != nil {
				t.Fatal(err)
			}
			sf, sk, sh := s.SD()
			p := geom.Px{X: 1500, Y: 600}
			x0, _ := scaleAt(&d, p, 60)
			x1, _ := scaleAt(&s.Camera, p, 60)
			zf = append(zf, (s.Camera.Focal-d.Focal)/sf)
			zk = append(zk, (s.Camera.K1-d.K1)/sk)
			zh = append(zh, (s.Camera.Centre().Z-d.Centre().Z)/sh)
			zs = append(zs, (x1-x0)/scaleSD(s, p, 60))
		}
		for q, z := range map[string][]float64{"focal": zf, "k1": zk, "height": zh, "scale": zs} {
			r := 0.0
			for _, v := range z {
				r += v * v / float64(len(z))
			}
			r = math.Sqrt(r)
			t.Logf("%s %s: errors over stated standard deviation %.2f", name, q, r)
			lo := 0.7
			if q == "scale" {
				lo = 0.5 // the greater of two directions is stated
			}
			if r < lo || r > 1.3 {
				t.Errorf("%s %s: errors are %.2f of the stated standard deviation, want %.1f to 1.3", name, q, r, lo)
			}
		}
	}
}

// TestCentreOff: a principal point 0.3 % of the diagonal off, as phones have it, costs less than
// 0.5 % of scale within the middle of the frame.
func TestCentreOff(t *testing.T) {
	rnd := rand.New(rand.NewPCG(8, 6))
	for _, sc := range simCameras() {
		name, c := sc.name, sc.Camera
		worst := 0.0
		for k := range 8 {
			d := c
			d.CX += 9 * math.Cos(float64(k)*math.Pi/4)
			d.CY += 9 * math.Sin(float64(k)*math.Pi/4)
			v := View{Width: c.Width, Height: c.Height, Lens: LensFrom35(26, c.Width, c.Height), Obs: gridObs(&d, 0, SheetPose{}, 250, 180, 14, 10, 0.03, rnd)}
			s, err := Solve([]View{v}, []Sheet{{}}, nil)
			if err != nil {
				t.Fatal(err)
			}
			worst = math.Max(worst, innerScaleError(&s.Camera, &d, 60))
		}
		t.Logf("%s: worst scale error %.2f %%", name, 100*worst)
		if worst > 0.005 {
			t.Errorf("%s: scale error %.2f %%", name, 100*worst)
		}
	}
}

// TestOutliers: a tenth of the points 5 px wrong leaves the camera nearly unmoved.
func TestOutliers(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 3))
	for _, sc := range simCameras() {
		name, c := sc.name, sc.Camera
		v := View{Width: c.Width, Height: c.Height, Lens: LensFrom35(26, c.Width, c.Height), Obs: gridObs(&c, 0, SheetPose{}, 250, 180, 12, 9, 0.05, rnd)}
		for i := 0; i < len(v.Obs); i += 10 {
			v.Obs[i].Px.X += 5
		}
		s, err := Solve([]View{v}, []Sheet{{}}, nil)
		if err != nil {
			t.Fatal(err)
		}
		if e := innerScaleError(&s.Camera, &c, 0); e > 0.006 {
			t.Errorf("%s: scale error %.2f %%", name, 100*e)
		}
	}
}

// TestUnknownFocal: seen obliquely the card tells the focal length, from above it does not and the
// stated uncertainty says so.
func TestUnknownFocal(t *testing.T) {
	rnd := rand.New(rand.NewPCG(4, 4))
	sd := map[string]float64{}
	for _, sc := range simCameras() {
		name, c := sc.name, sc.Camera
		c.Focal *= 1.08
		v := View{Width: c.Width, Height: c.Height, Lens: LensUnknown(c.Width, c.Height), Obs: gridObs(&c, 0, SheetPose{}, 250, 180, 14, 10, 0.03, rnd)}
		s, err := Solve([]View{v}, []Sheet{{}}, nil)
		if err != nil {
			t.Fatal(err)
		}
		f, _, _ := s.SD()
		sd[name] = f / c.Focal
		if z := math.Abs(s.Camera.Focal-c.Focal) / f; z > 3 {
			t.Errorf("%s: focal %.0f, truth %.0f, stated standard deviation %.0f", name, s.Camera.Focal, c.Focal, f)
		}
	}
	if sd["oblique"] > 0.01 || sd["overhead"] < 0.015 {
		t.Errorf("relative standard deviations %v: want oblique below 1 %%, overhead above 1.5 %%", sd)
	}
}

// TestJointViews: three views of one table share the tags' places, and each camera comes back.
func TestJointViews(t *testing.T) {
	rnd := rand.New(rand.NewPCG(9, 9))
	tag := SheetPose{Turn: -0.4, X: 800, Y: 350}
	cams := []Camera{
		lookAt(2400, 1800, 26.3, geom.Vec3{X: 500, Y: -300, Z: 1100}, geom.Vec3{X: 500, Y: 250}, 0),
		lookAt(2400, 1800, 26.3, geom.Vec3{X: 1100, Y: 250, Z: 1100}, geom.Vec3{X: 500, Y: 250}, 60),
		lookAt(2400, 1800, 26.3, geom.Vec3{X: -100, Y: 600, Z: 1100}, geom.Vec3{X: 500, Y: 250}, 200),
	}
	var views []View
	for i := range cams {
		cams[i].K1 = 0.01 * float64(i-1)
		obs := append(gridObs(&cams[i], 0, SheetPose{}, 250, 180, 8, 6, 0.05, rnd), gridObs(&cams[i], 1, tag, 32, 32, 4, 4, 0.05, rnd)...)
		views = append(views, View{Width: 2400, Height: 1800, Lens: LensFrom35(26, 2400, 1800), Obs: obs})
	}
	s, err := Solve(views, []Sheet{{}, {ZSD: 0.5}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i := range cams {
		if e := innerScaleError(&s.Cameras[i], &cams[i], 60); e > 0.005 {
			t.Errorf("view %d: scale error %.2f %%", i, 100*e)
		}
	}
	if d := math.Hypot(s.Sheets[1].X-tag.X, s.Sheets[1].Y-tag.Y); d > 0.6 {
		t.Errorf("tag %.2f mm away", d)
	}
}

// scaleSD returns the relative standard deviation of lengths on the plane z mm above the table
// around pixel px, no unit: the greater of the two picture directions.
func scaleSD(s *Solution, px geom.Px, z float64) float64 {
	x0, y0 := scaleAt(&s.Camera, px, z)
	var vx, vy float64
	for _, c := range s.Modes(len(s.modes)) {
		x, y := scaleAt(&c, px, z)
		vx += sq(x - x0)
		vy += sq(y - y0)
	}
	return math.Sqrt(math.Max(vx, vy))
}

// TestModes: the four modes that change lengths most hold nine tenths of the standard deviation of all.
func TestModes(t *testing.T) {
	rnd := rand.New(rand.NewPCG(2, 2))
	c := simCameras()[1].Camera
	v := View{Width: c.Width, Height: c.Height, Lens: LensFrom35(26, c.Width, c.Height), Obs: gridObs(&c, 0, SheetPose{}, 250, 180, 10, 7, 0.1, rnd)}
	s, err := Solve([]View{v}, []Sheet{{}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	p := geom.Px{X: 1900, Y: 300}
	var few float64
	x0, y0 := scaleAt(&s.Camera, p, 60)
	var vx, vy float64
	for _, m := range s.Modes(4) {
		x, y := scaleAt(&m, p, 60)
		vx, vy = vx+sq(x-x0), vy+sq(y-y0)
	}
	few = math.Sqrt(math.Max(vx, vy))
	if all := scaleSD(s, p, 60); few > all*1.0001 || few < 0.9*all {
		t.Errorf("four modes hold %.4g of a standard deviation %.4g", few, all)
	}
}

func TestSolveRefuses(t *testing.T) {
	c := simCameras()[1].Camera
	rnd := rand.New(rand.NewPCG(2, 2))
	line := gridObs(&c, 0, SheetPose{}, 250, 180, 10, 2, 0, rnd)
	var flat []Obs
	for _, o := range line {
		if o.Y == 0 {
			flat = append(flat, o)
		}
	}
	l := LensFrom35(26, c.Width, c.Height)
	for name, obs := range map[string][]Obs{"none": nil, "three": line[:3], "on a line": flat} {
		if _, err := Solve([]View{{Width: c.Width, Height: c.Height, Lens: l, Obs: obs}}, []Sheet{{}}, nil); !errors.Is(err, ErrFewPoints) {
			t.Errorf("%s: error %v, want ErrFewPoints", name, err)
		}
	}
	bad := append([]Obs(nil), line...)
	bad[0].Sheet = 3
	if _, err := Solve([]View{{Width: c.Width, Height: c.Height, Lens: l, Obs: bad}}, []Sheet{{}}, nil); err == nil {
		t.Error("an observation of a sheet that does not exist was accepted")
	}
}

func BenchmarkSolve(b *testing.B) {
	rnd := rand.New(rand.NewPCG(2, 2))
	c := simCameras()[1].Camera
	v := View{Width: c.Width, Height: c.Height, Lens: LensFrom35(26, c.Width, c.Height), Obs: gridObs(&c, 0, SheetPose{}, 250, 180, 20, 17, 0.1, rnd)}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Solve([]View{v}, []Sheet{{}}, nil); err != nil {
			b.Fatal(err)
		}
	}
}

// TestJacobian: the derivatives of an observation agree with central differences of Project.
func TestJacobian(t *testing.T) {
	const tol = 1e-5 // relative to the largest derivative: differences at steps of 1e-6 and 1e-3 hold no more
	steps := [nView + nSheet]float64{1e-6, 1e-6, 1e-3, 1e-3, 1e-6, 1e-6, 1e-6, 1e-3, 1e-3, 1e-3, 1e-6, 1e-3, 1e-3, 1e-3}
	for _, sc := range simCameras() {
		c := sc.Camera
		c.K1, c.K2 = -0.05, 0.02
		for _, o := range []Obs{{Sheet: 1, X: 40, Y: -90, SD: .3}, {Sheet: 1, X: 140, Y: -20, SD: .2, Normal: geom.Px{X: .6, Y: -.8}}} {
			pose := SheetPose{Turn: .4, X: 120, Y: 60, Z: 1.5}
			var j jacobian
			q := j.fill(&c, &turned{pose, math.Cos(pose.Turn), math.Sin(pose.Turn)}, &o, 0, nView)
			if d := q.Sub(project(&c, pose, &o)).Norm(); d > 1e-9 || j.m != len(steps) {
				t.Fatalf("%s: pixel off by %g, %d derivatives", sc.name, d, j.m)
			}
			for k, h := range steps {
				at := func(h float64) (a, b float64) {
					cam, p := c, pose
					var d [nView]float64
					switch k - nView {
					case 0:
						p.Turn += h
					case 1:
						p.X += h
					case 2:
						p.Y += h
					case 3:
						p.Z += h
					default:
						d[k] = h
						cam = c.moved(d[:])
					}
					return residual(&o, project(&cam, p, &o), 0)
				}
				a1, b1 := at(h)
				a0, b0 := at(-h)
				x, y := (a1-a0)/(2*h), (b1-b0)/(2*h)
				if d := math.Hypot(j.x[k]-x, j.y[k]-y); !(d <= tol*math.Max(1, math.Hypot(x, y))) || j.at[k] != k {
					t.Errorf("%s, normal %v, parameter %d at %d: (%g, %g), by differences (%g, %g)", sc.name, o.Normal, k, j.at[k], j.x[k], j.y[k], x, y)
				}
			}
		}
	}
}
