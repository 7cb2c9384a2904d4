package card

import (
	"errors"
	"math"
	"slices"
	"testing"

	"offtype/measure/camera"
	"offtype/measure/geom"
	"offtype/pipeline/photo"
)

// coinShot is a table with a coin of 25.75 mm, its rim and relief, and two round fruit-like things.
func coinShot(cam camera.Camera, coin bool) shot {
	return shot{cam: cam, blur: 0.8, noise: 3, seed: 4, cover: func(x, y float64) (float64, bool) {
		r := math.Hypot(x, y)
		if coin && r < 25.75/2 {
			v := 0.45 + 0.1*math.Sin(x*1.9)*math.Cos(y*2.3)
			if r > 25.75/2-1.2 {
				v = 0.6 + 0.15*math.Sin(math.Atan2(y, x)*90)
			}
			return v, true
		}
		for _, q := range [][3]float64{{150, 40, 55}, {-120, 90, 48}} { // lumpy, shaded
			dx, dy := x-q[0], y-q[1]
			a, d := math.Atan2(dy, dx), math.Hypot(dx, dy)
			if edge := q[2] * (1 + 0.03*math.Cos(3*a) + 0.02*math.Sin(5*a)); d < edge {
				return 0.35 * math.Sqrt(1.02-d*d/edge/edge), true
			}
		}
		return 0, false
	}}
}

func asPhoto(im Picture, f35 float64) *photo.Photo {
	return &photo.Photo{Pix: im.RGB, Width: im.W, Height: im.H, Exif: photo.Exif{Focal35MM: f35}}
}

func TestFindCoin(t *testing.T) {
	for _, c := range []struct {
		name  string
		at    geom.Vec3
		limit float64 // relative error of the scale at the coin
	}{
		{"overhead", geom.Vec3{X: 20, Y: 30, Z: 600}, 0.01},
		{"8° off", geom.Vec3{X: 20, Y: -60, Z: 600}, 0.015},
		{"far", geom.Vec3{X: 100, Y: 60, Z: 900}, 0.02},
	} {
		cam := aim(1200, 900, 26, c.at, geom.Vec3{X: 20, Y: 30}, 10)
		s := coinShot(cam, true)
		f, err := FindCoin(asPhoto(s.take(), 26), 25.75, Options{})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		want := cam.MMPerPx(geom.Vec3{})
		e := f.MMPerPx/want - 1
		at := f.Camera.Project(geom.Vec3{})
		t.Logf("%s: scale error %+.2f %%, coin %.2f px from its place, notes %v", c.name, 100*e, at.Sub(cam.Project(geom.Vec3{})).Norm(), f.Notes)
		if math.Abs(e) > c.limit || at.Sub(cam.Project(geom.Vec3{})).Norm() > 1.5 {
			t.Errorf("%s: scale %.4f mm/px, want %.4f", c.name, f.MMPerPx, want)
		}
	}
}

func TestFindCoinRefuses(t *testing.T) {
	cam := aim(1000, 750, 26, geom.Vec3{X: 20, Y: 30, Z: 600}, geom.Vec3{X: 20, Y: 30}, 10)
	s := coinShot(cam, false)
	if f, err := FindCoin(asPhoto(s.take(), 26), 25.75, Options{}); !errors.Is(err, ErrNoCoin) {
		t.Errorf("no coin: %+v, error %v", f, err)
	}
	if _, err := FindCoin(asPhoto(s.take(), 26), 0.1, Options{}); err == nil {
		t.Error("a coin of 0.1 mm was accepted")
	}
}

func TestScaleLine(t *testing.T) {
	ph := &photo.Photo{Width: 1600, Height: 1200, Exif: photo.Exif{Focal35MM: 26}}
	f, err := FromScaleLine(ph, "100,200,400,600=250", Options{}) // 300, 400, 500: half a mm a px
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(f.MMPerPx-0.5) > 1e-12 || len(f.Cards) != 0 || f.FocalFrom != FromExif {
		t.Errorf("%+v", f)
	}
	for _, bad := range []string{"", "1,2,3,4", "1,2,3=5", "1,2,3,x=5", "1,1,2,2=50", "0,0,100,0=-3", "0,0,5000,0=100", "NaN,0,100,0=10"} {
		if _, err := FromScaleLine(ph, bad, Options{}); !NoScale(err) {
			t.Errorf("scale line %q: %v, want that it gives no scale", bad, err)
		}
	}
}

func TestWithoutScale(t *testing.T) {
	f, err := WithoutScale(&photo.Photo{Width: 1600, Height: 1200}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	a, _ := f.Camera.OnPlane(geom.Px{X: 10, Y: 10}, 0)
	b, _ := f.Camera.OnPlane(geom.Px{X: 110, Y: 10}, 0)
	if math.Abs(b.Sub(a).Norm()-100) > 1e-9 || f.FocalFrom != FromAssumed || !slices.Contains(f.Notes, NoteNoScale) || !slices.Contains(f.Notes, NoteLensAssumed) {
		t.Errorf("100 px are %g units; %v %v", b.Sub(a).Norm(), f.FocalFrom, f.Notes)
	}
}

// TestNoCoinAmongFruit: the scenes hold round fruit and no coin.
func TestNoCoinAmongFruit(t *testing.T) {
	for _, n := range []string{"dev-2-fabric-oblique", "dev-5-bulbs-blue-tarp", "dev-7-views-b", "dev-9-patterns"} {
		im := readPicture(t, "../../testdata/scenes/"+n+".jpg")
		if c, err := findCoin(&im, 25, 1823); !errors.Is(err, ErrNoCoin) {
			t.Errorf("%s: %+v, error %v", n, c, err)
		}
	}
}
