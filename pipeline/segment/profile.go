package segment

import (
	"math"
	"sort"

	"offtype/measure/geom"
)

// edgeModel fits a blurred step with a straight slope on each side to a profile:
// (a + b·t) on the inner side, (c + d·t) on the outer, t the distance from the edge, blended by
// the normal distribution function of sigma px. For each tried position the other four are linear,
// so that one projection a position is enough; the tables below hold them.
type edgeModel struct {
	sigma float64
	half  int       // samples to each side
	pos   []float64 // tried positions, px
	w     []float64 // weight of each sample
	sumW  float64
	q     [][]float64 // per position: 4 orthonormal vectors of 2·half+1 values, one after another
}

// newEdgeModel prepares the tables for blur sigma, samples weighted by a normal curve of width
// (both px).
func newEdgeModel(sigma, width float64) *edgeModel {
	e := &edgeModel{sigma: sigma, half: int(math.Ceil(1.9 * width / bandStep))}
	n := 2*e.half + 1
	e.w = make([]float64, n)
	for k := range e.w {
		t := float64(k-e.half) * bandStep / width
		e.w[k] = math.Exp(-t * t / 2)
		e.sumW += e.w[k]
	}
	span := math.Max(2, 1.6*sigma)
	for p := -span; p <= span+1e-9; p += span / 10 {
		e.pos = append(e.pos, p)
		e.q = append(e.q, e.basis(p))
	}
	return e
}

// basis returns the orthonormal basis (Gram–Schmidt) of the model with its edge at p.
func (e *edgeModel) basis(p float64) []float64 {
	n := 2*e.half + 1
	v := make([]float64, 4*n)
	for k := range n {
		t := float64(k-e.half)*bandStep - p
		in := 0.5 * math.Erfc(t/(e.sigma*math.Sqrt2))
		s := math.Sqrt(e.w[k])
		v[k], v[n+k], v[2*n+k], v[3*n+k] = s*in, s*(1-in), s*t*in, s*t*(1-in)
	}
	orthonormal(v, 4)
	return v
}

// fit returns the edge's position in the profile y (px from its middle, positive outwards), the
// squared error at the best position, and the standard deviation of the position for noise of
// variance noise2 a sample. A flat profile gives a large deviation.
func (e *edgeModel) fit(y []float64, noise2 float64, cost []float64) (at, sse, sd float64) {
	n := len(y)
	total := 0.0
	yw := make([]float64, n)
	for k := range y {
		yw[k] = y[k] * math.Sqrt(e.w[k])
		total += yw[k] * yw[k]
	}
	best := 0
	for p, q := range e.q {
		c := total
		for a := range 4 {
			dot := dotF(q[a*n:(a+1)*n], yw)
			c -= dot * dot
		}
		// A weak pull to the middle: the path search is right within about a px.
		cost[p] = c/noise2 + e.pos[p]*e.pos[p]/(2*1.5*1.5*math.Max(1, e.sigma*e.sigma))
		if cost[p] < cost[best] {
			best = p
		}
	}
	step := e.pos[1] - e.pos[0]
	sse = cost[best] * noise2
	if best == 0 || best == len(e.pos)-1 {
		return e.pos[best], sse, math.Inf(1)
	}
	a, b, c := cost[best-1], cost[best], cost[best+1]
	curve := (a + c - 2*b) / (step * step)
	at = e.pos[best] + step*clamp((a-c)/(2*(a+c-2*b)), -0.5, 0.5)
	return at, sse, math.Sqrt(2 / math.Max(curve, 1e-9))
}

// tools are the tables that every photo's refinement uses.
type tools struct {
	lin    *lut
	models []*edgeModel // one a blur, window as wide as the blur asks
	trial  []*edgeModel // the same blurs, all with one window, to compare them
	sliver []*sliverModel
}

// trialWidth is the width of the window for comparing models, px.
const trialWidth = 3

func newTools() *tools {
	t := &tools{lin: newLUT()}
	for _, s := range [...]float64{0.7, 0.9, 1.15, 1.5, 2, 2.7} {
		t.models = append(t.models, newEdgeModel(s, math.Max(2.2, 1.8*s)))
		t.trial = append(t.trial, newEdgeModel(s, trialWidth))
		t.sliver = append(t.sliver, newSliverModel(s, trialWidth))
	}
	return t
}

