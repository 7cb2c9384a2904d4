package segment

import (
	"math"
	"testing"

	"offtype/measure/geom"
)

type disc struct{ x, y, r float64 }

func circleLine(x, y, r float64, n int) []geom.Px {
	out := make([]geom.Px, n)
	for i := range out {
		a := 2 * math.Pi * float64(i) / float64(n)
		out[i] = geom.Px{X: x + r*math.Cos(a), Y: y + r*math.Sin(a)}
	}
	return out
}

func encode(v float64) uint8 {
	if v <= 0.0031308 {
		v *= 12.92
	} else {
		v = 1.055*math.Pow(v, 1/2.4) - 0.055
	}
	return uint8(clamp(math.Round(255*v), 0, 255))
}

// discImage draws orange discs on a grey table, blurred in linear light with sigma px, so that the
// 50 % place of the edge is the disc's radius (to second order in sigma / r).
func discImage(w, h int, ds []disc, sigma float64) Image {
	im := Image{make([]uint8, 3*w*h), w, h}
	in, out := [3]float64{0.6, 0.25, 0.04}, [3]float64{0.12, 0.12, 0.12}
	for y := range h {
		for x := range w {
			f := 0.0
			for _, d := range ds {
				f = math.Max(f, 0.5*math.Erfc((math.Hypot(float64(x)-d.x, float64(y)-d.y)-d.r)/(sigma*math.Sqrt2)))
			}
			for c := range 3 {
				im.Pix[3*(y*w+x)+c] = encode(f*in[c] + (1-f)*out[c])
			}
		}
	}
	return im
}

func discLabels(w, h int, ds []disc) labels {
	l := labels{make([]uint8, w*h), w, h}
	for i := range l.pix {
		for k, d := range ds {
			if math.Hypot(float64(i%w)-d.x, float64(i/w)-d.y) < d.r {
				l.pix[i] = uint8(k + 1)
			}
		}
	}
	return l
}

// TestDiscArea: the outline of a drawn disc encloses πr² to 0.1 px × perimeter, for several sizes,
// blurs and places between the pixels.
func TestDiscArea(t *testing.T) {
	for _, sigma := range []float64{0.6, 1, 2} {
		for _, r := range []float64{40, 71.3, 130} {
			ds := []disc{{300.3, 240.7, r}, {650.5, 250, r * 0.7}}
			im := discImage(900, 520, ds, sigma)
			res := FromMaps(im, simulated(discLabels(900, 520, ds), nil, 1, 3), nil, DefaultOptions())
			if len(res.Fruits) != 2 {
				t.Fatalf("r %v sigma %v: %d fruit, want 2", r, sigma, len(res.Fruits))
			}
			for k, f := range res.Fruits {
				want := math.Pi * ds[k].r * ds[k].r
				tol := 0.1 * 2 * math.Pi * ds[k].r
				if a := geom.Area(f.Outline); math.Abs(a-want) > tol {
					t.Errorf("r %v sigma %v: area %.1f px², want %.1f ± %.1f (%.3f px per side)", ds[k].r, sigma, a, want, tol, (a-want)/(2*math.Pi*ds[k].r))
				}
				if c := geom.Centroid(f.Outline); math.Hypot(c.X-ds[k].x, c.Y-ds[k].y) > 0.1 {
					t.Errorf("r %v sigma %v: centre %v, want %v", ds[k].r, sigma, c, ds[k])
				}
			}
		}
	}
}

