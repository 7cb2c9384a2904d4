package segment

import (
	"math"
	"sort"

	"offtype/measure/geom"
)

// fitEdges moves each free point to the 50 % place of the edge in linear light. The blur and the
// biases are those of the first call. Points that would move by more than most px stay with their neighbours.
func (c *candidate) fitEdges(im Image, t *tools, most float64) {
	line, nor := c.line, normals(c.line)
	half := max(t.trial[0].half, t.sliver[0].half, sideFar)
	if c.blur > 0 {
		half = max(half, t.models[c.blur-1].half)
	} else {
		half = max(half, t.models[len(t.models)-1].half)
	}
	b := unroll(im, t.lin, line, nor, float64(half)*bandStep, bandStep)
	defer b.release()
	sums := b.sides()
	if c.blur == 0 {
		c.blur = 1 + c.blurOf(b, sums, t)
	}
	blur := c.blur - 1
	model := t.models[blur]
	n := len(line)
	off, w := make([]float64, n), make([]float64, n)
	var pr profile
	var space fitSpace
	sides := make([]sideColours, max(1, n/24))
	var steps []float64
	free, bad := 0, 0
	weak := make([]bool, n)
	for i := range line {
		if c.edge[i] == geom.EdgeFrame || c.edge[i] == geom.EdgeContact {
			w[i] = 0.3
			continue
		}
		pr.read(b, sums, i, model.half)
		at, sse, sd := model.fit(pr.y, pr.noise2, &space)
		sec := &sides[i*len(sides)/n]
		sec.n++
		for ch := range pr.in {
			sec.in[ch] += pr.in[ch]
			sec.out[ch] += pr.out[ch]
		}
		if c.edge[i] == geom.EdgeStalk {
			sd = math.Max(sd, 1.5)
		} else {
			free++
			steps = append(steps, pr.contrast)
		}
		if sd > 2 || pr.contrast < 2 {
			w[i] = 0.01
			if c.edge[i] == geom.EdgeFree {
				bad++
				weak[i] = true
			}
			c.sigma[i] = math.Max(1, math.Min(sd, 3))
			continue
		}
		if c.edge[i] == geom.EdgeFree && sse > model.sumW*(pr.noise2+misfit) {
			if p, ok := c.strip(b, i, t, blur, at); ok {
				at, sd = p, math.Max(sd, 0.3)
			}
		}
		if math.Abs(at) > most {
			w[i] = 0.05
			continue
		}
		off[i], c.sigma[i] = at, math.Max(sd, 0.05)
		r := 0.15 / math.Max(sd, 0.15)
		w[i] = r * r
	}
	if c.bias == nil {
		c.bias = make([]float64, len(sides))
		for k := range sides {
			c.bias[k] = sides[k].bias(model)
		}
	}
	for i := range off {
		if c.edge[i] == geom.EdgeFree && w[i] > 0.01 {
			off[i] -= c.bias[i*len(sides)/n]
		}
	}
	off = robust(off, w)
	c.step = median(steps)
	c.gap = float64(longestRun(weak)) * geom.Perimeter(line) / float64(n) / math.Sqrt(max(1, geom.Area(line)))
	c.bad = float64(bad) / math.Max(1, float64(free))
	c.moveTo(line, nor, whittaker(off, w, smoothing))
}

// sideColours sums the linear colours inside and outside a stretch of the outline.
type sideColours struct {
	in, out [3]float64
	n       float64
}

// bias returns the edge fit's bias for the mean colours of the stretch.
func (s *sideColours) bias(m *edgeModel) float64 {
	if s.n == 0 {
		return 0
	}
	for c := range s.in {
		s.in[c] /= s.n
		s.out[c] /= s.n
	}
	return edgeBias(s.in, s.out, m)
}

// longestRun returns the length of the longest run of true around the ring.
func longestRun(v []bool) int {
	best, run := 0, 0
	for i := range 2 * len(v) {
		if v[i%len(v)] {
			run++
			best = max(best, run)
		} else {
			run = 0
		}
	}
	return min(best, len(v))
}

// misfit is the mean squared error, in units of the contrast squared, above which a single edge is
// a poor enough fit to look for a strip.
const misfit = 0.0015

// smoothing is the weight of the outline's second differences: at full edge weight it halves
// waves of about 13 points' length.
const smoothing = 15

// robust lowers the weight of points far from what their neighbours say, and returns off.
func robust(off, w []float64) []float64 {
	z := whittaker(off, w, 10*smoothing)
	var dev []float64
	for i := range off {
		if w[i] > 0.02 {
			dev = append(dev, math.Abs(off[i]-z[i]))
		}
	}
	s := math.Max(0.15, 1.4826*median(dev))
	for i := range off {
		if d := math.Abs(off[i]-z[i]) / (2.5 * s); d > 1 {
			w[i] /= d * d * d * d
		}
	}
	return off
}

func median(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	s := append([]float64(nil), v...)
	sort.Float64s(s)
	return s[len(s)/2]
}

// The colours of the two sides are those from sideNear to sideFar samples away from the line.
const (
	sideNear = int(1.5 / bandStep)
	sideFar  = int(4 / bandStep)
)

