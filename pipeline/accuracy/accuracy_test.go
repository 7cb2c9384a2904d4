package accuracy

import (
	"image"
	"math"
	"testing"

	"offtype/measure/body"
	"offtype/measure/geom"
	"offtype/pipeline/scene"
)

// An outline along pixel edges encloses exactly the pixels: area = number of pixels (closed formula), its
// points lie on half pixels, and what lies beyond is named.
func TestTrace(t *testing.T) {
	im := image.NewGray(image.Rect(0, 0, 8, 6))
	for y := 1; y < 5; y++ {
		for x := 2; x < 8; x++ {
			im.Pix[y*im.Stride+x] = 3
		}
	}
	im.Pix[2*im.Stride+1] = 4 // a neighbour on the left
	pts, edge := Trace(im, 3)
	if got := geom.Area(corners(pts)); math.Abs(got-24) > 1e-9 {
		t.Errorf("area %v, want 24", got)
	}
	if len(pts) != 20 {
		t.Errorf("%d edge points, want the perimeter of 20", len(pts))
	}
	count := map[geom.Edge]int{}
	for _, e := range edge {
		count[e]++
	}
	if count[geom.EdgeContact] != 1 || count[geom.EdgeFrame] != 4 {
		t.Errorf("edges %v, want 1 contact and 4 frame", count)
	}
	if p, _ := Trace(im, 9); p != nil {
		t.Errorf("a label that is not there gives %d points", len(p))
	}
}

// corners turns the middles of unit edges into a polygon of the same area: the middles cut every corner
// by 1/8 px², so take the corners between successive edges of different direction.
func corners(p []geom.Px) []geom.Px {
	var out []geom.Px
	n := len(p)
	for i := range p {
		d := p[(i+1)%n].Sub(p[i])
		e := p[i].Sub(p[(i-1+n)%n])
		if math.Abs(d.Norm()-1) > 1e-9 { // the step turns a corner here
			if math.Abs(e.X) > math.Abs(e.Y) || (math.Abs(e.X) == 0.5 && p[i].Y != math.Round(p[i].Y)) {
				out = append(out, geom.Px{X: p[(i+1)%n].X, Y: p[i].Y})
			} else {
				out = append(out, geom.Px{X: p[i].X, Y: p[(i+1)%n].Y})
			}
		}
	}
	return out
}

func TestQuantile(t *testing.T) {
	// R 4: quantile(c(1, 2, 3, 4), c(.5, .95)) gives 2.5 and 3.85 (type 7)
	for _, c := range []struct{ p, want float64 }{{0, 1}, {0.5, 2.5}, {0.95, 3.85}, {1, 4}} {
		if got := Quantile([]float64{-4, 1, 3, -2}, c.p); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("quantile %v: %v, want %v", c.p, got, c.want)
		}
	}
	if !math.IsNaN(Quantile(nil, 0.5)) {
		t.Error("no values: want NaN")
	}
}

// Two scenes near overhead, true cameras, outlines with 0.4 px noise. The bands have two ends: noise of
// 0.4 px on about 400 px cannot give errors far below 0.02 %.
func TestScenes(t *testing.T) {
	var rows []Row
	for _, name := range []string{"demo-2026-table-1", "dev-1-planks-overhead"} {
		s, err := scene.Read("../../testdata/scenes", name)
		if err != nil {
			t.Fatal(err)
		}
		o := DefaultOptions(7)
		for i := range s.Fruits {
			v, ok := View(s, &s.Fruits[i], o)
			if !ok {
				t.Fatalf("%s fruit %d: no outline", name, i)
			}
			b, err := body.Fit([]body.View{v}, body.Options{})
			if err != nil {
				t.Fatalf("%s fruit %d: %v", name, i, err)
			}
			rows = append(rows, Measure(s, &s.Fruits[i], b))
		}
	}
	get := func(f func(Row) float64) (v []float64) {
		for _, r := range rows {
			v = append(v, f(r))
		}
		return v
	}
	inside := 0
	for _, r := range rows {
		if math.Abs(r.Length) <= r.LengthU {
			inside++
		}
	}
	l, w := Quantile(get(func(r Row) float64 { return r.Length }), 0.5), Quantile(get(func(r Row) float64 { return r.Width }), 0.5)
	if l < 0.02 || l > 0.7 {
		t.Errorf("median length error %.2f %%, want 0.02–0.7", l)
	}
	if w > 0.5 {
		t.Errorf("median width error %.2f %%, want at most 0.5", w)
	}
	if inside < len(rows)*8/10 {
		t.Errorf("U covers the length of %d of %d fruit", inside, len(rows))
	}
}
