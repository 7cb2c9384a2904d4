package skin

import (
	"math"
	"slices"

	"offtype/measure/colour"
)

// The samples of a fruit are sorted into parts of one colour: peaks of their density in CIELAB, with lightness at
// half weight because shading is never taken out completely. Two peaks are one when no real valley lies between
// them, so that mild mottling stays one part.
const (
	binSize   = 2.5 // CIELAB units
	lightPart = 0.5 // weight of L*
	valley    = 0.7 // density at the pass over the lower peak, above which two peaks are one
	minShare  = 0.015
)

// split sorts the samples into parts 0, 1, 2 … by falling share of the visible skin; −1: belongs to none (mixed
// pixels at edges go to the nearer part, stray ones to none).
func (s *patchwork) split() {
	h := s.histogram(func(q *pixel) bool { return !q.cut }, s.flatness)
	h.climb()
	h.merge()
	s.label(h)
	for range 2 {
		if !s.strays() {
			break
		}
	}
}

// flatness returns the weight of a sample in the search for peaks, 1 in even skin and near 0 at an edge, where the
// camera mixes two colours and would build a bridge between their peaks.
func (s *patchwork) flatness(q *pixel) float64 {
	f := feature(q.lab)
	g := 0.0
	for _, d := range [4][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
		i := s.at(q.gx+d[0], q.gy+d[1])
		if i < 0 {
			continue
		}
		h := feature(s.px[i].lab)
		t := 0.0
		for k := range f {
			t += (f[k] - h[k]) * (f[k] - h[k])
		}
		g = math.Max(g, t)
	}
	return 1 / (1 + g*g/81) // half at a step of 3 units from one sample to the next
}

// strays makes a part of the samples that differ clearly from their own part when enough of them agree: small dots
// hardly have a sample without an edge and so build no peak. It reports whether it did.
func (s *patchwork) strays() bool {
	const far = 9.0 // feature units
	mean := make([][3]float64, s.parts)
	n := make([]float64, s.parts)
	for i := range s.px {
		if q := &s.px[i]; q.part >= 0 {
			f := feature(q.lab)
			for k := range f {
				mean[q.part][k] += f[k]
			}
			n[q.part]++
		}
	}
	for p := range mean {
		for k := range mean[p] {
			mean[p][k] /= math.Max(1, n[p])
		}
	}
	h := s.histogram(func(q *pixel) bool {
		return q.part >= 0 && q.facing >= litFacing && dist(feature(q.lab), mean[q.part]) >= far
	}, func(*pixel) float64 { return 1 })
	if len(h.bins) == 0 {
		return false
	}
	top := 0
	for b, d := range h.dens {
		if d > h.dens[top] {
			top = b
		}
	}
	var c [3]float64
	for k := range c {
		c[k] = (float64(h.bins[top][k]) + .5) * binSize
	}
	var take []int
	for i := range s.px {
		q := &s.px[i]
		if q.part < 0 {
			continue
		}
		if f := feature(q.lab); dist(f, c) < dist(f, mean[q.part]) {
			take = append(take, i)
		}
	}
	if len(take) < 12 || float64(len(take)) < minShare*float64(len(s.px)) {
		return false
	}
	for _, i := range take {
		s.px[i].part = s.parts
	}
	s.parts++
	s.lists = nil
	return true
}

func dist(a, b [3]float64) float64 {
	return math.Sqrt((a[0]-b[0])*(a[0]-b[0]) + (a[1]-b[1])*(a[1]-b[1]) + (a[2]-b[2])*(a[2]-b[2]))
}

// members lists the samples of a part.
type members struct {
	n, cores int     // all of them, and those that no edge touches
	core     []int32 // neither touched by an edge, nor clipped, nor seen obliquely
	all      []int32 // neither clipped nor seen obliquely
}

// membersOf returns the samples of part p; they are listed once for all parts until these change.
func (s *patchwork) membersOf(p int) *members {
	if s.lists == nil {
		s.lists = make([]members, s.parts)
		for i := range s.px {
			q := &s.px[i]
			if q.part < 0 {
				continue
			}
			l := &s.lists[q.part]
			l.n++
			use := !q.cut && q.facing > litFacing
			if use {
				l.all = append(l.all, int32(i))
			}
			if s.core(q) {
				l.cores++
				if use {
					l.core = append(l.core, int32(i))
				}
			}
		}
	}
	return &s.lists[p]
}

