package segment

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"offtype/pipeline/scene"
)

// relit is a photo and its truth mask after a change.
type relit struct {
	name string
	do   func(t testing.TB, im Image, l labels) (Image, labels)
}

// perPixel changes linear light pixel by pixel.
func perPixel(f func(lin [3]float64, rng *rand.Rand) [3]float64) func(testing.TB, Image, labels) (Image, labels) {
	return func(_ testing.TB, im Image, l labels) (Image, labels) {
		rng := rand.New(rand.NewPCG(5, 6))
		lut := newLUT()
		out := Image{make([]uint8, len(im.Pix)), im.Width, im.Height}
		for i := 0; i < len(im.Pix); i += 3 {
			v := f([3]float64{float64(lut[im.Pix[i]]), float64(lut[im.Pix[i+1]]), float64(lut[im.Pix[i+2]])}, rng)
			for c := range 3 {
				out.Pix[i+c] = encode(clamp(v[c], 0, 1))
			}
		}
		return out, l
	}
}

func scaled(gain float64) func([3]float64, *rand.Rand) [3]float64 {
	return func(v [3]float64, _ *rand.Rand) [3]float64 { return [3]float64{gain * v[0], gain * v[1], gain * v[2]} }
}

// resized scales photo and mask by k about the pixel corners.
func resized(k float64) func(testing.TB, Image, labels) (Image, labels) {
	return func(_ testing.TB, im Image, l labels) (Image, labels) {
		w, h := int(float64(im.Width)*k), int(float64(im.Height)*k)
		out := Image{make([]uint8, 3*w*h), w, h}
		lo := labels{make([]uint8, w*h), w, h}
		xs, ys := axisWeights(w, im.Width, k), axisWeights(h, im.Height, k)
		for y := range h {
			for x := range w {
				var s [3]float64
				for a, wy := range ys[y].w {
					for b, wx := range xs[x].w {
						p := im.Pix[3*((ys[y].from+a)*im.Width+xs[x].from+b):]
						for c := range 3 {
							s[c] += float64(wy*wx) * float64(p[c])
						}
					}
				}
				for c := range 3 {
					out.Pix[3*(y*w+x)+c] = uint8(math.Round(s[c]))
				}
				sx, sy := min(l.w-1, int((float64(x)+0.5)/k)), min(l.h-1, int((float64(y)+0.5)/k))
				lo.pix[y*w+x] = l.pix[sy*l.w+sx]
			}
		}
		return out, lo
	}
}

// moved maps each pixel of the new picture to one of the old.
func moved(swap bool, from func(x, y, w, h int) (int, int)) func(testing.TB, Image, labels) (Image, labels) {
	return func(_ testing.TB, im Image, l labels) (Image, labels) {
		w, h := im.Width, im.Height
		if swap {
			w, h = h, w
		}
		out, lo := Image{make([]uint8, 3*w*h), w, h}, labels{make([]uint8, w*h), w, h}
		for y := range h {
			for x := range w {
				sx, sy := from(x, y, im.Width, im.Height)
				copy(out.Pix[3*(y*w+x):3*(y*w+x)+3], im.Pix[3*(sy*im.Width+sx):])
				lo.pix[y*w+x] = l.pix[sy*l.w+sx]
			}
		}
		return out, lo
	}
}

func toNRGBA(im Image) *image.NRGBA {
	o := image.NewNRGBA(image.Rect(0, 0, im.Width, im.Height))
	for i := 0; i < im.Width*im.Height; i++ {
		o.SetNRGBA(i%im.Width, i/im.Width, color.NRGBA{im.Pix[3*i], im.Pix[3*i+1], im.Pix[3*i+2], 255})
	}
	return o
}

