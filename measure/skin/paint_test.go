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

func TestPaintedNoise(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, size := range []float64{7, 9, 12, 18, 25, 30, 40, 55, 70} {
		for _, level := range []float64{.2, .35} {
			count := map[skin.Pattern]int{}
			for range 12 {
				n := newNoise(r, size)
				ph := painted(func(s, th float64, p geom.Vec3) colour.Lab {
					if n.at(p) > level*1.1 {
						return colour.Lab{L: 78, A: 0, B: 18}
					}
					return colour.Lab{L: 60, A: -3, B: 5}
				})
				count[skin.Measure(&ph, skin.DefaultOptions())[0].Pattern]++
			}
			t.Log(size, level, count)
		}
	}
}
