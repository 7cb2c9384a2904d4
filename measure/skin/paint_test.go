package skin_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"offtype/measure/colour"
	"offtype/measure/geom"
	"offtype/measure/skin"
)

// noise is a smooth random field: four octaves of six random waves, size about 1/k mm.
type noise struct {
	k  [4][6]geom.Vec3
	ph [4][6]float64
}

func newNoise(r *rand.Rand, size float64) *noise {
	n := &noise{}
	for o := range n.k {
		f := math.Pow(1.9, float64(o)) / size
		for i := range n.k[o] {
			n.k[o][i] = geom.Vec3{X: r.NormFloat64() * f, Y: r.NormFloat64() * f, Z: r.NormFloat64() * f}
			n.ph[o][i] = r.Float64() * 2 * math.Pi
		}
	}
	return n
}

func (n *noise) at(p geom.Vec3) float64 {
	v, a := 0.0, 1.0
	for o := range n.k {
		for i := range n.k[o] {
			v += a * math.Sin(n.k[o][i].Dot(p)+n.ph[o][i]) / 6
		}
		a /= 1.6
	}
	return v
}

// painted draws a ball of radius 60 mm lying along x, seen from straight above, 0.6 mm a pixel, under a sky:
// light (1 + n_z)/2. paint returns the colour at s, theta and the point.
func painted(paint func(s, theta float64, p geom.Vec3) colour.Lab) skin.Photo {
	const size, r, mm = 240, 60.0, 0.6
	ph := skin.Photo{Width: size, Height: size, Pix: make([]uint8, 3*size*size), Camera: geom.Vec3{X: 0, Y: 0, Z: 1e6}}
	ph.Colour = colour.Uncorrected(colour.Frame{Width: size, Height: size})
	surf := func(p geom.Px) (s, theta float64, point, normal geom.Vec3, ok bool) {
		x, y := (p.X-size/2)*mm/r, -(p.Y-size/2)*mm/r
		q := 1 - x*x - y*y
		if q <= 0 {
			return
		}
		n := geom.Vec3{X: x, Y: y, Z: math.Sqrt(q)}
		return (x + 1) / 2, math.Atan2(n.Z, n.Y), geom.Vec3{X: r * x, Y: r * y, Z: r + r*n.Z}, n, true
	}
	for i := range ph.Pix {
		ph.Pix[i] = 150
	}
	for y := 0; y < size; y++ {
		for x := 0; x < size; x++ {
			var c [3]float64
			hits := 0.0
			for k := 0; k < 4; k++ {
				s, th, p, n, ok := surf(geom.Px{X: float64(x) + float64(k%2)/2 - .25, Y: float64(y) + float64(k/2)/2 - .25})
				if !ok {
					continue
				}
				rgb := paint(s, th, p).RGB()
				for j := range c {
					c[j] += rgb[j] * (1 + n.Z) / 2
				}
				hits++
			}
			if hits < 4 {
				continue
			}
			for j := range c {
				ph.Pix[3*(y*size+x)+j] = uint8(math.Round(255 * colour.Encode(math.Max(0, math.Min(1, c[j]/hits)))))
			}
		}
	}
	var o []geom.Px
	for a := 0; a < 200; a++ {
		t := float64(a) / 200 * 2 * math.Pi
		o = append(o, geom.Px{X: size/2 + r/mm*math.Cos(t), Y: size/2 + r/mm*math.Sin(t)})
	}
	ph.Fruits = []skin.Fruit{{Outline: o, Surface: surf}}
	return ph
}

// TestPaintedMarks paints balls of 120 mm with random marks of known size and shape. The pattern must be right for
// nearly all: random fields of 25 mm are mottled, of 8 mm dots and of 70 mm patches on such a ball (the project's own
// limits, set half-way on a logarithmic scale).
func TestPaintedMarks(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	ground, second := colour.Lab{L: 60, A: -3, B: 5}, colour.Lab{L: 78, A: 0, B: 18}
	random := func(size float64) func(float64, float64, geom.Vec3) colour.Lab {
		n := newNoise(r, size)
		return func(_, _ float64, p geom.Vec3) colour.Lab {
			if n.at(p) > 0.3 {
				return second
			}
			return ground
		}
	}
	for _, c := range []struct {
		want skin.Pattern
		make func() func(s, theta float64, p geom.Vec3) colour.Lab
	}{
		{skin.None, func() func(float64, float64, geom.Vec3) colour.Lab {
			return func(float64, float64, geom.Vec3) colour.Lab { return ground }
		}},
		{skin.None, func() func(float64, float64, geom.Vec3) colour.Lab { // mild mottling: 6 % in light
			n := newNoise(r, 25)
			return func(_, _ float64, p geom.Vec3) colour.Lab {
				rgb, k := ground.RGB(), 1+.06*n.at(p)
				return colour.RGB{k * rgb[0], k * rgb[1], k * rgb[2]}.Lab()
			}
		}},
		{skin.Stripes, func() func(float64, float64, geom.Vec3) colour.Lab {
			return func(_, th float64, _ geom.Vec3) colour.Lab {
				if math.Cos(9*th) > 0.6 {
					return second
				}
				return ground
			}
		}},
		{skin.Bands, func() func(float64, float64, geom.Vec3) colour.Lab {
			return func(s, _ float64, _ geom.Vec3) colour.Lab {
				if math.Cos(5*2*math.Pi*s) > 0.6 {
					return second
				}
				return ground
			}
		}},
		{skin.Dots, func() func(float64, float64, geom.Vec3) colour.Lab { return random(8) }},
		{skin.Mottled, func() func(float64, float64, geom.Vec3) colour.Lab { return random(22) }},
		{skin.Patches, func() func(float64, float64, geom.Vec3) colour.Lab { return random(70) }},
	} {
		const n = 10
		right, seen, stripes := 0, 0, 0
		for range n {
			ph := painted(c.make())
			got := skin.Measure(&ph, skin.DefaultOptions())[0]
			if c.want != skin.None && got.Pattern == skin.None {
				continue // the marks may lie on the far side
			}
			seen++
			if got.Pattern == c.want {
				right++
			}
			if got.Stripes == 9 {
				stripes++
			}
			if de := colour.DeltaE2000(got.Main, ground); got.Pattern != skin.Patches && de > 4 {
				t.Errorf("%s: main colour %v, painted %v", c.want, got.Main, ground)
			}
		}
		t.Logf("%s: %d of %d right", c.want, right, seen)
		if right*10 < seen*7 || seen < n/2 {
			t.Errorf("%s: %d of %d right", c.want, right, seen)
		}
		if c.want == skin.Stripes && stripes < n*9/10 {
			t.Errorf("nine stripes counted %d times of %d", stripes, n)
		}
	}
}