func blurred(sigma float64) func(testing.TB, Image, labels) (Image, labels) {
	return func(_ testing.TB, im Image, l labels) (Image, labels) {
		lut := newLUT()
		n := im.Width * im.Height
		out := Image{make([]uint8, 3*n), im.Width, im.Height}
		for c := range 3 {
			a := make([]float32, n)
			for i := range a {
				a[i] = lut[im.Pix[3*i+c]]
			}
			for range 3 { // three boxes of 3 px: sigma √2
				a = boxBlur(a, im.Width, im.Height, int(sigma))
			}
			for i := range a {
				out.Pix[3*i+c] = encode(float64(a[i]))
			}
		}
		return out, l
	}
}

var relights = []relit{
	{"as taken", func(_ testing.TB, im Image, l labels) (Image, labels) { return im, l }},
	{"-1.5 stops", perPixel(scaled(math.Pow(2, -1.5)))},
	{"+1.5 stops", perPixel(scaled(math.Pow(2, 1.5)))},
	{"colour cast", perPixel(func(v [3]float64, _ *rand.Rand) [3]float64 { return [3]float64{1.25 * v[0], v[1], 0.7 * v[2]} })},
	{"noise x4", perPixel(func(v [3]float64, r *rand.Rand) [3]float64 {
		const n = 0.016 // four times the scenes' usual 0.004
		for c := range v {
			v[c] += r.NormFloat64() * math.Sqrt(math.Max(v[c], 0)*n*n*4+n*n*0.09)
		}
		return v
	})},
	{"JPEG 40", func(t testing.TB, im Image, l labels) (Image, labels) {
		var b bytes.Buffer
		if err := jpeg.Encode(&b, toNRGBA(im), &jpeg.Options{Quality: 40}); err != nil {
			t.Fatal(err)
		}
		d, err := jpeg.Decode(&b)
		if err != nil {
			t.Fatal(err)
		}
		return fromYCbCr(d.(*image.YCbCr)), l
	}},
	{"half size", resized(0.5)},
	{"double size", resized(2)},
	{"blur", blurred(1)},
	{"turned", moved(true, func(x, y, w, h int) (int, int) { return y, h - 1 - x })},
	{"mirrored", moved(false, func(x, y, w, h int) (int, int) { return w - 1 - x, y })},
}

// TestRobustness runs the whole way on changed photos of the scenes; minutes long, so only when
// SEGMENT_ROBUST is set (to part of a scene's name, or "all").
func TestRobustness(t *testing.T) {
	only := os.Getenv("SEGMENT_ROBUST")
	if only == "" {
		t.Skip("SEGMENT_ROBUST is not set")
	}
	net, err := LoadNet()
	if err != nil {
		t.Fatal(err)
	}
	defer net.Close()
	type sum struct {
		truth, found, extra int
		iou, worst          float64
		edge                []float64
	}
	sums := make([]sum, len(relights))
	for _, name := range scene.Names(sceneDir) {
		if only != "all" && !strings.Contains(name, only) {
			continue
		}
		s, err := scene.Read(sceneDir, name)
		if err != nil {
			t.Fatal(err)
		}
		im0 := readPhoto(t, s.Photo)
		for k, v := range relights {
			im, l := v.do(t, im0, sceneLabels(s))
			res, err := Find(im, net, nil, DefaultOptions())
			if err != nil {
				t.Fatal(err)
			}
			r := compare(l, res.Fruits)
			e, _ := edgeErrors(l, res.Fruits, nil)
			a := &sums[k]
			if a.truth == 0 {
				a.worst = 1
			}
			a.truth, a.found, a.extra = a.truth+r.truth, a.found+r.found, a.extra+r.extra
			a.iou, a.worst, a.edge = a.iou+r.iou*float64(r.found), min(a.worst, r.worst), append(a.edge, e...)
			if r.found != r.truth || r.extra > 0 || r.worst < 0.9 {
				t.Logf("  %s, %s: found %d of %d, %d extra, worst %.3f", name, v.name, r.found, r.truth, r.extra, r.worst)
			}
		}
	}
	for k, a := range sums {
		t.Logf("%-12s found %d of %d, extra %d, overlap %.4f worst %.4f, median edge error %+.2f px", relights[k].name, a.found, a.truth, a.extra, a.iou/float64(max(1, a.found)), a.worst, median(a.edge))
	}
}
