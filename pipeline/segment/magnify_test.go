package segment

import (
	"math"
	"testing"

	"offtype/measure/geom"
)

// nearNet knows white discs for fruit when they are at least known px across in its input, and has
// the body logit faint there when they are smaller. It counts the input px that it was given.
type nearNet struct {
	known int
	faint float32
	px    int
	sizes []int
	other *nearNet
}

func (n *nearNet) Second() Net { return n.other }

func (n *nearNet) Forward(in []float32, shape []int) ([]float32, []int, error) {
	ih, iw := shape[2], shape[3]
	h, w := ih/2, iw/2
	n.px += ih * iw
	n.sizes = append(n.sizes, max(ih, iw))
	out := make([]float32, channels*h*w)
	for _, c := range []int{chBody, chStalk, chSeam, chStem, chBlossom} {
		for i := range h * w {
			out[c*h*w+i] = -8
		}
	}
	g := &regions{w: w, h: h}
	seen := make([]bool, h*w)
	white := func(i int) bool { return in[2*(i/w)*iw+2*(i%w)] > 0.7 }
	for s := range seen {
		if !white(s) || seen[s] {
			continue
		}
		part := g.gather(nil, s, func(j int) bool { return white(j) && !seen[j] }, func(j int) { seen[j] = true })
		b := box{w, h, -1, -1}
		for _, i := range part {
			b = b.with(i%w, i/w)
		}
		say := n.faint
		if 2*b.long() >= n.known {
			say = 8
		}
		for _, i := range part {
			out[i] = say
			out[chDX*h*w+i] = (float32(b.x0+b.x1)/2 - float32(i%w)) / offsetUnit
			out[chDY*h*w+i] = (float32(b.y0+b.y1)/2 - float32(i/w)) / offsetUnit
		}
	}
	return out, []int{1, channels, h, w}, nil
}

// discs draws white discs of so many px across on black.
func discs(w, h int, across float64, at ...geom.Px) Image {
	im := Image{make([]uint8, 3*w*h), w, h}
	for i := range w * h {
		for _, p := range at {
			if math.Hypot(float64(i%w)-p.X, float64(i/w)-p.Y) < across/2 {
				im.Pix[3*i], im.Pix[3*i+1], im.Pix[3*i+2] = 240, 240, 240
			}
		}
	}
	return im
}

// TestMagnify: small fruit that both networks hardly see are found where they are sure of them when
// they look closer, each at its place and as one; where neither holds a hint nobody looks.
func TestMagnify(t *testing.T) {
	at := []geom.Px{{X: 31, Y: 290}, {X: 700, Y: 400}, {X: 1300, Y: 1160}}
	im := discs(1600, 1200, 100, at...) // 64 px across in the network's input
	opt := DefaultOptions()
	opt.Refine, opt.OwnColours = false, 0
	for _, c := range []struct {
		name         string
		first, other nearNet
		fruit, looks int
	}{
		{"both see a hint", nearNet{known: 99, faint: -2.5}, nearNet{known: 99, faint: -2.5}, 3, 4},
		{"only the first sees a hint", nearNet{known: 99, faint: -2.5}, nearNet{known: 99, faint: -8}, 3, 4},
		{"the closer look is no surer", nearNet{known: 99, faint: -2.5}, nearNet{known: 999, faint: -2.5}, 0, 4},
		{"no hint", nearNet{known: 99, faint: -8}, nearNet{known: 99, faint: 8}, 0, 0},
		{"both are sure", nearNet{known: 60}, nearNet{known: 60}, 3, 0},
	} {
		c.first.other = &c.other
		res, err := Find(im, &c.first, nil, opt)
		if err != nil {
			t.Fatal(err)
		}
		if len(res.Fruits) != c.fruit || len(c.other.sizes) != c.looks {
			t.Errorf("%s: %d fruit after looks at %v px; want %d and %d looks", c.name, len(res.Fruits), c.other.sizes, c.fruit, c.looks)
		}
		for i, f := range res.Fruits {
			if p := geom.Centroid(f.Outline); i < len(at) && math.Hypot(p.X-at[i].X, p.Y-at[i].Y) > 4 && at[i].X > 50 {
				t.Errorf("%s: fruit %d at %.0f, %.0f; drawn at %v", c.name, i+1, p.X, p.Y, at[i])
			}
		}
	}
}

// TestMagnifySmallPhoto: a photo that has not the px for it is not looked at closer.
func TestMagnifySmallPhoto(t *testing.T) {
	for _, c := range []struct{ wide, looks int }{{512, 1}, {1000, 2}} {
		other := &nearNet{known: 99, faint: -2.5}
		im := discs(c.wide, c.wide*3/4, float64(c.wide)/16, geom.Px{X: float64(c.wide) / 2, Y: float64(c.wide) / 3})
		if _, err := Find(im, &nearNet{known: 99, faint: -2.5, other: other}, nil, DefaultOptions()); err != nil {
			t.Fatal(err)
		}
		if len(other.sizes) != c.looks {
			t.Errorf("a photo %d px wide is looked at %v, want %d times", c.wide, other.sizes, c.looks)
		}
	}
}