// TestSeamAndFrame: two discs that overlap are two fruit with contact points between them, and a
// disc over the picture's border is cut there.
func TestSeamAndFrame(t *testing.T) {
	ds := []disc{{200, 200, 80}, {345, 210, 75}, {640, 300, 90}}
	im := discImage(680, 420, ds, 0.8)
	res := FromMaps(im, simulated(discLabels(680, 420, ds), nil, 1, 5), nil, DefaultOptions())
	if len(res.Fruits) != 3 {
		t.Fatalf("%d fruit, want 3; rejected %v", len(res.Fruits), res.Rejected)
	}
	count := func(f Fruit, e geom.Edge) (n int) {
		for _, x := range f.Edge {
			if x == e {
				n++
			}
		}
		return
	}
	for i := range 2 {
		if n := count(res.Fruits[i], geom.EdgeContact); n < 10 {
			t.Errorf("fruit %d has %d contact points", i+1, n)
		}
		if res.Fruits[i].CutByFrame {
			t.Errorf("fruit %d is called cut", i+1)
		}
	}
	f := res.Fruits[2]
	if !f.CutByFrame || count(f, geom.EdgeFrame) < 50 || f.Notes[0] != "cut" {
		t.Errorf("the disc over the border: cut %v, %d frame points, notes %v", f.CutByFrame, count(f, geom.EdgeFrame), f.Notes)
	}
	if _, hi := geom.Bounds(f.Outline); math.Abs(hi.X-679.5) > 0.01 {
		t.Errorf("outline ends at x = %.2f, want the border 679.5", hi.X)
	}
}

// fakeNet gives whatever it holds.
type fakeNet struct {
	out   []float32
	shape []int
	err   error
}

func (f fakeNet) Forward(in []float32, shape []int) ([]float32, []int, error) {
	return f.out, f.shape, f.err
}

// everyNet fills the maps of any input size with value(i, cells a channel).
type everyNet func(i, plane int) float32

func (f everyNet) Forward(_ []float32, shape []int) ([]float32, []int, error) {
	h, w := shape[2]/2, shape[3]/2
	out := make([]float32, channels*h*w)
	for i := range out {
		out[i] = f(i, h*w)
	}
	return out, []int{1, channels, h, w}, nil
}

func TestEmptyAndBroken(t *testing.T) {
	im := discImage(300, 200, nil, 1)
	empty := everyNet(func(i, plane int) float32 {
		if c := i / plane; c < chCentre || c > chDY {
			return -8
		}
		return 0
	})
	res, err := Find(im, empty, nil, DefaultOptions())
	if err != nil || len(res.Fruits) != 0 {
		t.Errorf("photo without fruit: %v, %v", res, err)
	}
	broken := everyNet(func(int, int) float32 { return float32(math.NaN()) })
	if res, err = Find(im, broken, nil, DefaultOptions()); err != nil || len(res.Fruits) != 0 {
		t.Errorf("maps of NaN: %v, %v", res, err)
	}
	wild := everyNet(func(i, _ int) float32 { return float32(i%7) * 1e9 }) // everything is fruit, votes go anywhere
	if _, err = Find(im, wild, nil, DefaultOptions()); err != nil {
		t.Error(err)
	}
	shape := []int{1, channels, 352, 512}
	if _, err = Find(im, fakeNet{out: make([]float32, 10), shape: shape}, nil, DefaultOptions()); err == nil {
		t.Error("short maps: no error")
	}
	if _, err = Find(Image{}, fakeNet{}, nil, DefaultOptions()); err != ErrEmptyPhoto {
		t.Errorf("empty photo: %v", err)
	}
	if _, err = Find(Image{make([]uint8, 3), 1, 1}, fakeNet{out: nil, shape: nil}, nil, DefaultOptions()); err == nil {
		t.Error("one pixel, no maps: no error")
	}
}

func TestKeepOut(t *testing.T) {
	ds := []disc{{150, 150, 60}, {320, 150, 60}}
	card := []geom.Px{{X: 80, Y: 80}, {X: 220, Y: 80}, {X: 220, Y: 220}, {X: 80, Y: 220}}
	res := FromMaps(discImage(480, 300, ds, 1), simulated(discLabels(480, 300, ds), nil, 1, 1), [][]geom.Px{card}, DefaultOptions())
	if len(res.Fruits) != 1 || !geom.Contains(res.Fruits[0].Outline, geom.Px{X: 320, Y: 150}) {
		t.Errorf("%d fruit, want only the one outside the card", len(res.Fruits))
	}
}

