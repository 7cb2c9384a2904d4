package grain

import (
	"math"
	"math/rand"
	"testing"

	"offtype/measure/geom"
)

const side = 480 // px of the test pictures

// picture paints a table and, inside an ellipse, a fruit: skin returns the relative brightness at a place measured from its
// middle, px. Shading falls towards the rim as on a matt ball; noise is that of a phone in shade, 1.5 of 255.
func picture(skin func(x, y float64) float64) (*Photo, []geom.Px) {
	rng := rand.New(rand.NewSource(1))
	ph := &Photo{Pix: make([]uint8, 3*side*side), Width: side, Height: side}
	const rx, ry, c = 190.0, 150.0, side / 2
	for i := range side * side {
		x, y := float64(i%side)-c, float64(i/side)-c
		v := 60.0
		if r := x*x/(rx*rx) + y*y/(ry*ry); r < 1 {
			v = 150 * (0.45 + 0.55*math.Sqrt(1-r)) * skin(x, y)
		}
		for k := range 3 {
			ph.Pix[3*i+k] = uint8(math.Max(0, math.Min(255, v*(1-0.2*float64(k))+1.5*rng.NormFloat64())))
		}
	}
	var outline []geom.Px
	for k := range 300 {
		sn, cs := math.Sincos(2 * math.Pi * float64(k) / 300)
		outline = append(outline, geom.Px{X: c + rx*cs, Y: c + ry*sn})
	}
	return ph, outline
}

func plain(_, _ float64) float64 { return 1 }

// Straight lines of any direction come back with it: the mean within a degree, single strokes within what they state, but
// for some near the rim, whose shade runs along it.
func TestStraightLines(t *testing.T) {
	for _, deg := range []float64{0, 25, 90, 140} {
		sn, cs := math.Sincos(deg * math.Pi / 180)
		ph, outline := picture(func(x, y float64) float64 { return 1 + 0.12*math.Sin((y*cs-x*sn)/11) })
		l := Strokes(ph, outline, nil)
		if len(l) != most {
			t.Fatalf("%v°: %d strokes, want %d", deg, len(l), most)
		}
		mean, far := 0.0, 0
		for _, s := range l {
			d := math.Remainder(s.Dir-deg*math.Pi/180, math.Pi)
			mean += d / float64(len(l))
			if math.Abs(d) > 2.5*s.Sigma {
				far++
			}
			if p := s.At.Sub(geom.Px{X: side / 2, Y: side / 2}); p.X*p.X/(190*190)+p.Y*p.Y/(150*150) > 1 {
				t.Errorf("%v°: a stroke at %v lies off the fruit", deg, s.At)
			}
		}
		if math.Abs(mean) > math.Pi/180 || far > len(l)/6 {
			t.Errorf("%v°: mean %.2f° off, %d of %d beyond 2.5 sigma", deg, mean*180/math.Pi, far, len(l))
		}
	}
}

// Shading, noise, a highlight and a fruit of few pixels give no lines.
func TestPlainSkin(t *testing.T) {
	ph, outline := picture(plain)
	if l := Strokes(ph, outline, nil); l != nil {
		t.Errorf("plain skin: %d strokes", len(l))
	}
	ph, outline = picture(func(x, y float64) float64 { return 1 + 0.4*math.Exp(-(x*x/(60*60)+(y-40)*(y-40)/(25*25))) })
	if l := Strokes(ph, outline, nil); l != nil {
		t.Errorf("highlight: %d strokes", len(l))
	}
	var small []geom.Px
	for _, p := range outline {
		small = append(small, geom.Px{X: 200 + p.X/16, Y: 200 + p.Y/16})
	}
	if l := Strokes(ph, small, nil); l != nil {
		t.Errorf("a fruit of 20 px: %d strokes", len(l))
	}
	for _, bad := range [][]geom.Px{nil, outline[:2], {{X: math.NaN()}, {X: 1}, {Y: 300}}, {{X: -900, Y: -900}, {X: -100, Y: -900}, {X: -100, Y: -100}}} {
		if l := Strokes(ph, bad, nil); l != nil {
			t.Errorf("outline %v: %d strokes", bad, len(l))
		}
	}
}

// Lines on the stalk are not those of the skin.
func TestStalkIsLeftOut(t *testing.T) {
	stalk := []geom.Px{{X: 180, Y: 150}, {X: 300, Y: 150}, {X: 300, Y: 330}, {X: 180, Y: 330}}
	ph, outline := picture(func(x, y float64) float64 {
		if math.Abs(x) < 60 && math.Abs(y) < 90 {
			return 1 + 0.3*math.Sin(x/6)
		}
		return 1
	})
	if l := Strokes(ph, outline, nil); len(l) < fewest {
		t.Fatalf("%d strokes without a stalk: no test", len(l))
	}
	if l := Strokes(ph, outline, stalk); l != nil {
		t.Errorf("%d strokes on the stalk", len(l))
	}
}

func BenchmarkStrokes(b *testing.B) {
	ph, outline := picture(func(x, _ float64) float64 { return 1 + 0.1*math.Sin(x/11) })
	for b.Loop() {
		Strokes(ph, outline, nil)
	}
}