// TestGroundSpot paints a pale, soft-edged patch of 30 mm on a dark ball: it is no secondary colour and not the main one.
func TestGroundSpot(t *testing.T) {
	dark, pale := colour.Lab{L: 33, A: -12, B: 16}.RGB(), colour.Lab{L: 80, A: 2, B: 38}.RGB()
	ph := painted(func(_, _ float64, p geom.Vec3) colour.Lab {
		d := p.Sub(geom.Vec3{X: 10, Y: 15, Z: 115}).Norm() / 30
		k := 1 / (1 + math.Exp((d-1)*9))
		return colour.RGB{dark[0] + k*(pale[0]-dark[0]), dark[1] + k*(pale[1]-dark[1]), dark[2] + k*(pale[2]-dark[2])}.Lab()
	})
	r := skin.Measure(&ph, skin.DefaultOptions())[0]
	if r.Second != nil || r.Pattern != skin.None || colour.DeltaE2000(r.Main, dark.Lab()) > 4 {
		t.Errorf("main %v, second %v, %s", r.Main, r.Second, r.Pattern)
	}
	if len(r.More) != 1 || r.More[0].Kind != "ground spot" {
		t.Errorf("further colours %v, want a ground spot", r.More)
	}
}

// TestNothingToSee: too small, outside the picture, no body, everything clipped.
func TestNothingToSee(t *testing.T) {
	ph := painted(func(float64, float64, geom.Vec3) colour.Lab { return colour.Lab{L: 60} })
	good := ph.Fruits[0]
	tiny := skin.Fruit{Outline: []geom.Px{{X: 5, Y: 5}, {X: 8, Y: 5}, {X: 6, Y: 8}}}
	out := skin.Fruit{Outline: []geom.Px{{X: -90, Y: -90}, {X: -10, Y: -90}, {X: -10, Y: -10}, {X: -90, Y: -10}}}
	ph.Fruits = []skin.Fruit{tiny, out, {}, {Outline: good.Outline}, good}
	r := skin.Measure(&ph, skin.Options{})
	for i := range 3 {
		if r[i].OK || len(r[i].Notes) == 0 {
			t.Errorf("fruit %d: %+v", i, r[i])
		}
	}
	if !r[3].OK || r[3].Ribs != -1 || !r[4].OK {
		t.Errorf("without a body: %+v; with: %+v", r[3], r[4])
	}
	for i := range ph.Pix {
		ph.Pix[i] = 255
	}
	if r := skin.Measure(&ph, skin.DefaultOptions()); r[4].OK || r[4].Notes[0] != "colour-out-of-range" {
		t.Errorf("all clipped: %+v", r[4])
	}
	if len(skin.Measure(&skin.Photo{Colour: ph.Colour}, skin.DefaultOptions())) != 0 {
		t.Error("no fruit gave results")
	}
}

// TestMarksOfTheTablesColour: dark green marks with a sharp edge are marks also on a green table, though the main colour
// in the table's green light looks like them; half and half, the larger part is the main colour.
func TestMarksOfTheTablesColour(t *testing.T) {
	light, dark, table := colour.Lab{L: 68, A: -6, B: 34}, colour.Lab{L: 45, A: -14, B: 26}, colour.RGB{.05, .2, .11}
	for _, c := range []struct {
		limit        float64 // of cos(9 theta), below which the skin is dark
		main, second colour.Lab
	}{{-.5, light, dark}, {.2, dark, light}} {
		ph := painted(func(_, th float64, _ geom.Vec3) colour.Lab {
			if math.Cos(9*th) < c.limit {
				return dark
			}
			return light
		})
		for i := 0; i < len(ph.Pix); i += 3 {
			if [3]uint8(ph.Pix[i:i+3]) == [3]uint8{150, 150, 150} {
				for k, v := range table {
					ph.Pix[i+k] = uint8(math.Round(255 * colour.Encode(v)))
				}
			}
		}
		r := skin.Measure(&ph, skin.DefaultOptions())[0]
		if r.Pattern != skin.Stripes || r.Second == nil || colour.DeltaE2000(r.Main, c.main) > 4 || colour.DeltaE2000(*r.Second, c.second) > 4 {
			t.Errorf("dark below %.1f: main %.0f, second %v, %s; painted %.0f and %.0f", c.limit, r.Main, r.Second, r.Pattern, c.main, c.second)
		}
	}
}
