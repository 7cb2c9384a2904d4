package segment

import (
	"math"
	"testing"

	"offtype/measure/geom"
)

// discNet names one disc about the middle of the input. In inputs of full size a disc longer than
// half of it falls into four quarters that name centres of their own, as a fruit does that is more
// than the network sees at once.
type discNet struct {
	radius float64 // share of the long side
	sides  []int   // long side of each input
}

func (d *discNet) Forward(_ []float32, shape []int) ([]float32, []int, error) {
	h, w := shape[2]/2, shape[3]/2
	d.sides = append(d.sides, max(shape[2], shape[3]))
	out := make([]float32, channels*h*w)
	for i := range out[:chCentre*h*w] {
		out[i] = -6
	}
	for i := range out[chStem*h*w:] {
		out[chStem*h*w+i] = -6
	}
	pieces := max(h, w) == 512 && d.radius > 0.25
	cx, cy, r := float64(w)/2, float64(h)/2, d.radius*float64(w)
	for y := range h {
		for x := range w {
			dx, dy := float64(x)+0.5-cx, float64(y)+0.5-cy
			if math.Hypot(dx, dy) > r || (pieces && math.Min(math.Abs(dx), math.Abs(dy)) < 0.1*r) {
				continue
			}
			i := y*w + x
			out[i] = 6
			if pieces {
				dx, dy = dx-math.Copysign(0.5*r, dx), dy-math.Copysign(0.5*r, dy)
			}
			out[chDX*h*w+i], out[chDY*h*w+i] = float32(-dx/offsetUnit), float32(-dy/offsetUnit)
		}
	}
	return out, []int{1, channels, h, w}, nil
}

// TestLargeFruitIsOne: pieces of the full pass are one fruit after the closer look, of the right
// size; a photo without large fruit pays for the glance, and for a look at the stem end that it does not show.
func TestLargeFruitIsOne(t *testing.T) {
	im := Image{make([]uint8, 3*1600*1200), 1600, 1200}
	opt := DefaultOptions()
	opt.Refine, opt.OwnColours = false, 0
	for _, c := range []struct {
		radius float64
		closer bool
		fruit  int
		passes int
	}{
		{0.08, true, 1, 3},
		{0.28, false, 4, 1},
		{0.28, true, 1, 3},
	} {
		net := &discNet{radius: c.radius}
		opt.Closer = c.closer
		res, err := Find(im, net, nil, opt)
		if err != nil {
			t.Fatal(err)
		}
		if len(res.Fruits) != c.fruit || len(net.sides) != c.passes {
			t.Errorf("disc of %.2f, closer look %v: %d fruit in passes at %v; want %d in %d", c.radius, c.closer, len(res.Fruits), net.sides, c.fruit, c.passes)
			continue
		}
		if want := math.Pi * math.Pow(c.radius*1600, 2); c.fruit == 1 {
			if off := geom.Area(res.Fruits[0].Outline)/want - 1; math.Abs(off) > 0.03 {
				t.Errorf("disc of %.2f: area off by %+.1f %%, want 3 %% at most", c.radius, 100*off)
			}
		}
	}
}
