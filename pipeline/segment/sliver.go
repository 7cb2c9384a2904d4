package segment

import "math"

// sliverModel fits a profile with a narrow strip between fruit and surroundings: a stripe of the
// skin seen edge-on, or a dark line of shadow. Inside and outside are straight slopes, the strip
// is level, and both edges are blurred alike.
type sliverModel struct {
	half int
	root []float64 // square root of each sample's weight
	try  []sliverTry
}

// sliverTry is one pair of edges, px from the profile's middle, with its basis of five vectors.
type sliverTry struct {
	inner, outer float64
	q            []float64
}

var sliverWidths = [...]float64{1.2, 2, 3.2, 4.8}

func newSliverModel(sigma, width float64) *sliverModel {
	s := &sliverModel{half: int(math.Ceil(1.9 * width / bandStep))}
	n := 2*s.half + 1
	s.root = make([]float64, n)
	for k := range s.root {
		t := float64(k-s.half) * bandStep / width
		s.root[k] = math.Exp(-t * t / 4)
	}
	for _, wide := range sliverWidths {
		for inner := -3.5; inner <= 2.01; inner += 0.5 {
			outer := inner + wide
			if outer < -2 || outer > 3.5 {
				continue
			}
			v := make([]float64, 5*n)
			for k := range n {
				t := float64(k-s.half) * bandStep
				in := 0.5 * math.Erfc((t-inner)/(sigma*math.Sqrt2))
				out := 1 - 0.5*math.Erfc((t-outer)/(sigma*math.Sqrt2))
				r := s.root[k]
				v[k], v[n+k], v[2*n+k] = r*in, r*(1-in-out), r*out
				v[3*n+k], v[4*n+k] = r*in*(t-inner), r*out*(t-outer)
			}
			orthonormal(v, 5)
			s.try = append(s.try, sliverTry{inner, outer, v})
		}
	}
	return s
}

// orthonormal makes the count vectors stored one after another in v orthonormal (Gram–Schmidt).
func orthonormal(v []float64, count int) {
	n := len(v) / count
	for a := range count {
		x := v[a*n : (a+1)*n]
		for b := range a {
			y := v[b*n : (b+1)*n]
			d := dotF(x, y)
			for k := range x {
				x[k] -= d * y[k]
			}
		}
		norm := math.Sqrt(max(dotF(x, x), 1e-18))
		for k := range x {
			x[k] /= norm
		}
	}
}

// dotF is the sum of products of two vectors of one length, in four sums that do not wait for each
// other.
func dotF(x, y []float64) float64 {
	y = y[:len(x)]
	var a, b, c, d float64
	k := 0
	for ; k+4 <= len(x); k += 4 {
		u, v := x[k:k+4:k+4], y[k:k+4:k+4]
		a += u[0] * v[0]
		b += u[1] * v[1]
		c += u[2] * v[2]
		d += u[3] * v[3]
	}
	for ; k < len(x); k++ {
		a += x[k] * y[k]
	}
	return (a + b) + (c + d)
}

// fit returns the best pair of edges for the three channels of a profile (len 2·half+1 each), the
// squared error left, that of one edge alone (anywhere), and the strip's level in each channel.
func (s *sliverModel) fit(y *[3][]float64, single *edgeModel) (inner, outer, sse, sse1 float64, strip [3]float64) {
	n := 2*s.half + 1
	var yw [3][]float64
	total := 0.0
	for c := range yw {
		yw[c] = make([]float64, n)
		for k := range n {
			yw[c][k] = y[c][k] * s.root[k]
		}
		total += dotF(yw[c], yw[c])
	}
	rest := func(q []float64) float64 {
		r := total
		for a := 0; a < len(q); a += n {
			for c := range yw {
				d := dotF(q[a:a+n], yw[c])
				r -= d * d
			}
		}
		return r
	}
	sse1 = math.Inf(1)
	for p := 0; p < len(single.q); p += 2 {
		sse1 = min(sse1, rest(single.q[p]))
	}
	sse = math.Inf(1)
	for i := range s.try {
		if r := rest(s.try[i].q); r < sse {
			sse, inner, outer = r, s.try[i].inner, s.try[i].outer
		}
	}
	// The level of the strip: mean over its middle, enough to tell skin from table.
	mid := (inner + outer) / 2
	k := min(max(int(math.Round(mid/bandStep))+s.half, 0), n-1)
	for c := range strip {
		strip[c] = y[c][k]
	}
	return
}