// fitEdges moves each free point to the 50 % place of the edge in linear light.
func (c *candidate) fitEdges(im Image, t *tools) {
	line, nor := c.line, normals(c.line)
	b := unroll(im, t.lin, line, nor, 12)
	blur := c.blurOf(b, t)
	model := t.models[blur]
	n := len(line)
	off, w := make([]float64, n), make([]float64, n)
	cost := make([]float64, len(model.pos))
	sides := make([]sideColours, max(1, n/24))
	var steps []float64
	free, bad := 0, 0
	weak := make([]bool, n)
	for i := range line {
		if c.edge[i] == geom.EdgeFrame || c.edge[i] == geom.EdgeContact {
			w[i] = 0.3
			continue
		}
		y, noise2, contrast, in, out := c.profile(b, i, model.half, 2)
		at, sse, sd := model.fit(y, noise2, cost)
		sec := &sides[i*len(sides)/n]
		sec.n++
		for ch := range in {
			sec.in[ch] += in[ch]
			sec.out[ch] += out[ch]
		}
		if c.edge[i] == geom.EdgeStalk {
			sd = math.Max(sd, 1.5)
		} else {
			free++
			steps = append(steps, contrast)
		}
		if sd > 2 || contrast < 2 {
			w[i] = 0.01
			if c.edge[i] == geom.EdgeFree {
				bad++
				weak[i] = true
			}
			c.sigma[i] = math.Max(1, math.Min(sd, 3))
			continue
		}
		if c.edge[i] == geom.EdgeFree && sse > model.sumW*(noise2+misfit) {
			if p, ok := c.strip(b, i, t, blur, at); ok {
				at, sd = p, math.Max(sd, 0.3)
			}
		}
		off[i], c.sigma[i] = at, math.Max(sd, 0.05)
		r := 0.15 / math.Max(sd, 0.15)
		w[i] = r * r
	}
	for i := range off {
		if c.edge[i] == geom.EdgeFree && w[i] > 0.01 {
			off[i] -= sides[i*len(sides)/n].bias(model)
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
	known   bool
	at      float64
}

// bias returns the edge fit's bias for the mean colours of the stretch.
func (s *sideColours) bias(m *edgeModel) float64 {
	if !s.known && s.n > 0 {
		for c := range s.in {
			s.in[c] /= s.n
			s.out[c] /= s.n
		}
		s.at, s.known = edgeBias(s.in, s.out, m), true
	}
	return s.at
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

// profile returns the photo across point i, averaged over 2·win+1 columns, as one number a sample:
// the projection on the difference of the two sides' mean colours, 1 inside and 0 outside. With it
// come the noise variance of a sample and the contrast in units of the noise.
func (c *candidate) profile(b *band, i, half, win int) (y []float64, noise2, contrast float64, in, out [3]float64) {
	rows := b.rows()
	n := 2*half + 1
	y = make([]float64, n)
	near, far := int(1.5/bandStep), int(4/bandStep)
	cnt := 0.0
	for k := -3 * win; k <= 3*win; k++ {
		j := (i + k + b.n) % b.n
		for t := near; t <= far; t++ {
			p, q := 3*(j*rows+b.half-t), 3*(j*rows+b.half+t)
			for ch := range 3 {
				in[ch] += float64(b.lin[p+ch])
				out[ch] += float64(b.lin[q+ch])
			}
			cnt++
		}
	}
	var d [3]float64
	len2 := 0.0
	for ch := range 3 {
		in[ch] /= cnt
		out[ch] /= cnt
		d[ch] = in[ch] - out[ch]
		len2 += d[ch] * d[ch]
	}
	if len2 < 1e-12 {
		return y, 1, 0, in, out
	}
	base := (out[0]*d[0] + out[1]*d[1] + out[2]*d[2]) / len2
	noise := 0.0
	for k := range n {
		row := b.half + k - half
		s := 0.0
		var v [9]float64
		m := 0
		for t := -win; t <= win; t++ {
			j := (i + t + b.n) % b.n
			o := 3 * (j*rows + row)
			p := (float64(b.lin[o])*d[0]+float64(b.lin[o+1])*d[1]+float64(b.lin[o+2])*d[2])/len2 - base
			s += p
			v[m%9] = p
			m++
		}
		y[k] = s / float64(m)
		for t := 0; t+2 < m; t++ {
			e := v[t] - 2*v[t+1] + v[t+2]
			noise += e * e / 6
		}
	}
	noise2 = math.Max(noise/float64(n*(2*win-1)), 1e-5)
	// Neighbouring samples are not independent (bilinear, JPEG, denoising): count a third.
	contrast = 1 / math.Sqrt(noise2)
	return y, 3 * noise2 / float64(2*win+1), contrast, in, out
}

// blurOf returns the index of the model whose blur fits the fruit's free edges best.
func (c *candidate) blurOf(b *band, t *tools) int {
	sum := make([]float64, len(t.trial))
	cost := make([]float64, len(t.trial[0].pos))
	for i := 0; i < b.n; i += max(1, b.n/60) {
		if c.edge[i] != geom.EdgeFree {
			continue
		}
		y, noise2, contrast, _, _ := c.profile(b, i, t.trial[0].half, 2)
		if contrast < 6 {
			continue
		}
		for k, m := range t.trial {
			_, sse, _ := m.fit(y, noise2, cost)
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
	const win = 2
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
				y[ch][k] += float64(b.lin[o+ch]) / (2*win + 1)
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
