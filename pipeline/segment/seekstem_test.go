package segment

import (
	"math"
	"testing"

	"offtype/measure/geom"
)

// stalkNet is a nearNet that also knows grey for stalk, where it is at least seen px across in its input.
type stalkNet struct {
	nearNet
	seen int
}

func (n *stalkNet) Forward(in []float32, shape []int) ([]float32, []int, error) {
	out, outShape, err := n.nearNet.Forward(in, shape)
	h, w, iw := outShape[2], outShape[3], shape[3]
	grey := func(i int) bool { v := in[2*(i/w)*iw+2*(i%w)]; return v > 0.35 && v < 0.65 }
	done := make([]bool, h*w)
	g := &regions{w: w, h: h}
	for s := range done {
		if !grey(s) || done[s] {
			continue
		}
		part := g.gather(nil, s, func(j int) bool { return grey(j) && !done[j] }, func(j int) { done[j] = true })
		b := box{w, h, -1, -1}
		for _, i := range part {
			b = b.with(i%w, i/w)
		}
		if 2*b.long() >= n.seen && len(part) > 3*b.long() { // no blurred rim of a disc, which is long and thin
			for _, i := range part {
				out[chStalk*h*w+i], out[chStem*h*w+i] = 8, 4
			}
		}
	}
	return out, outShape, err
}

// TestSeekStems: a stalk too small for the first look is found by the closer one, and the stem end with it; a fruit whose
// stalk is seen at once is not looked at again, and a photo without px for it is not either.
func TestSeekStems(t *testing.T) {
	draw := func(w int, stalk float64) Image {
		k := float64(w) / 1600
		im := discs(w, w*3/4, 100*k, geom.Px{X: 400 * k, Y: 400 * k})
		for y := int((400 - stalk/2) * k); y <= int((400+stalk/2)*k); y++ {
			for x := int(450 * k); x <= int((450+stalk)*k); x++ {
				i := 3 * (y*w + x)
				im.Pix[i], im.Pix[i+1], im.Pix[i+2] = 128, 128, 128
			}
		}
		return im
	}
	opt := DefaultOptions()
	opt.Refine, opt.OwnColours = false, 0
	for _, c := range []struct {
		name  string
		wide  int
		stalk float64
		looks int // beside the first and the glance
		found bool
	}{
		{"small stalk", 1600, 24, 1, true},
		{"large stalk", 1600, 44, 0, true},
		{"no stalk", 1600, 0, 1, false},
		{"small photo", 800, 24, 0, false},
	} {
		net := &stalkNet{nearNet: nearNet{known: 20}, seen: 20}
		res, err := Find(draw(c.wide, c.stalk), net, nil, opt)
		if err != nil || len(res.Fruits) != 1 {
			t.Fatalf("%s: %v, %d fruit", c.name, err, len(res.Fruits))
		}
		f := res.Fruits[0]
		if got := len(net.sizes) - 2; got != c.looks {
			t.Errorf("%s: looks at %v px, want %d beside two", c.name, net.sizes, c.looks)
		}
		if found := f.StemBase != nil && f.Stalk != nil; found != c.found {
			t.Errorf("%s: stem end found %v, want %v", c.name, found, c.found)
		} else if found && math.Hypot(f.StemBase.X-450, f.StemBase.Y-400) > c.stalk {
			t.Errorf("%s: stem end at %v, drawn at 450, 400", c.name, *f.StemBase)
		}
	}
}

// TestSeekStemsCost: a photo full of fruit without stalks costs at most one look more at the whole.
func TestSeekStemsCost(t *testing.T) {
	var at []geom.Px
	for i := range 48 {
		at = append(at, geom.Px{X: 100 + 200*float64(i%8), Y: 100 + 190*float64(i/8)})
	}
	net := &stalkNet{nearNet: nearNet{known: 20}, seen: 20}
	if _, err := Find(discs(1600, 1200, 100, at...), net, nil, DefaultOptions()); err != nil {
		t.Fatal(err)
	}
	if whole := 1024 * 768; len(net.sizes) < 6 || net.px > 2*whole+256*192 {
		t.Errorf("%d looks of %d px in all; want more than five, at most %d px", len(net.sizes), net.px, 2*whole+256*192)
	}
}

// TestJoinCurled: the arms of a curled fruit name centres far apart; they are one fruit all the same, unless a seam or a
// waist parts them.
func TestJoinCurled(t *testing.T) {
	hook := func(seam float32, waist int) *Maps {
		m := &Maps{W: 160, H: 120, Cell: 2}
		for _, a := range []*[]float32{&m.Body, &m.Stalk, &m.Seam, &m.Mid, &m.DX, &m.DY, &m.Stem, &m.Bloss} {
			*a = make([]float32, m.W*m.H)
		}
		for y := 20; y < 100; y++ {
			for x := 20; x < 120; x++ {
				left, top := x < 40, y < 40
				if !left && !top || !left && x < 44 && (y < 20+waist || y >= 40-waist) {
					continue
				}
				i := y*m.W + x
				m.Body[i] = 0.99
				if x >= 38 && x < 42 {
					m.Seam[i] = seam
				}
				c := geom.Px{X: 85, Y: 22}
				if left {
					c = geom.Px{X: 22, Y: 75}
				}
				m.DX[i], m.DY[i] = float32(c.X-float64(x)), float32(c.Y-float64(y))
			}
		}
		return m
	}
	for _, c := range []struct {
		name  string
		seam  float32
		waist int
		want  int
	}{{"nothing between", 0, 0, 1}, {"a seam", 0.8, 0, 2}, {"a waist", 0, 7, 2}} {
		n := 0
		for _, r := range findRegions(hook(c.seam, c.waist), nil, DefaultOptions()).regions {
			if r.reject == "" {
				n++
			}
		}
		if n != c.want {
			t.Errorf("%s: %d fruit, want %d", c.name, n, c.want)
		}
	}
}
