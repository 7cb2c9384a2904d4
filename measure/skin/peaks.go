package skin

import (
	"math"
	"slices"

	"offtype/measure/colour"
)

type bin [3]int16

// feature is where the peaks are looked for.
func feature(l colour.Lab) [3]float64 { return [3]float64{lightPart * l.L, l.A, l.B} }

// farBin bounds the bins: no skin lies beyond ±200 in a* and b*, only samples spoilt by a wrong light.
const farBin = 80

func binOf(l colour.Lab) bin {
	var b bin
	for k, v := range feature(l) {
		v = math.Floor(v / binSize)
		if !(v > -farBin) {
			v = -farBin
		}
		b[k] = int16(math.Min(v, farBin))
	}
	return b
}

// histogram is the density of samples in the feature space, over the bins that hold some.
type histogram struct {
	bins []bin     // rising
	dens []float64 // smoothed count of each
	peak []int32   // bin that each one's steepest ascent leads to
	of   []int32   // bin of each sample, −1 none

	lo, n [3]int
	cell  []int32 // of the box of bins with a border of one: place in bins, −1 none
}

// histogram counts the samples that pass, with their weights, and smooths the counts with a 3 × 3 × 3 kernel of weights
// 1, ½, ¼, ⅛ by distance.
func (s *patchwork) histogram(pass func(*pixel) bool, weight func(*pixel) float64) *histogram {
	h := &histogram{of: make([]int32, len(s.px))}
	hi := [3]int{math.MinInt, math.MinInt, math.MinInt}
	h.lo = [3]int{math.MaxInt, math.MaxInt, math.MaxInt}
	at := make([]bin, len(s.px))
	for i := range s.px {
		h.of[i] = -1
		if q := &s.px[i]; pass(q) {
			h.of[i], at[i] = 0, binOf(q.lab)
			for k, v := range at[i] {
				h.lo[k], hi[k] = min(h.lo[k], int(v)), max(hi[k], int(v))
			}
		}
	}
	if hi[0] == math.MinInt {
		return h
	}
	size := 1
	for k := range hi {
		h.n[k] = hi[k] - h.lo[k] + 3
		size *= h.n[k]
	}
	h.cell = make([]int32, size)
	for i := range s.px {
		if h.of[i] == 0 {
			h.of[i] = int32(h.place(at[i]))
			h.cell[h.of[i]] = 1
		}
	}
	for c := range h.cell {
		if h.cell[c] == 0 {
			h.cell[c] = -1
			continue
		}
		h.cell[c] = int32(len(h.bins))
		x, y, z := c/(h.n[1]*h.n[2]), c/h.n[2]%h.n[1], c%h.n[2]
		h.bins = append(h.bins, bin{int16(x - 1 + h.lo[0]), int16(y - 1 + h.lo[1]), int16(z - 1 + h.lo[2])})
	}
	count := make([]float64, len(h.bins))
	for i := range s.px {
		if h.of[i] >= 0 {
			h.of[i] = h.cell[h.of[i]]
			count[h.of[i]] += weight(&s.px[i])
		}
	}
	h.dens = make([]float64, len(h.bins))
	for b := range h.bins {
		h.around(b, func(n int32, weight float64) { h.dens[b] += count[n] * weight })
	}
	return h
}

// place returns the cell of b in the box.
func (h *histogram) place(b bin) int {
	return ((int(b[0])-h.lo[0]+1)*h.n[1]+int(b[1])-h.lo[1]+1)*h.n[2] + int(b[2]) - h.lo[2] + 1
}

// around calls f for bin b and its neighbours, in rising order, with the kernel's weight.
func (h *histogram) around(b int, f func(n int32, weight float64)) {
	c := h.place(h.bins[b])
	weight := [4]float64{1, .5, .25, .125}
	for x := -1; x <= 1; x++ {
		for y := -1; y <= 1; y++ {
			for z := -1; z <= 1; z++ {
				if n := h.cell[c+(x*h.n[1]+y)*h.n[2]+z]; n >= 0 {
					f(n, weight[x*x+y*y+z*z])
				}
			}
		}
	}
}

// climb finds for each bin the peak that steepest ascent leads to, the lower bin where two are alike.
func (h *histogram) climb() {
	h.peak = make([]int32, len(h.bins))
	for b := range h.bins {
		best := int32(b)
		h.around(b, func(n int32, _ float64) {
			if d := h.dens[n]; d > h.dens[best] || d == h.dens[best] && n < best {
				best = n
			}
		})
		h.peak[b] = best
	}
	for b := range h.peak {
		t := h.peak[b]
		for h.peak[t] != t {
			t = h.peak[t]
		}
		h.peak[b] = t
	}
}

// merge joins peaks that no valley parts, the shallowest first.
func (h *histogram) merge() {
	type pass struct {
		a, b int32
		dens float64
	}
	var passes []pass
	for b := range h.bins {
		p := h.peak[b]
		h.around(b, func(n int32, _ float64) {
			if q := h.peak[n]; q > p { // each border is seen from both sides
				passes = append(passes, pass{p, q, math.Min(h.dens[b], h.dens[n])})
			}
		})
	}
	for range 64 {
		var best pass
		ratio := valley
		for _, k := range passes {
			r := k.dens / math.Min(h.dens[k.a], h.dens[k.b])
			if r > ratio || r == ratio && (k.a < best.a || k.a == best.a && k.b < best.b) {
				best, ratio = k, r
			}
		}
		if ratio <= valley {
			return
		}
		keep, drop := best.a, best.b
		if h.dens[drop] > h.dens[keep] {
			keep, drop = drop, keep
		}
		for b := range h.peak {
			if h.peak[b] == drop {
				h.peak[b] = keep
			}
		}
		left := passes[:0]
		for _, k := range passes {
			if k.a == drop {
				k.a = keep
			}
			if k.b == drop {
				k.b = keep
			}
			if k.a != k.b {
				k.a, k.b = min(k.a, k.b), max(k.a, k.b)
				left = append(left, k)
			}
		}
		passes = left
	}
}

// label writes the part numbers: real parts by share, small ones to the nearest real part within 12 units.
func (s *patchwork) label(h *histogram) {
	n := make([]int, len(h.bins))
	total := 0
	for i := range s.px {
		s.px[i].part = -1
		if b := h.of[i]; b >= 0 {
			n[h.peak[b]]++
			total++
		}
	}
	var real []int32
	for p, c := range n {
		if float64(c) >= minShare*float64(total) && c >= 12 {
			real = append(real, int32(p))
		}
	}
	slices.SortStableFunc(real, func(a, b int32) int { return n[b] - n[a] })
	if len(real) > 6 {
		real = real[:6]
	}
	part := make([]int, len(h.bins))
	for b := range part {
		part[b] = slices.Index(real, h.peak[b])
		if part[b] >= 0 {
			continue
		}
		best := 12 / binSize
		for k, p := range real {
			d := 0.0
			for j, v := range h.bins[p] {
				d += float64(h.bins[b][j]-v) * float64(h.bins[b][j]-v)
			}
			if d = math.Sqrt(d); d < best {
				best, part[b] = d, k
			}
		}
	}
	for i := range s.px {
		if b := h.of[i]; b >= 0 {
			s.px[i].part = part[b]
		}
	}
	s.parts, s.lists = len(real), nil
}
