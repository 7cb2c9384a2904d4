package main

import (
	"image"
	"math"
	"testing"

	"offtype/measure/geom"
	"offtype/pipeline/segment"
)

// dot is a round red fruit of radius r on a transparent ground.
func dot(n int, r float64) *layer {
	l := newLayer(n, n)
	for i := range l.a {
		if math.Hypot(float64(i%n)-float64(n-1)/2, float64(i/n)-float64(n-1)/2) < r {
			l.c[i], l.a[i] = [3]float32{200, 10, 10}, 1
		}
	}
	return l
}

// A disc scaled by k covers k² times the area, whatever its turn (closed formula).
func TestTurned(t *testing.T) {
	for _, k := range []float64{0.4, 1, 2.3} {
		o, n := dot(101, 40).turned(k, 0.7), 0
		for _, a := range o.a {
			if a >= 0.5 {
				n++
			}
		}
		want := math.Pi * 40 * 40 * k * k
		if math.Abs(float64(n)-want) > 0.02*want {
			t.Errorf("scale %g: %d px, want %.0f", k, n, want)
		}
	}
}

// A constant stays constant under the blur, and a single value keeps its sum.
func TestBlurred(t *testing.T) {
	v := make([]float32, 40*30)
	v[15*40+20] = 1
	sum := 0.0
	for _, x := range blurred(v, 40, 30, 2) {
		sum += float64(x)
	}
	if math.Abs(sum-1) > 1e-4 {
		t.Errorf("sum %g, want 1", sum)
	}
}

func TestEmptySquare(t *testing.T) {
	g := image.NewGray(image.Rect(0, 0, 20, 12))
	g.Pix[5*g.Stride+4] = 9
	if got, want := emptySquare(g), image.Rect(5, 0, 17, 12); got.Size() != want.Size() || (image.Point{4, 5}).In(got) {
		t.Errorf("got %v, want the size of %v without (4, 5)", got, want)
	}
}

func circle(x, y, r float64) (f segment.Fruit) {
	for i := range 200 {
		s, c := math.Sincos(float64(i) / 100 * math.Pi)
		f.Outline = append(f.Outline, geom.Px{X: x + r*c, Y: y + r*s})
	}
	f.Confidence = 1
	return f
}

// Two touching fruit: right outlines, one outline around both, a missed one, an invented one.
func TestCompare(t *testing.T) {
	tab := &table{layer: newLayer(200, 100), picture: picture{label: make([]uint8, 200*100)}}
	tab.put(dot(61, 25), 30, 20)
	tab.fruits = append(tab.fruits, "a")
	tab.put(dot(61, 25), 80, 20)
	a, b := circle(60, 50, 25), circle(110, 50, 25)
	var both segment.Fruit
	both.Outline = []geom.Px{{X: 30, Y: 20}, {X: 140, Y: 20}, {X: 140, Y: 80}, {X: 30, Y: 80}}
	for _, c := range []struct {
		name                string
		fs                  []segment.Fruit
		found, extra, asOne int
		right               bool
	}{
		{"right", []segment.Fruit{a, b}, 2, 0, 0, true},
		{"missed", []segment.Fruit{a}, 1, 0, 0, false},
		{"joined", []segment.Fruit{both}, 0, 1, 2, false},
		{"invented", []segment.Fruit{a, b, circle(170, 50, 10)}, 2, 1, 0, false},
	} {
		r := compare(tab.label, 200, 100, 2, c.fs)
		if r.found != c.found || r.extra != c.extra || r.asOne != c.asOne || r.right() != c.right {
			t.Errorf("%s: found %d extra %d joined %d right %v", c.name, r.found, r.extra, r.asOne, r.right())
		}
		if c.right && (r.overlap[0] < 0.97 || math.Abs(r.bias[0]) > 0.3) {
			t.Errorf("%s: overlap %.3f, edge %+.2f px", c.name, r.overlap[0], r.bias[0])
		}
	}
}

// A fruit moved until it touches leaves no free pixel between and covers none of the other.
func TestPlaceTouching(t *testing.T) {
	tab := newTable(300, 300, 0, 5)
	s := dot(61, 25)
	tab.put(s, 120, 120)
	tab.fruits = append(tab.fruits, "a")
	x, y, ok := tab.place(s, true)
	if !ok || tab.hits(s, x, y, 0) || !tab.hits(s, x, y, 2) {
		t.Errorf("ok %v at (%d, %d): overlaps %v, within 2 px %v", ok, x, y, tab.hits(s, x, y, 0), tab.hits(s, x, y, 2))
	}
}
