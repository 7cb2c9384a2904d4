package cluster

import (
	"math"

	"gonum.org/v1/gonum/stat/combin"
)

// Types of one harvest differ in some traits and agree in the others: a variety is distinct by one trait
// or a few, not by all. In which traits is not known; every number of them is thought equally likely, and every
// choice of so many. With S the traits in which types differ, the others follow from those in S in the
// same way for all types, so that
//
//	ln P(fruit | types, S) = ln P(all traits | one type) + ln P(S | types) − ln P(S | one type)
//
// The share of the covariance that belongs to S has the same prior with fewer degrees of freedom (ν − p + s), since a
// block of an inverse-Wishart matrix is inverse-Wishart. The probability is averaged over the choices that differs meets.
//
// Source of the split into traits that tell types apart and traits that follow from them: A. E. Raftery, N. Dean,
// J. Am. Stat. Assoc. 101 (2006) 168–178.

// differs returns the logarithm of P(fruit | types) ÷ P(fruit | one type), averaged over the traits in which the types
// differ, and the most probable choice of those.
//
// one and types are prior plus the scatter left about one centre and about the centres of the types; each trait in S
// costs −occam/2 for the centres (occam is negative); nu are the degrees of freedom of prior and fruit.
// S is built up by the trait that explains most beside those in it; every set met on the way, that is p(p+1)/2 of them, counts.
func differs(one, types sym, occam, nu float64) (gain float64, only []int) {
	p := one.n
	one, types = one.clone(), types.clone()
	out := make([]int, p) // traits not in S
	for j := range out {
		out[j] = j
	}
	order := make([]int, 0, p)
	top, size, total := math.Inf(-1), 0, 0.0
	inS := 0.0 // ln det of types ÷ one over the traits in S
	for s := 1; s <= p; s++ {
		fixed := float64(s)/2*occam - math.Log(float64(p)) - combin.LogGeneralizedBinomial(float64(p), float64(s))
		half := (nu - float64(p-s)) / 2
		least, at := math.Inf(1), 0
		for i, j := range out {
			r := math.Log(types.at(j, j) / one.at(j, j))
			if r < least {
				least, at = r, i
			}
			v := fixed - half*(inS+r)
			if v > top {
				total *= math.Exp(top - v)
				top, size = v, s
			}
			total += math.Exp(v - top)
		}
		inS += least
		j := out[at]
		out = append(out[:at], out[at+1:]...)
		order = append(order, j)
		one.condition(j, out)
		types.condition(j, out)
	}
	return top + math.Log(total), order[:size]
}

// condition takes what trait k says out of the rows and columns in out.
func (s sym) condition(k int, out []int) {
	d := s.at(k, k)
	for _, i := range out {
		f := s.at(i, k) / d
		for _, j := range out {
			s.a[i*s.n+j] -= f * s.at(k, j)
		}
	}
}

// entries returns the values of x at idx, all when idx is nil.
func entries(x []float64, idx []int) []float64 {
	if idx == nil {
		return append([]float64(nil), x...)
	}
	out := make([]float64, len(idx))
	for i, j := range idx {
		out[i] = x[j]
	}
	return out
}
