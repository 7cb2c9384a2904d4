package skin

import (
	"math"
	"slices"

	"offtype/measure/colour"
)

func sortFloats(v []float64) { slices.Sort(v) }

func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	w := slices.Clone(v)
	slices.Sort(w)
	return (w[(len(w)-1)/2] + w[len(w)/2]) / 2
}

// split sorts the samples into parts of one colour each.
func (s *patchwork) split() {
	for i := range s.px {
		s.px[i].part = 0
	}
}

// partColours returns the reflectance of each part: per channel the median of own, facing up favoured.
func (s *patchwork) partColours() [][3]float64 {
	n := 0
	for i := range s.px {
		n = max(n, s.px[i].part+1)
	}
	out := make([][3]float64, n)
	for p := range out {
		c, _ := s.robust(func(q *pixel) bool { return q.part == p })
		out[p] = c
	}
	return out
}

// robust returns the weighted median per channel of the samples that pass; samples that face up weigh most, since
// there the card's light is known best.
func (s *patchwork) robust(pass func(*pixel) bool) (colour.RGB, bool) {
	type vw struct{ v, w float64 }
	var c colour.RGB
	v := make([]vw, 0, len(s.px))
	for k := range c {
		v = v[:0]
		sum := 0.0
		for i := range s.px {
			q := &s.px[i]
			if q.cut || !pass(q) {
				continue
			}
			w := math.Exp(-(1-q.n.Z)/0.2) * q.facing
			v = append(v, vw{q.own[k], w})
			sum += w
		}
		if len(v) == 0 {
			return c, false
		}
		slices.SortFunc(v, func(a, b vw) int {
			if a.v < b.v {
				return -1
			} else if a.v > b.v {
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

func (s *patchwork) mainColour() (colour.Lab, bool) {
	c, ok := s.robust(func(q *pixel) bool { return true })
	return c.Lab(), ok
}
