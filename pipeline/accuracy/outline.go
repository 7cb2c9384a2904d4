// Package accuracy compares the measured bodies with the exact truth of rendered scenes and prints
// tables of errors. The main job never uses it.
package accuracy

import (
	"image"
	"math"
	"math/rand"

	"offtype/measure/body"
	"offtype/measure/geom"
	"offtype/pipeline/scene"
)

// Trace returns the outer boundary of label l along the pixel edges, px (pixel centres are whole
// numbers), and what lies beyond each point: a neighbour, the frame, or nothing.
func Trace(im *image.Gray, l uint8) ([]geom.Px, []geom.Edge) {
	b := im.Bounds()
	at := func(x, y int) uint8 {
		if x < 0 || y < 0 || x >= b.Dx() || y >= b.Dy() {
			return 255
		}
		return im.Pix[y*im.Stride+x]
	}
	in := func(x, y int) bool { return at(x, y) == l }
	// corner walk: the fruit stays on the right hand; directions: 0 right, 1 down, 2 left, 3 up
	var best []geom.Px
	var edge []geom.Edge
	seen := map[[2]int]bool{}
	for y := 0; y < b.Dy(); y++ {
		for x := 0; x < b.Dx(); x++ {
			if !in(x, y) || in(x, y-1) || seen[[2]int{x, y}] {
				continue
			}
			pts, es := walk(in, at, x, y, seen)
			if len(pts) > len(best) {
				best, edge = pts, es
			}
		}
	}
	return best, edge
}

func walk(in func(x, y int) bool, at func(x, y int) uint8, x0, y0 int, seen map[[2]int]bool) ([]geom.Px, []geom.Edge) {
	dx, dy := [4]int{1, 0, -1, 0}, [4]int{0, 1, 0, -1}
	x, y, d := x0, y0, 0 // corner (x, y) is the top-left corner of pixel (x, y)
	var pts []geom.Px
	var es []geom.Edge
	for {
		// the pixel on the right and on the left of the step from (x, y) in direction d
		var rx, ry, lx, ly int
		switch d {
		case 0:
			rx, ry, lx, ly = x, y, x, y-1
		case 1:
			rx, ry, lx, ly = x-1, y, x, y
		case 2:
			rx, ry, lx, ly = x-1, y-1, x-1, y
		case 3:
			rx, ry, lx, ly = x, y-1, x-1, y-1
		}
		if d == 0 {
			seen[[2]int{rx, ry}] = true
		}
		pts = append(pts, geom.Px{X: float64(x) + float64(dx[d])/2 - 0.5, Y: float64(y) + float64(dy[d])/2 - 0.5})
		e := geom.EdgeFree
		if o := at(lx, ly); o == 255 {
			e = geom.EdgeFrame
		} else if o != 0 {
			e = geom.EdgeContact
		}
		es = append(es, e)
		x, y = x+dx[d], y+dy[d]
		// turn left if the left pixel ahead is in, right if the right one ahead is out
		side := func(d int) (bool, bool) {
			switch d {
			case 0:
				return in(x, y-1), in(x, y)
			case 1:
				return in(x, y), in(x-1, y)
			case 2:
				return in(x-1, y), in(x-1, y-1)
			}
			return in(x-1, y-1), in(x, y-1)
		}
		l, r := side(d)
		switch {
		case !r:
			d = (d + 1) % 4
		case l:
			d = (d + 3) % 4
		}
		if x == x0 && y == y0 && d == 0 {
			return pts, es
		}
	}
}

// Smooth replaces each point by the mean of its neighbours up to half steps away, with a round
// window: it takes the stairs off an outline along pixel edges.
func Smooth(p []geom.Px, half int) []geom.Px {
	n := len(p)
	out := make([]geom.Px, n)
	for i := range p {
		var s geom.Px
		sum := 0.0
		for k := -half; k <= half; k++ {
			w := 1 + math.Cos(math.Pi*float64(k)/float64(half+1))
			s = s.Add(p[((i+k)%n+n)%n].Scale(w))
			sum += w
		}
		out[i] = s.Scale(1 / sum)
	}
	return out
}

