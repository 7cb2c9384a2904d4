package segment

import (
	"cmp"
	"image"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"offtype/measure/geom"
	"offtype/pipeline/scene"
)

// sceneDir holds the rendered scenes; SEGMENT_SCENES names another folder of the same form.
var sceneDir = cmp.Or(os.Getenv("SEGMENT_SCENES"), "../../testdata/scenes")

// readPhoto decodes a JPEG with linear interpolation of the halved colour planes, as photo
// decoders do; image/jpeg's own colours repeat each sample.
func readPhoto(t testing.TB, path string) Image {
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	im, err := jpeg.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	return fromYCbCr(im.(*image.YCbCr))
}

func fromYCbCr(y *image.YCbCr) Image {
	w, h := y.Rect.Dx(), y.Rect.Dy()
	out := Image{make([]uint8, 3*w*h), w, h}
	half := y.SubsampleRatio == image.YCbCrSubsampleRatio420
	cw, ch := w, h
	if half {
		cw, ch = (w+1)/2, (h+1)/2
	}
	up := func(p []uint8, x, v int) float64 {
		if !half {
			return float64(p[v*y.CStride+x])
		}
		fx, fy := math.Max(0, float64(x)/2-0.25), math.Max(0, float64(v)/2-0.25)
		x0, y0 := int(fx), int(fy)
		x1, y1 := min(x0+1, cw-1), min(y0+1, ch-1)
		fx, fy = fx-float64(x0), fy-float64(y0)
		at := func(x, v int) float64 { return float64(p[v*y.CStride+x]) }
		return (1-fy)*((1-fx)*at(x0, y0)+fx*at(x1, y0)) + fy*((1-fx)*at(x0, y1)+fx*at(x1, y1))
	}
	for v := range h {
		for x := range w {
			l, cb, cr := float64(y.Y[v*y.YStride+x]), up(y.Cb, x, v)-128, up(y.Cr, x, v)-128
			for c, s := range [3]float64{l + 1.402*cr, l - 0.344136*cb - 0.714136*cr, l + 1.772*cb} {
				out.Pix[3*(v*w+x)+c] = uint8(clamp(math.Round(s), 0, 255))
			}
		}
	}
	return out
}

// labels is a truth mask: fruit numbers, 0 table.
type labels struct {
	pix  []uint8
	w, h int
}

// simulated returns maps such as the network gives, made from the truth: averaged to cells,
// blurred, shifted by up to a third of a cell in slow waves, and noisy.
func simulated(l labels, fruits []scene.Fruit, scale float64, seed uint64) *Maps {
	rng := rand.New(rand.NewPCG(seed, 1))
	s := 1024 / float64(max(l.w, l.h))
	m := &Maps{Cell: 2 / s}
	m.W, m.H = int(math.Ceil(float64(l.w)/m.Cell-0.25)), int(math.Ceil(float64(l.h)/m.Cell-0.25))
	n := m.W * m.H
	alloc := func() []float32 { return make([]float32, n) }
	m.Body, m.Stalk, m.Seam, m.Mid, m.DX, m.DY, m.Stem, m.Bloss = alloc(), alloc(), alloc(), alloc(), alloc(), alloc(), alloc(), alloc()
	var ph [8]float64
	for i := range ph {
		ph[i] = rng.Float64() * 2 * math.Pi
	}
	top := 0
	for _, v := range l.pix {
		top = max(top, int(v))
	}
	cx, cy, cn := make([]float64, top+1), make([]float64, top+1), make([]float64, top+1)
	for i, v := range l.pix {
		cx[v] += float64(i % l.w)
		cy[v] += float64(i / l.w)
		cn[v]++
	}
	own := make([]uint8, n)
	for y := range m.H {
		for x := range m.W {
			i := y*m.W + x
			fx, fy := float64(x), float64(y)
			sx := 0.33 * math.Sin(fx/9+fy/13+ph[0]) * math.Cos(fy/7+ph[1])
			sy := 0.33 * math.Sin(fy/11-fx/8+ph[2]) * math.Cos(fx/10+ph[3])
			p := m.toPhoto(fx+sx, fy+sy)
			count := map[uint8]int{}
			const k = 5
			for a := range k {
				for b := range k {
					qx := int(math.Round(p.X + m.Cell*(float64(a)+0.5-k/2.)/k*1.6))
					qy := int(math.Round(p.Y + m.Cell*(float64(b)+0.5-k/2.)/k*1.6))
					count[l.pix[min(max(qy, 0), l.h-1)*l.w+min(max(qx, 0), l.w-1)]]++
				}
			}
			body := k*k - count[0]
			best, bn, kinds := uint8(0), 0, 0
			for v, c := range count {
				if v != 0 {
					kinds++
					if c > bn || (c == bn && v < best) {
						best, bn = v, c
					}
				}
			}
			own[i] = best
			noise := func(s float64) float32 { return float32(s * rng.NormFloat64()) }
			pb := clamp(float64(body)/(k*k), 0.02, 0.98)
			m.Body[i] = sigmoid(float32(math.Log(pb/(1-pb))) + noise(0.3))
			m.Seam[i] = 0.02
			if kinds > 1 {
				m.Seam[i] = sigmoid(1.5 + noise(1))
			}
			if best != 0 {
				q := m.toPhoto(fx, fy)
				m.DX[i] = float32((cx[best]/cn[best]-q.X)/m.Cell) + noise(2)
				m.DY[i] = float32((cy[best]/cn[best]-q.Y)/m.Cell) + noise(2)
			}
		}
	}
	for _, f := range fruits {
		put := func(a []float32, p [2]float64) {
			q := geom.Px{X: p[0]*scale - 0.5, Y: p[1]*scale - 0.5}
			x, y := m.toMap(q)
			for yy := max(0, int(y)-5); yy <= min(m.H-1, int(y)+5); yy++ {
				for xx := max(0, int(x)-5); xx <= min(m.W-1, int(x)+5); xx++ {
					d := math.Hypot(float64(xx)-x, float64(yy)-y)
					a[yy*m.W+xx] = max(a[yy*m.W+xx], float32(0.95*math.Exp(-d*d/8)))
				}
			}
		}
		put(m.Stem, f.StemPx)
		put(m.Bloss, f.BlossomPx)
	}
	return m
}