// core reports whether the sample's eight neighbours belong to its part: no edge runs through it.
func (s *patchwork) core(q *pixel) bool {
	if q.gx > 0 && q.gy > 0 && q.gx < s.nx-1 && q.gy < s.ny-1 {
		for y := -1; y <= 1; y++ {
			for _, i := range s.grid[(q.gy+y)*s.nx+q.gx-1:][:3] {
				if i >= 0 && s.px[i].part != q.part {
					return false
				}
			}
		}
		return true
	}
	for dy := -1; dy <= 1; dy++ {
		for dx := -1; dx <= 1; dx++ {
			if i := s.at(q.gx+dx, q.gy+dy); i >= 0 && s.px[i].part != q.part {
				return false
			}
		}
	}
	return true
}

// partColours returns the reflectance of each part under l.
func (s *patchwork) partColours(l *view) [][3]float64 {
	out := make([][3]float64, s.parts)
	for p := range out {
		out[p], _ = s.partRGB(p, l)
	}
	return out
}

// partRGB returns the reflectance of part p under l: the robust mean of its samples that no edge touches, or of all when
// those are few.
func (s *patchwork) partRGB(p int, l *view) (colour.RGB, bool) {
	k := s.membersOf(p)
	if k.cores >= 12 || 4*k.cores >= k.n {
		return s.robust(k.core, l)
	}
	if c, ok := s.robust(k.all, l); ok {
		return c, true
	}
	return s.any(p, l)
}

// any returns the mean of the samples of part p, however obliquely they are seen.
func (s *patchwork) any(p int, l *view) (c colour.RGB, ok bool) {
	n := 0.0
	for i := range s.px {
		if q := &s.px[i]; q.part == p {
			o := l.own(q)
			for k := range c {
				c[k] += o[k]
			}
			n++
		}
	}
	for k := range c {
		c[k] /= math.Max(1, n)
	}
	return c, n > 0
}

// robust returns the weighted median per channel of about 900 of the samples named.
func (s *patchwork) robust(use []int32, l *view) (c colour.RGB, ok bool) {
	if len(use) == 0 {
		return c, false
	}
	const enough = 900
	step := max(1, len(use)/enough)
	var v [3][]weighted
	for k := range v {
		v[k] = make([]weighted, 0, len(use)/step+1)
	}
	sum := 0.0
	for i := 0; i < len(use); i += step {
		q := &s.px[use[i]]
		sum += q.weight
		for k, o := range l.own(q) {
			v[k] = append(v[k], weighted{o, q.weight})
		}
	}
	for k := range c {
		c[k] = weightedMedian(v[k], sum/2)
	}
	return c, true
}

type weighted struct{ v, w float64 }

// weightedMedian returns the smallest value for which it and the smaller ones weigh at least half, by quickselect; v is
// reordered.
func weightedMedian(v []weighted, half float64) float64 {
	for len(v) > 1 {
		a, b, c := v[0].v, v[len(v)/2].v, v[len(v)-1].v
		pivot := math.Max(math.Min(a, b), math.Min(math.Max(a, b), c))
		lo, i, hi := 0, 0, len(v) // [0, lo) below, [lo, i) equal, [hi, …) above the pivot
		below, equal := 0.0, 0.0
		for i < hi {
			switch x := v[i]; {
			case x.v < pivot:
				v[i], v[lo] = v[lo], x
				lo, i = lo+1, i+1
				below += x.w
			case x.v > pivot:
				hi--
				v[i], v[hi] = v[hi], x
			default:
				i++
				equal += x.w
			}
		}
		switch {
		case lo > 0 && below >= half:
			v = v[:lo]
		case below+equal >= half || hi == len(v):
			return pivot
		default:
			v, half = v[hi:], half-below-equal
		}
	}
	return v[0].v
}

func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	w := slices.Clone(v)
	slices.Sort(w)
	return (w[(len(w)-1)/2] + w[len(w)/2]) / 2
}