// Options of View: how well the simulated outliner does.
type Options struct {
	NoisePx   float64 // standard deviation of smooth outline noise
	StemPx    float64 // of stalk base and blossom scar
	DropStem  float64 // share of fruit without a stalk base
	DropScar  float64 // share without a blossom scar
	StalkMM   float64 // radius around the stalk base where the outline may be the stalk's
	Rng       *rand.Rand
	TrueEnds  bool // ends without noise
	StepNoise int  // correlation length of the outline noise, points
}

// DefaultOptions simulates a good outliner: 0.4 px, ends to 4 px, a scar seen half the time.
func DefaultOptions(seed int64) Options {
	return Options{NoisePx: 0.4, StemPx: 4, DropStem: 0.1, DropScar: 0.5, StalkMM: 15, StepNoise: 12, Rng: rand.New(rand.NewSource(seed))}
}

// View makes the evidence of fruit f in scene s as an outliner would deliver it.
func View(s *scene.Scene, f *scene.Fruit, o Options) (body.View, bool) {
	pts, edge := Trace(s.Labels, uint8(f.Label))
	v := body.View{Camera: s.Camera, SigmaPx: 0.5}
	if len(pts) < 50 {
		return v, false
	}
	v.Outline, v.Edge = Smooth(pts, 4), edge
	grow(v.Edge, geom.EdgeContact, 5)
	cam := s.Camera.Centre()
	stem3, end3 := s.World(f.StemMM), s.World(f.BlossomMM)
	stem := geom.Px{X: f.StemPx[0] - 0.5, Y: f.StemPx[1] - 0.5}
	blossom := geom.Px{X: f.BlossomPx[0] - 0.5, Y: f.BlossomPx[1] - 0.5}
	axis := end3.Sub(stem3).Unit()
	if f.Stalk {
		r := o.StalkMM / s.Camera.MMPerPx(stem3)
		for i, p := range v.Outline {
			if p.Sub(stem).Norm() < r && v.Edge[i] == geom.EdgeFree {
				v.Edge[i] = geom.EdgeStalk
			}
		}
		if o.Rng.Float64() >= o.DropStem {
			if axis.Dot(cam.Sub(stem3).Unit()) > 0.05 { // the pole is behind the rim
				stem = nearest(v.Outline, stem)
			}
			q := jitter(stem, o)
			v.Stem = &q
		}
	}
	if o.Rng.Float64() >= o.DropScar && axis.Dot(cam.Sub(end3).Unit()) > 0.1 {
		q := jitter(blossom, o)
		v.Blossom = &q
	}
	noise(v.Outline, o)
	return v, true
}

func jitter(p geom.Px, o Options) geom.Px {
	if o.TrueEnds {
		return p
	}
	return geom.Px{X: p.X + o.StemPx*o.Rng.NormFloat64(), Y: p.Y + o.StemPx*o.Rng.NormFloat64()}
}

func nearest(l []geom.Px, p geom.Px) geom.Px {
	best, q := math.Inf(1), p
	for _, r := range l {
		if d := r.Sub(p).Norm(); d < best {
			best, q = d, r
		}
	}
	return q
}

// grow spreads edge e over n neighbours each way.
func grow(l []geom.Edge, e geom.Edge, n int) {
	src := append([]geom.Edge(nil), l...)
	for i, x := range src {
		if x != e {
			continue
		}
		for k := -n; k <= n; k++ {
			l[((i+k)%len(l)+len(l))%len(l)] = e
		}
	}
}

// noise moves the outline across itself by smooth noise.
func noise(p []geom.Px, o Options) {
	if o.NoisePx == 0 {
		return
	}
	n := len(p)
	raw := make([]float64, n)
	for i := range raw {
		raw[i] = o.Rng.NormFloat64()
	}
	half := o.StepNoise
	val := make([]float64, n)
	for i := range val {
		s, w2 := 0.0, 0.0
		for k := -half; k <= half; k++ {
			w := 1 + math.Cos(math.Pi*float64(k)/float64(half+1))
			s += w * raw[((i+k)%n+n)%n]
			w2 += w * w
		}
		val[i] = o.NoisePx * s / math.Sqrt(w2)
	}
	q := append([]geom.Px(nil), p...)
	for i := range p {
		d := q[(i+3)%n].Sub(q[(i-3+n)%n])
		if l := d.Norm(); l > 0 {
			p[i] = q[i].Add(geom.Px{X: -d.Y / l, Y: d.X / l}.Scale(val[i]))
		}
	}
}