func TestReadingOrder(t *testing.T) {
	c := func(x, y float64) []geom.Px { return circleLine(x, y, 20, 40) }
	// A row that runs down a little, then a second row.
	var fs []Fruit
	for i, o := range [][]geom.Px{c(300, 112), c(100, 95), c(200, 104), c(220, 160), c(110, 150)} {
		fs = append(fs, Fruit{Number: i, Outline: o})
	}
	sortReading(fs)
	for i, want := range []int{1, 2, 0, 4, 3} {
		if fs[i].Number != want {
			t.Errorf("place %d: outline %d, want %d", i, fs[i].Number, want)
		}
	}
}

// TestFillSpans: the pixels whose centres lie inside, and nothing outside the picture.
func TestFillSpans(t *testing.T) {
	fill := func(w, h int) map[[2]int]int {
		in := map[[2]int]int{}
		FillSpans([]geom.Px{{X: 2.5, Y: 2.5}, {X: 12.5, Y: 2.5}, {X: 12.5, Y: 7.5}, {X: 2.5, Y: 7.5}}, w, h, func(y, x0, x1 int) {
			for x := x0; x < x1; x++ {
				in[[2]int{x, y}]++
			}
		})
		return in
	}
	m := fill(20, 10)
	if len(m) != 50 || m[[2]int{3, 3}] != 1 || m[[2]int{12, 7}] != 1 || m[[2]int{13, 7}] != 0 {
		t.Errorf("%d pixels, want 10 × 5", len(m))
	}
	if m = fill(6, 5); len(m) != 6 {
		t.Errorf("%d pixels in a picture of 6 × 5, want 3 × 2", len(m))
	}
}

// TestWhittaker: a straight series on the ring stays, and lambda 0 gives the data back.
func TestWhittaker(t *testing.T) {
	y := []float64{1, 4, 2, 8, 5, 7, 1, 0, 3, 9}
	for i, z := range whittaker(y, ones(10), 0) {
		if math.Abs(z-y[i]) > 1e-6 {
			t.Errorf("lambda 0 changed %v to %v", y[i], z)
		}
	}
	c := make([]float64, 50)
	for i := range c {
		c[i] = 3
	}
	for _, z := range whittaker(c, ones(50), 20) {
		if math.Abs(z-3) > 1e-6 {
			t.Fatalf("a constant became %v", z)
		}
	}
}

// TestSameTwice: the same photo gives the same outlines to the last bit.
func TestSameTwice(t *testing.T) {
	ds := []disc{{200, 200, 80}, {345, 210, 75}, {640, 300, 90}}
	im := discImage(680, 420, ds, 0.8)
	a := FromMaps(im, simulated(discLabels(680, 420, ds), nil, 1, 5), nil, DefaultOptions())
	b := FromMaps(im, simulated(discLabels(680, 420, ds), nil, 1, 5), nil, DefaultOptions())
	for i := range a.Fruits {
		for k, p := range a.Fruits[i].Outline {
			if p != b.Fruits[i].Outline[k] {
				t.Fatalf("fruit %d point %d: %v and %v", i+1, k, p, b.Fruits[i].Outline[k])
			}
		}
	}
}

// TestUntangle: a circle with a small loop drawn in keeps its points but for the loop.
func TestUntangle(t *testing.T) {
	line := circleLine(100, 100, 50, 200)
	for k, p := range circleLine(152, 100, 3, 12) { // runs out, round and back across itself
		line = append(line[:5+k], append([]geom.Px{p}, line[5+k:]...)...)
	}
	n := len(line)
	c := &candidate{line: line, edge: make([]geom.Edge, n), other: make([]int32, n), sigma: make([]float64, n)}
	c.untangle(60)
	for i, a := range c.line {
		for j := i + 2; j < len(c.line); j++ {
			if p, ok := crossing(a, c.line[(i+1)%len(c.line)], c.line[j], c.line[(j+1)%len(c.line)]); ok {
				t.Fatalf("crosses itself at %v", p)
			}
		}
	}
	if len(c.line) < 195 || len(c.edge) != len(c.line) {
		t.Errorf("%d points left of 200, %d marks", len(c.line), len(c.edge))
	}
}
