package segment

import (
	"math"
	"testing"
)

// paintedNet is sure of a fruit at one place and says body (a logit) of another place.
type paintedNet struct {
	body, stem float32
	asked      int
	other      *paintedNet
}

func (p *paintedNet) Second() Net { return p.other }

func (p *paintedNet) Forward(_ []float32, shape []int) ([]float32, []int, error) {
	h, w := shape[2]/2, shape[3]/2
	if max(h, w) == 512 {
		p.asked++
	} else if p.other == nil {
		return p.closer(w, h), []int{1, channels, h, w}, nil
	}
	out := make([]float32, channels*h*w)
	plane := func(c int) []float32 { return out[c*h*w:][:h*w] }
	for _, c := range []int{chBody, chStalk, chSeam, chStem, chBlossom} {
		for i := range plane(c) {
			plane(c)[i] = -6
		}
	}
	for i := range h * w {
		for k, at := range [2]float64{0.3, 0.7} {
			x, y := at*float64(w)-float64(i%w), 0.4*float64(w)-float64(i/w)
			if math.Hypot(x, y) < 0.06*float64(w) {
				plane(chBody)[i] = [2]float32{6, p.body}[k]
				plane(chDX)[i], plane(chDY)[i] = float32(x)/offsetUnit, float32(y)/offsetUnit
				plane(chStem)[i] = p.stem
			}
		}
	}
	return out, []int{1, channels, h, w}, nil
}

// closer paints the second disc alone, as it lies in the middle of a closer look.
func (p *paintedNet) closer(w, h int) []float32 {
	out := make([]float32, channels*h*w)
	for i := range out[:(chSeam+1)*h*w] {
		out[i] = -6
	}
	for i := range h * w {
		x, y := float64(w/2-i%w), float64(h/2-i/w)
		if math.Hypot(x, y) < magnified*0.06*512 {
			out[i] = p.body
			out[chDX*h*w+i], out[chDY*h*w+i] = float32(x)/offsetUnit, float32(y)/offsetUnit
		}
	}
	return out
}

// TestSecondOpinion: the second network is asked about doubtful photos alone; the mean of both
// and of its closer look decides what is fruit, and the first one's ends stay.
func TestSecondOpinion(t *testing.T) {
	im := Image{make([]uint8, 3*1600*1200), 1600, 1200}
	opt := DefaultOptions()
	opt.Refine, opt.OwnColours = false, 0
	for _, c := range []struct {
		name          string
		first, second float32
		asked, fruit  int
	}{
		{"sure of a fruit", 6, -6, 0, 2},
		{"sure of none", -6, 6, 0, 1},
		{"doubt, and the other says no", 1.5, -6, 1, 1},
		{"doubt, and the other says yes", -0.3, 6, 1, 2},
	} {
		other := &paintedNet{body: c.second, stem: -6}
		res, err := Find(im, &paintedNet{body: c.first, stem: 3, other: other}, nil, opt)
		if err != nil {
			t.Fatal(err)
		}
		if other.asked != c.asked || len(res.Fruits) != c.fruit {
			t.Errorf("%s: asked %d times, %d fruit; want %d and %d", c.name, other.asked, len(res.Fruits), c.asked, c.fruit)
		}
		m := res.Maps
		if v := m.Stem[205*m.W+154]; v < 0.9 {
			t.Errorf("%s: the first network's stem heat is %.2f after all", c.name, v)
		}
	}
	if err := func() error { _, err := Find(im, &discNet{radius: 0.08}, nil, opt); return err }(); err != nil {
		t.Errorf("a network without a second one: %v", err)
	}
}
