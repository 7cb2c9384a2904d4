package skin_test

import (
	"bytes"
	"math"
	"sort"
	"testing"

	"offtype/measure/body"
	"offtype/measure/camera"
	"offtype/measure/colour"
	"offtype/measure/geom"
	"offtype/measure/skin"
	"offtype/pipeline/scene"
)

const scenes = "../../testdata/scenes"

// spheroid is the surface of an ellipsoid of revolution seen by a camera: the stand-in for the fitted body.
func spheroid(cam *camera.Camera, stem, blossom geom.Vec3, width float64) skin.Surface {
	c := stem.Add(blossom).Scale(0.5)
	ax := blossom.Sub(stem)
	a, b := ax.Norm()/2, width/2
	ax = ax.Unit()
	up := geom.Vec3{Z: 1}
	e1 := up.Sub(ax.Scale(up.Dot(ax))).Unit()
	e2 := ax.Cross(e1)
	return func(p geom.Px) (s, theta float64, point, normal geom.Vec3, ok bool) {
		o, d := cam.Ray(p)
		f := func(v geom.Vec3) geom.Vec3 { return geom.Vec3{X: v.Dot(ax) / a, Y: v.Dot(e1) / b, Z: v.Dot(e2) / b} }
		q, r := f(o.Sub(c)), f(d)
		A, B, C := r.Dot(r), q.Dot(r), q.Dot(q)-1
		D := B*B - A*C
		if D <= 0 {
			return
		}
		t := (-B - math.Sqrt(D)) / A
		point = o.Add(d.Scale(t))
		u := q.Add(r.Scale(t))
		n := ax.Scale(u.X / a).Add(e1.Scale(u.Y / b)).Add(e2.Scale(u.Z / b))
		return (u.X + 1) / 2, math.Atan2(u.Z, u.Y), point, n.Unit(), true
	}
}

// outline returns the border of label l as a polygon of its rows: left edges down, right edges up.
func outline(s *scene.Scene, l int) []geom.Px {
	b := s.Labels.Bounds()
	var left, right []geom.Px
	for y := b.Min.Y; y < b.Max.Y; y++ {
		row := s.Labels.Pix[s.Labels.PixOffset(b.Min.X, y):][:b.Dx()]
		lo, hi := bytes.IndexByte(row, uint8(l)), bytes.LastIndexByte(row, uint8(l))
		if lo >= 0 {
			lo, hi = lo+b.Min.X, hi+b.Min.X
			left = append(left, geom.Px{X: float64(lo) - .5, Y: float64(y)})
			right = append(right, geom.Px{X: float64(hi) + .5, Y: float64(y)})
		}
	}
	for i := len(right) - 1; i >= 0; i-- {
		left = append(left, right[i])
	}
	return left
}

type loaded struct {
	s   *scene.Scene
	im  *scene.Image
	cal *colour.Calibration
	in  skin.Photo
}

func load(t testing.TB, name string) *loaded {
	t.Helper()
	s, err := scene.Read(scenes, name)
	if err != nil {
		t.Fatal(err)
	}
	im, err := s.Load()
	if err != nil {
		t.Fatal(err)
	}
	cal, err := colour.Calibrate(s.Samples(im), colour.Frame{Width: im.W, Height: im.H}, colour.DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	l := &loaded{s: s, im: im, cal: cal}
	l.in = skin.Photo{Pix: im.Pix, Width: im.W, Height: im.H, Colour: cal, Camera: s.Camera.Centre()}
	for _, c := range s.Cards {
		var at geom.Vec3
		for _, p := range c.CornersMM {
			at = at.Add(s.World([3]float64{p[0], p[1], 0}).Scale(1 / float64(len(c.CornersMM))))
		}
		l.in.Cards = append(l.in.Cards, at)
	}
	for _, f := range s.Fruits {
		l.in.Fruits = append(l.in.Fruits, skin.Fruit{Outline: outline(s, f.Label), Surface: fitted(s, &f), Upright: f.Pose == "upright"})
	}
	return l
}

func quantile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	w := append([]float64(nil), v...)
	sort.Float64s(w)
	return w[int(math.Round(q*float64(len(w)-1)))]
}

func lab3(v [3]float64) colour.Lab { return colour.Lab{L: v[0], A: v[1], B: v[2]} }

// fitted is the surface of the body fitted to the true outline and ends; a spheroid when the fit fails.
func fitted(s *scene.Scene, f *scene.Fruit) skin.Surface {
	cam := &s.Camera
	px := func(p [2]float64) *geom.Px { return &geom.Px{X: p[0] - .5, Y: p[1] - .5} }
	v := body.View{Camera: *cam, Outline: outline(s, f.Label), Stem: px(f.StemPx), Blossom: px(f.BlossomPx)}
	var opt body.Options
	opt.Pose = body.Pose(f.Pose)
	b, err := body.Fit([]body.View{v}, opt)
	if err != nil {
		return spheroid(cam, s.World(f.StemMM), s.World(f.BlossomMM), f.WidthMM)
	}
	return func(p geom.Px) (float64, float64, geom.Vec3, geom.Vec3, bool) { return b.Surface(cam, p) }
}