// sides returns for each column the sums over its inner and its outer side, RGB each.
func (b *band) sides() [][6]float64 {
	rows := b.rows()
	out := make([][6]float64, b.n)
	for i := range out {
		col := b.v[3*rows*i:][:3*rows]
		for t := sideNear; t <= sideFar; t++ {
			p, q := col[3*(b.half-t):][:3], col[3*(b.half+t):][:3]
			for c := range p {
				out[i][c] += float64(p[c])
				out[i][3+c] += float64(q[c])
			}
		}
	}
	return out
}

// profile is the photo across a point of the outline, averaged over 2·profileWin+1 columns, as one
// number a sample: the projection on the difference of the two sides' mean colours, 1 inside and 0
// outside. With it come the noise variance of a sample, the contrast in units of the noise and the
// colours of the two sides.
type profile struct {
	y                []float64
	noise2, contrast float64
	in, out          [3]float64
}

// profileWin is the number of columns to each side that a profile averages.
const profileWin = 2

// read fills the profile of point i, half samples to each side; sums are those of b.sides.
func (p *profile) read(b *band, sums [][6]float64, i, half int) {
	const win = profileWin
	rows, n := b.rows(), 2*half+1
	if cap(p.y) < n {
		p.y = make([]float64, n)
	}
	p.y = p.y[:n]
	clear(p.y)
	p.noise2, p.contrast = 1, 0
	var s [6]float64
	for k := -3 * win; k <= 3*win; k++ {
		for c, v := range sums[(i+k+b.n)%b.n] {
			s[c] += v
		}
	}
	const cnt = float64((6*win + 1) * (sideFar - sideNear + 1))
	var d [3]float64
	len2, base := 0.0, 0.0
	for c := range d {
		p.in[c], p.out[c] = s[c]/cnt, s[3+c]/cnt
		d[c] = p.in[c] - p.out[c]
		len2 += d[c] * d[c]
	}
	if len2 < 1e-12 {
		return
	}
	var f [3]float32
	for c := range d {
		base += p.out[c] * d[c] / len2
		f[c] = float32(d[c] / len2)
	}
	var col [2*win + 1][]float32
	for t := range col {
		j := (i + t - win + b.n) % b.n
		col[t] = b.v[3*(j*rows+b.half-half):][:3*n]
	}
	noise := float32(0)
	for k := range p.y {
		var v [2*win + 1]float32
		sum := float32(0)
		for t := range v {
			q := col[t][3*k:][:3]
			v[t] = q[0]*f[0] + q[1]*f[1] + q[2]*f[2]
			sum += v[t]
		}
		p.y[k] = float64(sum)/(2*win+1) - base
		for t := 0; t+2 < len(v); t++ {
			e := v[t] - 2*v[t+1] + v[t+2]
			noise += e * e
		}
	}
	noise2 := math.Max(float64(noise)/6/float64(n*(2*win-1)), 1e-5)
	// Neighbouring samples are not independent (bilinear, JPEG, denoising): count a third.
	p.noise2, p.contrast = 3*noise2/(2*win+1), 1/math.Sqrt(noise2)
}

// blurOf returns the index of the model whose blur fits the fruit's free edges best.
func (c *candidate) blurOf(b *band, sums [][6]float64, t *tools) int {
	sum := make([]float64, len(t.trial))
	var pr profile
	var space fitSpace
	for i := 0; i < b.n; i += max(1, b.n/60) {
		if c.edge[i] != geom.EdgeFree {
			continue
		}
		pr.read(b, sums, i, t.trial[0].half)
		if pr.contrast < 6 {
			continue
		}
		for k, m := range t.trial {
			_, sse, _ := m.fit(pr.y, pr.noise2, &space)
			sum[k] += math.Log(sse/m.sumW + 1e-7)
		}
	}
	best := 1
	for k, v := range sum {
		if v < sum[best] {
			best = k
		}
	}
	return best
}

// strip looks for a narrow strip between fruit and surroundings at point i. When a profile with one
// fits clearly better than a single edge, the fruit ends at its outer edge if the strip has the
// fruit's colours, at its inner edge if it has the table's. ok is false when there is none, or when it changes nothing:
// the single edge, px, fits finer than the pairs that are tried.
func (c *candidate) strip(b *band, i int, t *tools, blur int, single float64) (at float64, ok bool) {
	const win = profileWin
	s, rows := t.sliver[blur], b.rows()
	n := 2*s.half + 1
	var y [3][]float64
	for ch := range y {
		y[ch] = make([]float64, n)
	}
	for k := range n {
		for d := -win; d <= win; d++ {
			o := 3 * (((i+d+b.n)%b.n)*rows + b.half + k - s.half)
			for ch := range y {
				y[ch][k] += float64(b.v[o+ch]) / (2*win + 1)
			}
		}
	}
	inner, outer, sse, sse1, strip := s.fit(&y, t.trial[blur])
	if sse > 0.35*sse1 {
		return 0, false
	}
	f := featureOf([]float32{code8(strip[0]), code8(strip[1]), code8(strip[2])})
	out := c.outside[i*len(c.outside)/b.n]
	if len(c.inside) == 0 || len(out) == 0 {
		return 0, false
	}
	if c.inside.distance(f) < out.distance(f) {
		return outer, true
	}
	return inner, math.Abs(single-inner) > 1
}

// code8 turns linear light into an sRGB code value, 0–255.
func code8(v float64) float32 {
	if v <= 0.0031308 {
		return float32(255 * 12.92 * max(v, 0))
	}
	return float32(255 * (1.055*math.Pow(v, 1/2.4) - 0.055))
}