// TestMagnifyCost: a photo full of hints costs at most one and a half looks at the whole, and one
// place is looked at once.
func TestMagnifyCost(t *testing.T) {
	var at []geom.Px
	for i := range 48 {
		at = append(at, geom.Px{X: 100 + 200*float64(i%8), Y: 100 + 190*float64(i/8)})
	}
	other := &nearNet{known: 99, faint: -2.5}
	if _, err := Find(discs(1600, 1200, 60, at...), &nearNet{known: 99, faint: -2.5, other: other}, nil, DefaultOptions()); err != nil {
		t.Fatal(err)
	}
	const whole = 1024 * 768
	if len(other.sizes) < 5 || 2*other.px > 3*whole {
		t.Errorf("%d looks of %d px in all; want more than four of at most %d", len(other.sizes), other.px, 3*whole/2)
	}
	m := &Maps{W: 512, H: 384}
	if w := m.windows([]box{{100, 100, 130, 130}, {104, 104, 120, 120}, {200, 0, 330, 20}, {480, 360, 511, 383}}); len(w) != 2 || w[0] != (window{83, 83, 64}) || w[1] != (window{448, 320, 64}) {
		t.Errorf("windows %v", w)
	}
}

// TestBlend: what the closer look says counts three quarters inside its window, its votes in cells
// of the whole photo's maps; its rim, sure fruit and cards are left alone.
func TestBlend(t *testing.T) {
	m := &Maps{W: 200, H: 100, Cell: 4, Block: make([]bool, 200*100)}
	near := &Maps{W: 128, H: 128, Cell: 2}
	for _, a := range []*[]float32{&m.Body, &m.Seam, &m.Mid, &m.DX, &m.DY} {
		*a = make([]float32, m.W*m.H)
	}
	for _, a := range []*[]float32{&near.Body, &near.Seam, &near.Mid, &near.DX, &near.DY} {
		*a = make([]float32, near.W*near.H)
		for i := range *a {
			(*a)[i] = 0.8
		}
	}
	sure := make([]float32, m.W*m.H)
	for i := range sure {
		sure[i] = 99
	}
	at := func(x, y int) int { return y*m.W + x }
	sure[at(60, 30)], m.Block[at(61, 30)] = wonderEdge, true
	m.blend(nearMaps{near, 160, 80}, window{40, 20, 64}, sure)
	for _, c := range []struct {
		name string
		x, y int
		body float32
	}{{"inside", 59, 30, 0.6}, {"a sure fruit", 60, 30, 0}, {"a card", 61, 30, 0}, {"the rim", 45, 40, 0}, {"outside", 30, 30, 0}} {
		if i := at(c.x, c.y); math.Abs(float64(m.Body[i]-c.body)) > 1e-5 || math.Abs(float64(m.DX[i]-c.body/2)) > 1e-5 {
			t.Errorf("%s: body %.3f and vote %.3f, want %.3f and half of it", c.name, m.Body[i], m.DX[i], c.body)
		}
	}
}

// TestHints: places that hold hints are given with most body first; specks, what lies along a sure fruit, cards, stalks
// and what votes for a sure fruit are not.
func TestHints(t *testing.T) {
	m, s := &Maps{W: 200, H: 100, Block: make([]bool, 200*100)}, &Maps{}
	for _, a := range []*[]float32{&m.Body, &m.Stalk, &m.DX, &m.DY, &s.Body} {
		*a = make([]float32, m.W*m.H)
	}
	fill := func(a []float32, b box, v float32) box {
		for y := b.y0; y <= b.y1; y++ {
			for x := b.x0; x <= b.x1; x++ {
				a[y*m.W+x] = v
			}
		}
		return b
	}
	fill(m.Body, box{20, 20, 39, 39}, 0.99)
	fill(m.Body, box{41, 20, 43, 39}, 0.3) // the sure fruit's rim
	faint := fill(m.Body, box{100, 20, 109, 29}, 0.1)
	clear := fill(s.Body, box{150, 20, 159, 29}, 0.4) // seen by the second network alone
	fill(m.Body, box{180, 20, 182, 22}, 0.9)          // a speck
	tip := fill(m.Body, box{50, 25, 64, 34}, 0.3)
	fill(m.DX, tip, -27)
	stalk := fill(m.Body, box{100, 60, 109, 69}, 0.3)
	fill(m.Stalk, stalk, 0.5)
	card := fill(m.Body, box{150, 60, 159, 69}, 0.3)
	for y := card.y0; y <= card.y1; y++ {
		for x := card.x0; x <= card.x1; x++ {
			m.Block[y*m.W+x] = true
		}
	}
	if got := m.hints(s, m.fromSure(sureCells)); len(got) != 2 || got[0] != clear || got[1] != faint {
		t.Errorf("hints at %v, want %v and %v", got, clear, faint)
	}
	fill(m.DX, tip, 0)
	if got := m.hints(s, m.fromSure(sureCells)); len(got) != 3 {
		t.Errorf("a fruit of its own beside a sure one is left out: %v", got)
	}
}

// TestTells: a window's rim tells nothing, but for where it lies along the picture's own border.
func TestTells(t *testing.T) {
	m := &Maps{W: 200, H: 100}
	for _, c := range []struct {
		w    window
		x, y int
		want bool
	}{
		{window{50, 20, 64}, 57, 50, false}, {window{50, 20, 64}, 58, 50, true}, {window{50, 20, 64}, 105, 50, true}, {window{50, 20, 64}, 106, 50, false},
		{window{50, 20, 64}, 80, 27, false}, {window{0, 20, 64}, 0, 50, true}, {window{136, 36, 64}, 199, 99, true}, {window{50, 36, 64}, 80, 99, true},
	} {
		if got := c.w.tells(m, c.x, c.y); got != c.want {
			t.Errorf("%v at (%d, %d): %v", c.w, c.x, c.y, got)
		}
	}
}