// score compares outlines with the truth mask.
type score struct {
	truth, found, extra int
	iou, worst          float64   // mean, smallest overlap
	bias                []float64 // signed: (own area − true area) / perimeter, px, one a fruit
	names               []int
	each                []float64 // overlap, one a fruit
}

// count returns how many pixels of the outline have truth lab, and how many it has.
func count(line []geom.Px, l labels, lab int) (in, all float64) {
	FillSpans(line, l.w, l.h, func(y, x0, x1 int) {
		all += float64(x1 - x0)
		for x := x0; x < x1; x++ {
			if l.pix[y*l.w+x] == uint8(lab) {
				in++
			}
		}
	})
	return
}

func compare(l labels, fs []Fruit) score {
	s := score{worst: 1}
	area := make([]float64, 256)
	for _, v := range l.pix {
		area[v]++
	}
	used := make([]bool, len(fs))
	for lab := 1; lab < 256; lab++ {
		if area[lab] == 0 {
			continue
		}
		s.truth++
		best, at := 0.0, -1
		for k, f := range fs {
			in, own := 0.0, 0.0
			in, own = count(f.Outline, l, lab)
			if len(f.Stalk) > 2 && geom.Contains(f.Outline, geom.Centroid(f.Stalk)) { // a mask leaves it out
				i, o := count(f.Stalk, l, lab)
				in, own = in-i, own-o
			}
			if u := in / (own + area[lab] - in); u > best {
				best, at = u, k
			}
		}
		if best < 0.5 {
			continue
		}
		s.found++
		used[at] = true
		s.iou += best
		s.worst = math.Min(s.worst, best)
		s.bias = append(s.bias, (geom.Area(fs[at].Outline)-area[lab])/geom.Perimeter(fs[at].Outline))
		s.names, s.each = append(s.names, lab), append(s.each, best)
	}
	for _, u := range used {
		if !u {
			s.extra++
		}
	}
	if s.found > 0 {
		s.iou /= float64(s.found)
	}
	return s
}

func sceneLabels(s *scene.Scene) labels {
	return labels{s.Labels.Pix, s.Labels.Rect.Dx(), s.Labels.Rect.Dy()}
}

// edgeErrors returns the signed distance (px, positive: too far out) of each free outline point from
// the true mask's border along the normal, leaving out points near a stem end, where the stalk
// hides the border. Points more than 8 px off count as 8.
func edgeErrors(l labels, fs []Fruit, stems []geom.Px) (err []float64, perFruit []float64) {
	at := func(p geom.Px) uint8 {
		x, y := int(math.Round(p.X)), int(math.Round(p.Y))
		if x < 0 || y < 0 || x >= l.w || y >= l.h {
			return 0
		}
		return l.pix[y*l.w+x]
	}
	for _, f := range fs {
		lab := at(geom.Centroid(f.Outline))
		nor := normals(f.Outline)
		var own []float64
		reach := 0.22 * math.Sqrt(geom.Area(f.Outline))
	points:
		for i, p := range f.Outline {
			if f.Edge[i] != geom.EdgeFree {
				continue
			}
			for _, s := range stems {
				if s.Sub(p).Norm() < reach {
					continue points
				}
			}
			// share of the fruit's pixels along the normal: unbiased for a mask of whole pixels
			in, n := 0.0, 0.0
			for d := -8.0; d <= 8; d += 0.25 {
				v := at(p.Add(nor[i].Scale(d)))
				if v != 0 && v != lab {
					continue points // a neighbour: not a free border
				}
				if v == lab {
					in++
				}
				n++
			}
			own = append(own, 0.25*(n/2-in)+0)
		}
		err = append(err, own...)
		perFruit = append(perFruit, mean(own))
	}
	return err, perFruit
}
