package segment

import (
	"math"
	"sync"
)

// edgeModel fits a blurred step with a straight slope on each side to a profile:
// (a + b·t) on the inner side, (c + d·t) on the outer, t the distance from the edge, blended by
// the normal distribution function of sigma px. For each tried position the other four are linear,
// so that one projection a position is enough; the tables below hold them.
type edgeModel struct {
	sigma float64
	half  int         // samples to each side
	pos   []float64   // tried positions, px
	root  []float64   // square root of each sample's weight
	sumW  float64     // of the weights
	q     [][]float64 // per position: 4 orthonormal vectors of 2·half+1 values, one after another
	step  []float64   // the blurred step itself, 1 inside, biasMargin samples longer at both ends
}

// newEdgeModel prepares the tables for blur sigma, samples weighted by a normal curve of width
// (both px).
func newEdgeModel(sigma, width float64) *edgeModel {
	e := &edgeModel{sigma: sigma, half: int(math.Ceil(1.9 * width / bandStep))}
	n := 2*e.half + 1
	e.root = make([]float64, n)
	for k := range e.root {
		t := float64(k-e.half) * bandStep / width
		e.root[k] = math.Exp(-t * t / 4)
		e.sumW += e.root[k] * e.root[k]
	}
	for k := range n + 2*biasMargin {
		t := float64(k-e.half-biasMargin) * bandStep
		e.step = append(e.step, 0.5*math.Erfc(t/(sigma*math.Sqrt2)))
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
		s := e.root[k]
		v[k], v[n+k], v[2*n+k], v[3*n+k] = s*in, s*(1-in), s*t*in, s*t*(1-in)
	}
	orthonormal(v, 4)
	return v
}

// fit returns the edge's position in the profile y (px from its middle, positive outwards), the
// squared error at the best position, and the standard deviation of the position for noise of
// variance noise2 a sample. A flat profile gives a large deviation. Every second position is tried
// first, then the neighbours of the best.
func (e *edgeModel) fit(y []float64, noise2 float64, space *fitSpace) (at, sse, sd float64) {
	n := len(y)
	total := 0.0
	yw, cost := space.take(n, len(e.pos))
	for k, r := range e.root {
		yw[k] = y[k] * r
		total += yw[k] * yw[k]
	}
	try := func(p int) {
		q, c := e.q[p], total
		for a := 0; a < len(q); a += n {
			dot := dotF(q[a:a+n], yw)
			c -= dot * dot
		}
		// A weak pull to the middle: the path search is right within about a px.
		cost[p] = c/noise2 + e.pos[p]*e.pos[p]/(2*1.5*1.5*math.Max(1, e.sigma*e.sigma))
	}
	best := 0
	for p := 0; p < len(cost); p += 2 {
		if try(p); cost[p] < cost[best] {
			best = p
		}
	}
	for middle, p := best, best-1; p <= middle+1; p += 2 {
		if p >= 0 && p < len(cost) {
			if try(p); cost[p] < cost[best] {
				best = p
			}
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

// fitSpace holds the arrays of a fit, to be used again.
type fitSpace struct{ yw, cost []float64 }

func (s *fitSpace) take(n, positions int) (yw, cost []float64) {
	if len(s.yw) < n {
		s.yw = make([]float64, n)
	}
	if len(s.cost) < positions {
		s.cost = make([]float64, positions)
	}
	return s.yw[:n], s.cost[:positions]
}

// tools are the tables that every photo's refinement uses; nothing in them changes.
type tools struct {
	lin    *lut
	code   *lut
	models []*edgeModel // one a blur, window as wide as the blur asks
	trial  []*edgeModel // the same blurs, all with one window, to compare them
	sliver []*sliverModel
}

// trialWidth is the width of the window for comparing models, px.
const trialWidth = 3

// newTools returns the tables, made at the first call.
var newTools = sync.OnceValue(func() *tools {
	t := &tools{lin: newLUT(), code: codeLUT()}
	for _, s := range [...]float64{0.7, 0.9, 1.15, 1.5, 2, 2.7} {
		t.models = append(t.models, newEdgeModel(s, math.Max(2.2, 1.8*s)))
		t.trial = append(t.trial, newEdgeModel(s, trialWidth))
		t.sliver = append(t.sliver, newSliverModel(s, trialWidth))
	}
	return t
})
