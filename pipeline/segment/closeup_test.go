package segment

import (
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"offtype/measure/geom"
	"offtype/pipeline/scene"
)

// closeup is a part of a scene, enlarged so that its middle fruit fills the picture.
type closeup struct {
	im   Image
	l    labels
	main uint8 // the fruit in the middle
}

// cropAround cuts the scene so that fruit lab is share of the crop's longer side (4:3), and
// enlarges it to long px. ok is false when the crop would leave the photo by more than it can be
// moved, or when the fruit is hidden or touched by others.
func cropAround(t testing.TB, im Image, l labels, lab uint8, share float64, long int) (closeup, bool) {
	x0, y0, x1, y1 := l.w, l.h, -1, -1
	for i, v := range l.pix {
		if v == lab {
			x, y := i%l.w, i/l.w
			x0, x1, y0, y1 = min(x0, x), max(x1, x), min(y0, y), max(y1, y)
		}
	}
	w := math.Max(float64(x1-x0), float64(y1-y0)*4/3) / share
	h := w * 3 / 4
	cw, ch := int(w), int(h)
	if cw > l.w || ch > l.h || x1-x0 > cw-8 || y1-y0 > ch-8 {
		return closeup{}, false
	}
	cx := min(max((x0+x1)/2-cw/2, 0), l.w-cw)
	cy := min(max((y0+y1)/2-ch/2, 0), l.h-ch)
	if cx > x0-3 || cy > y0-3 || cx+cw < x1+3 || cy+ch < y1+3 {
		return closeup{}, false
	}
	out, lo := Image{make([]uint8, 3*cw*ch), cw, ch}, labels{make([]uint8, cw*ch), cw, ch}
	for y := range ch {
		copy(out.Pix[3*y*cw:3*(y+1)*cw], im.Pix[3*((cy+y)*im.Width+cx):])
		copy(lo.pix[y*cw:(y+1)*cw], l.pix[(cy+y)*l.w+cx:])
	}
	big, bl := resized(float64(long)/float64(cw))(t, out, lo)
	return closeup{big, bl, lab}, true
}

// TestCloseups enlarges parts of the scenes until one fruit is 0.35 to 0.9 of the picture.
func TestCloseups(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a minute")
	}
	net, err := LoadNet()
	if err != nil {
		t.Fatal(err)
	}
	defer net.Close()
	every := 14 // of the fruit, in turn
	if v, err := strconv.Atoi(os.Getenv("SEGMENT_EVERY")); err == nil {
		every = v
	}
	opt := DefaultOptions()
	opt.Closer = os.Getenv("SEGMENT_SINGLE") == ""
	for si, share := range []float64{0.4, 0.6, 0.85} {
		n, found, extra, sum, worst, k := 0, 0, 0, 0.0, 1.0, si*5
		for _, name := range scene.Names(sceneDir) {
			if !strings.Contains(name, os.Getenv("SEGMENT_SCENE")) {
				continue
			}
			s, err := scene.Read(sceneDir, name)
			if err != nil {
				t.Fatal(err)
			}
			im, l := readPhoto(t, s.Photo), sceneLabels(s)
			for lab := 1; lab <= len(s.Fruits); lab++ {
				if k++; k%every != 0 {
					continue
				}
				c, ok := cropAround(t, im, l, uint8(lab), share, 1600)
				if !ok {
					k--
					continue
				}
				res, err := Find(c.im, net, nil, opt)
				if err != nil {
					t.Fatal(err)
				}
				best, more := c.judge(res.Fruits)
				n++
				sum += best
				worst = min(worst, best)
				if best >= 0.5 {
					found++
				}
				extra += more
				t.Logf("%.2f %-24s fruit %d: overlap %.3f extra %d", share, name, lab, best, more)
				if best < 0.93 || more > 0 {
					savePictures(t, name+strconv.Itoa(lab)+"-"+strconv.Itoa(int(100*share)), c.im, c.l, res)
				}
			}
		}
		t.Logf("fruit %.2f of the picture: found %d of %d, %d extra, overlap %.3f worst %.3f", share, found, n, extra, sum/float64(max(n, 1)), worst)
		if found != n || extra > 0 || sum/float64(max(n, 1)) < 0.95 || worst < 0.85 {
			t.Errorf("fruit %.2f of the picture: found %d of %d, %d extra, overlap %.3f worst %.3f; want all, none, 0.95 and 0.85", share, found, n, extra, sum/float64(max(n, 1)), worst)
		}
	}
}

// judge returns the best overlap with the middle fruit, and how many outlines are no fruit: those
// of which less than half is one other fruit of the crop (many are cut by its border).
func (c closeup) judge(fs []Fruit) (best float64, extra int) {
	area := [256]float64{}
	for _, v := range c.l.pix {
		area[v]++
	}
	at := -1
	for i, f := range fs {
		in, own := count(f.Outline, c.l, int(c.main))
		if len(f.Stalk) > 2 && geom.Contains(f.Outline, geom.Centroid(f.Stalk)) {
			a, b := count(f.Stalk, c.l, int(c.main))
			in, own = in-a, own-b
		}
		if u := in / (own + area[c.main] - in); u > best {
			best, at = u, i
		}
	}
	for i, f := range fs {
		if i == at {
			continue
		}
		other := false
		for lab := 1; lab < 256 && !other; lab++ {
			if area[lab] > 0 && lab != int(c.main) {
				in, own := count(f.Outline, c.l, lab)
				other = in > 0.5*own
			}
		}
		if !other {
			extra++
		}
	}
	return best, extra
}
