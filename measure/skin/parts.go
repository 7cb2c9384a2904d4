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

type bin [3]int16

// feature is where the peaks are looked for.
func feature(l colour.Lab) [3]float64 { return [3]float64{lightPart * l.L, l.A, l.B} }

func binOf(l colour.Lab) bin {
	f := feature(l)
	var b bin
	for k := range f {
		b[k] = int16(math.Floor(f[k] / binSize))
	}
	return b
}

// split sorts the samples into parts 0, 1, 2 … by falling share of the visible skin; −1: belongs to none (mixed
// pixels at edges go to the nearer part, stray ones to none).
func (s *patchwork) split() {
	count := map[bin]float64{}
	for i := range s.px {
		s.px[i].part = -1
		if !s.px[i].cut {
			count[binOf(s.px[i].lab)] += s.flatness(&s.px[i])
		}
	}
	bins := make([]bin, 0, len(count))
	for b := range count {
		bins = append(bins, b)
	}
	slices.SortFunc(bins, func(a, b bin) int {
		for k := range a {
			if a[k] != b[k] {
				return int(a[k]) - int(b[k])
			}
		}
		return 0
	})
	dens := density(bins, count)
	peak := climb(bins, dens)
	merge(bins, dens, peak)
	s.label(peak)
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

// density smooths the counts with a 3 × 3 × 3 kernel of weights 1, ½, ¼, ⅛ by distance.
func density(bins []bin, count map[bin]float64) map[bin]float64 {
	d := make(map[bin]float64, len(bins))
	for _, b := range bins {
		t := 0.0
		around(b, func(n bin, steps int) {
			if c, ok := count[n]; ok {
				t += c / float64(int(1)<<steps)
			}
		})
		d[b] = t
	}
	return d
}

func around(b bin, f func(n bin, steps int)) {
	for x := int16(-1); x <= 1; x++ {
		for y := int16(-1); y <= 1; y++ {
			for z := int16(-1); z <= 1; z++ {
				f(bin{b[0] + x, b[1] + y, b[2] + z}, int(x*x+y*y+z*z))
			}
		}
	}
}

// climb returns for each bin the peak that steepest ascent leads to.
func climb(bins []bin, dens map[bin]float64) map[bin]bin {
	up := make(map[bin]bin, len(bins))
	for _, b := range bins {
		best := b
		around(b, func(n bin, _ int) {
			if d, ok := dens[n]; ok && (d > dens[best] || d == dens[best] && less(n, best)) {
				best = n
			}
		})
		up[b] = best
	}
	for _, b := range bins {
		t := b
		for up[t] != t {
			t = up[t]
		}
		up[b] = t
	}
	return up
}

func less(a, b bin) bool {
	for k := range a {
		if a[k] != b[k] {
			return a[k] < b[k]
		}
	}
	return false
}

// merge joins peaks that no valley parts, the shallowest first.
func merge(bins []bin, dens map[bin]float64, peak map[bin]bin) {
	for range 64 {
		type pair struct{ a, b bin }
		pass := map[pair]float64{}
		for _, b := range bins {
			p := peak[b]
			around(b, func(n bin, _ int) {
				q, ok := peak[n]
				if !ok || q == p {
					return
				}
				k := pair{p, q}
				if less(q, p) {
					k = pair{q, p}
				}
				pass[k] = math.Max(pass[k], math.Min(dens[b], dens[n]))
			})
		}
		var best pair
		ratio := valley
		for k, v := range pass {
			r := v / math.Min(dens[k.a], dens[k.b])
			if r > ratio || r == ratio && (less(k.a, best.a) || k.a == best.a && less(k.b, best.b)) {
				best, ratio = k, r
			}
		}
		if ratio <= valley {
			return
		}
		keep, drop := best.a, best.b
		if dens[drop] > dens[keep] {
			keep, drop = drop, keep
		}
		for _, b := range bins {
			if peak[b] == drop {
				peak[b] = keep
			}
		}
	}
}

// label writes the part numbers: real parts by share, small ones to the nearest real part within 12 units.
func (s *patchwork) label(peak map[bin]bin) {
	n := map[bin]int{}
	total := 0
	for i := range s.px {
		if !s.px[i].cut {
			n[peak[binOf(s.px[i].lab)]]++
			total++
		}
	}
	var real []bin
	for p, c := range n {
		if float64(c) >= minShare*float64(total) && c >= 12 {
			real = append(real, p)
		}
	}
	slices.SortFunc(real, func(a, b bin) int {
		if n[a] != n[b] {
			return n[b] - n[a]
		}
		if less(a, b) {
			return -1
		}
		return 1
	})
	if len(real) > 6 {
		real = real[:6]
	}
	number := map[bin]int{}
	for i, p := range real {
		number[p] = i
	}
	for i := range s.px {
		q := &s.px[i]
		if q.cut {
			continue
		}
		b := binOf(q.lab)
		if k, ok := number[peak[b]]; ok {
			q.part = k
			continue
		}
		best := 12 / binSize
		for p, k := range number {
			d := math.Sqrt(float64((b[0]-p[0])*(b[0]-p[0]) + (b[1]-p[1])*(b[1]-p[1]) + (b[2]-p[2])*(b[2]-p[2])))
			if d < best || d == best && k < q.part {
				best, q.part = d, k
			}
		}
	}
	s.parts = len(real)
	for range 2 {
		if !s.strays() {
			break
		}
	}
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
	count := map[bin]float64{}
	var bins []bin
	for i := range s.px {
		q := &s.px[i]
		if q.part < 0 || q.facing < litFacing || dist(feature(q.lab), mean[q.part]) < far {
			continue
		}
		b := binOf(q.lab)
		if count[b] == 0 {
			bins = append(bins, b)
		}
		count[b]++
	}
	dens := density(bins, count)
	var top bin
	for _, b := range bins {
		if dens[b] > dens[top] || dens[b] == dens[top] && less(b, top) {
			top = b
		}
	}
	var c [3]float64
	for k := range c {
		c[k] = (float64(top[k]) + .5) * binSize
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
	return true
}

func dist(a, b [3]float64) float64 {
	return math.Sqrt((a[0]-b[0])*(a[0]-b[0]) + (a[1]-b[1])*(a[1]-b[1]) + (a[2]-b[2])*(a[2]-b[2]))
}

// core reports whether the sample's eight neighbours belong to its part: no edge runs through it.
func (s *patchwork) core(q *pixel) bool {
	for dy := -1; dy <= 1; dy++ {
		for dx := -1; dx <= 1; dx++ {
			if i := s.at(q.gx+dx, q.gy+dy); i >= 0 && s.px[i].part != q.part {
				return false
			}
		}
	}
	return true
}

// partColours returns the reflectance of each part.
func (s *patchwork) partColours() [][3]float64 {
	out := make([][3]float64, s.parts)
	for p := range out {
		out[p], _ = s.partRGB(p)
	}
	return out
}

// partRGB returns the reflectance of part p: the robust mean of its samples that no edge touches, or of all when
// those are few.
func (s *patchwork) partRGB(p int) (colour.RGB, bool) {
	n, m := 0, 0
	for i := range s.px {
		if s.px[i].part == p {
			m++
			if s.core(&s.px[i]) {
				n++
			}
		}
	}
	if n >= 12 || 4*n >= m {
		return s.robust(func(q *pixel) bool { return q.part == p && s.core(q) })
	}
	if c, ok := s.robust(func(q *pixel) bool { return q.part == p }); ok {
		return c, true
	}
	return s.any(p)
}

// any returns the mean of the samples of part p, however obliquely they are seen.
func (s *patchwork) any(p int) (c colour.RGB, ok bool) {
	n := 0.0
	for i := range s.px {
		if q := &s.px[i]; q.part == p {
			for k := range c {
				c[k] += q.own[k]
			}
			n++
		}
	}
	for k := range c {
		c[k] /= math.Max(1, n)
	}
	return c, n > 0
}

// robust returns the weighted median per channel of the samples that pass; samples that face up weigh most, since
// there the card's light is known best.
func (s *patchwork) robust(pass func(*pixel) bool) (colour.RGB, bool) {
	type vw struct{ v, w float64 }
	var c colour.RGB
	var use []int
	for i := range s.px {
		if q := &s.px[i]; !q.cut && q.facing > litFacing && pass(q) {
			use = append(use, i)
		}
	}
	if len(use) == 0 {
		return c, false
	}
	const enough = 900
	if step := len(use) / enough; step > 1 {
		n := 0
		for i := 0; i < len(use); i += step {
			use[n] = use[i]
			n++
		}
		use = use[:n]
	}
	v := make([]vw, len(use))
	for k := range c {
		sum := 0.0
		for j, i := range use {
			q := &s.px[i]
			w := math.Exp(-(1-q.n.Z)/0.2) * q.facing
			v[j] = vw{q.own[k], w}
			sum += w
		}
		slices.SortFunc(v, func(a, b vw) int {
			switch {
			case a.v < b.v:
				return -1
			case a.v > b.v:
				return 1
			}
			return 0
		})
		acc := 0.0
		for _, x := range v {
			acc += x.w
			if acc >= sum/2 {
				c[k] = x.v
				break
			}
		}
	}
	return c, true
}

// mainRGB returns the reflectance of the largest part.
func (s *patchwork) mainRGB() (colour.RGB, bool) { return s.partRGB(0) }

func (s *patchwork) mainColour() (colour.Lab, bool) {
	c, ok := s.mainRGB()
	return c.Lab(), ok
}

func sortFloats(v []float64) { slices.Sort(v) }

func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	w := slices.Clone(v)
	slices.Sort(w)
	return (w[(len(w)-1)/2] + w[len(w)/2]) / 2
}
