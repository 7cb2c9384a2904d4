package skin_test

import (
	"math"
	"sort"
	"testing"

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
		lo, hi := -1, -1
		for x := b.Min.X; x < b.Max.X; x++ {
			if int(s.Labels.GrayAt(x, y).Y) == l {
				if lo < 0 {
					lo = x
				}
				hi = x
			}
		}
		if lo >= 0 {
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
	cal, err := colour.Calibrate(append(s.Samples(im), colour.TableSamples(im.Pix, im.W, im.H, things(s))...), colour.Frame{Width: im.W, Height: im.H}, colour.DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	l := &loaded{s: s, im: im, cal: cal}
	l.in = skin.Photo{Pix: im.Pix, Width: im.W, Height: im.H, Colour: cal, Camera: s.Camera.Centre()}
	for _, f := range s.Fruits {
		l.in.Fruits = append(l.in.Fruits, skin.Fruit{Outline: outline(s, f.Label), Surface: turned(s, &f), Upright: f.Pose == "upright"})
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

// things returns the outlines of fruit, stalks (as a box), cards and tags.
func things(s *scene.Scene) [][]geom.Px {
	var out [][]geom.Px
	for _, f := range s.Fruits {
		out = append(out, outline(s, f.Label))
	}
	for _, c := range s.Cards {
		var q []geom.Px
		for _, p := range c.CornersPx {
			q = append(q, geom.Px{X: p[0], Y: p[1]})
		}
		out = append(out, q)
	}
	return out
}

// turned is the surface of revolution whose silhouette is the true mask: radius and middle at each place along the
// true axis are read from the label image, in the plane through the axis that faces the camera.
func turned(s *scene.Scene, f *scene.Fruit) skin.Surface {
	cam := &s.Camera
	stem, blossom := s.World(f.StemMM), s.World(f.BlossomMM)
	ax := blossom.Sub(stem)
	length := ax.Norm()
	ax = ax.Unit()
	if f.Pose == "upright" || f.LengthMM < 1.3*f.WidthMM {
		return spheroid(cam, stem, blossom, f.WidthMM)
	}
	v := cam.Centre().Sub(stem.Add(blossom).Scale(.5)).Unit()
	m := v.Sub(ax.Scale(v.Dot(ax))).Unit()
	e := ax.Cross(m)
	hit := func(p geom.Px) (sPos, d float64) {
		o, dir := cam.Ray(p)
		t := stem.Sub(o).Dot(m) / dir.Dot(m)
		h := o.Add(dir.Scale(t)).Sub(stem)
		return h.Dot(ax) / length, h.Dot(e)
	}
	const n = 60
	var lo, hi [n]float64
	for i := range lo {
		lo[i], hi[i] = math.Inf(1), math.Inf(-1)
	}
	for _, p := range outlinePixels(s, f.Label) {
		sp, d := hit(p)
		i := int((sp + 0.1) / 1.2 * n)
		if i >= 0 && i < n {
			lo[i], hi[i] = math.Min(lo[i], d), math.Max(hi[i], d)
		}
	}
	var mid, rad [n]float64
	for i := range mid {
		if hi[i] > lo[i] {
			mid[i], rad[i] = (lo[i]+hi[i])/2, (hi[i]-lo[i])/2
		}
	}
	smooth := func(a *[n]float64) {
		b := *a
		for i := range b {
			t, w := 0.0, 0.0
			for k := -3; k <= 3; k++ {
				if j := i + k; j >= 0 && j < n && rad[j] > 0 {
					g := math.Exp(-float64(k*k) / 4)
					t, w = t+g*b[j], w+g
				}
			}
			if w > 0 && rad[i] > 0 {
				a[i] = t / w
			}
		}
	}
	smooth(&mid)
	smooth(&rad)
	at := func(a *[n]float64, s float64) float64 {
		x := (s+0.1)/1.2*n - 0.5
		i := int(math.Max(0, math.Min(n-2, math.Floor(x))))
		t := math.Max(0, math.Min(1, x-float64(i)))
		return a[i]*(1-t) + a[i+1]*t
	}
	return func(p geom.Px) (sp, theta float64, point, normal geom.Vec3, ok bool) {
		sp, d := hit(p)
		r := at(&rad, sp)
		if r <= 0 {
			return
		}
		q := (d - at(&mid, sp)) / r
		if math.Abs(q) >= 0.995 {
			return
		}
		c := math.Sqrt(1 - q*q)
		slope := (at(&rad, sp+0.02) - at(&rad, sp-0.02)) / (0.04 * length)
		normal = e.Scale(q).Add(m.Scale(c)).Sub(ax.Scale(math.Max(-3, math.Min(3, slope)))).Unit()
		point = stem.Add(ax.Scale(sp * length)).Add(e.Scale(d)).Add(m.Scale(c * r))
		return sp, math.Atan2(q, c), point, normal, true
	}
}

func outlinePixels(s *scene.Scene, l int) []geom.Px {
	b := s.Labels.Bounds()
	var out []geom.Px
	is := func(x, y int) bool { return int(s.Labels.GrayAt(x, y).Y) == l }
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			if is(x, y) && !(is(x-1, y) && is(x+1, y) && is(x, y-1) && is(x, y+1)) {
				out = append(out, geom.Px{X: float64(x), Y: float64(y)})
			}
		}
	}
	return out
}
