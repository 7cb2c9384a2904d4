// Package lot says what the plants seen tell about the seed lot they were grown from: off-type rate
// with its interval, limits of a population standard, and what a count can and cannot show.
//
// The unit counted is the plant: all fruit of one plant are its mother tissue and share its type.
// Numbers in, numbers and sentences out; no files, no clock.
package lot

import (
	"fmt"
	"math"
	"math/big"
	"strconv"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/combin"
	"gonum.org/v1/gonum/stat/distuv"
)

// ClopperPearson returns the exact two-sided interval for the rate of x off-types in n plants at the
// given confidence (0.95). n = 0 gives 0, 1.
//
//	low = B⁻¹(α/2; x, n−x+1), high = B⁻¹(1−α/2; x+1, n−x), α = 1 − confidence
//
// Source: C. Clopper, E. Pearson, Biometrika 26 (1934) 404–413.
func ClopperPearson(x, n int, confidence float64) (low, high float64) {
	a := (1 - confidence) / 2
	low, high = 0, 1
	if x > 0 && n > 0 {
		low = betaQuantile(a, float64(x), float64(n-x+1))
	}
	if x < n {
		high = betaQuantile(1-a, float64(x+1), float64(n-x))
	}
	return low, high
}

// betaQuantile sharpens gonum's start by bisection on the regularised incomplete beta function.
func betaQuantile(p, a, b float64) float64 {
	lo, hi := 0.0, 1.0
	for range 200 {
		m := (lo + hi) / 2
		if m == lo || m == hi {
			break
		}
		if mathext.RegIncBeta(a, b, m) < p {
			lo = m
		} else {
			hi = m
		}
	}
	return (lo + hi) / 2
}

// Wilson returns the two-sided score interval without continuity correction.
//
// Source: E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209–212.
func Wilson(x, n int, confidence float64) (low, high float64) {
	if n == 0 {
		return 0, 1
	}
	z := distuv.UnitNormal.Quantile(1 - (1-confidence)/2)
	nn, p := float64(n), float64(x)/float64(n)
	mid := (p + z*z/(2*nn)) / (1 + z*z/nn)
	half := z / (1 + z*z/nn) * math.Sqrt(p*(1-p)/nn+z*z/(4*nn*nn))
	low, high = mid-half, mid+half
	if x == 0 {
		low = 0
	}
	if x == n {
		high = 1
	}
	return low, high
}

// Allowed returns the largest number of off-types in n plants that a population standard allows: the
// smallest k with P(Binomial(n, standard) ≤ k) ≥ acceptance. Both rates are taken as the decimal
// numbers they are written as (0.01 is 1/100), and the comparison is in whole numbers, since it holds
// with equality in cases that rounding would get wrong (1 % and 99 % at one plant).
//
// Error: a rate outside 0 … 1 (both ends excluded) or n < 0. The rule is the one remembered from
// UPOV TGP/8; its published ranges for 1 % / 95 % up to 137 plants agree.
func Allowed(n int, standard, acceptance float64) (int, error) {
	if n < 0 || !(standard > 0 && standard < 1) || !(acceptance > 0 && acceptance < 1) {
		return 0, fmt.Errorf("standard %v with acceptance %v for %d plants; give rates between 0 and 1, such as 0.01 and 0.95", standard, acceptance, n)
	}
	p, acc := decimal(standard), decimal(acceptance)
	a, d := p.Num(), p.Denom()
	rest := new(big.Int).Sub(d, a)
	goal := new(big.Int).Exp(d, big.NewInt(int64(n)), nil)
	goal.Mul(goal, acc.Num())
	term := new(big.Int).Exp(rest, big.NewInt(int64(n)), nil)
	sum := new(big.Int)
	for k := 0; ; k++ {
		sum.Add(sum, term)
		if k >= n || new(big.Int).Mul(sum, acc.Denom()).Cmp(goal) >= 0 {
			return k, nil
		}
		term.Mul(term, big.NewInt(int64(n-k)))
		term.Mul(term, a)
		term.Quo(term, big.NewInt(int64(k+1)))
		term.Quo(term, rest)
	}
}

// decimal is the rational number that x is written as in its shortest form.
func decimal(x float64) *big.Rat {
	r, _ := new(big.Rat).SetString(strconv.FormatFloat(x, 'g', -1, 64))
	return r
}

// Accept returns the chance that a lot with the given true rate passes on n plants with at most k
// off-types: the operating characteristic of the rule.
func Accept(n, k int, rate float64) float64 {
	switch {
	case k >= n || rate <= 0:
		return 1
	case rate >= 1:
		return 0
	}
	return mathext.RegIncBeta(float64(n-k), float64(k+1), 1-rate)
}

// PlantsToSee returns the smallest number of plants that shows at least one off-type with the given
// confidence when the true rate is rate.
func PlantsToSee(rate, confidence float64) int {
	n := int(math.Ceil(math.Log1p(-confidence) / math.Log1p(-rate)))
	for n > 1 && ChanceToSee(n-1, rate) >= confidence {
		n--
	}
	for ChanceToSee(n, rate) < confidence {
		n++
	}
	return n
}

// ChanceToSee returns the chance that n plants show at least one off-type at the given true rate.
func ChanceToSee(n int, rate float64) float64 { return -math.Expm1(float64(n) * math.Log1p(-rate)) }

// Fisher returns the exact p values of the table {{a, b}, {c, d}}: two-sided (the sum of all tables no
// more probable than the one seen), and one-sided for a being small and large.
//
// Source: R. A. Fisher, J. R. Stat. Soc. 98 (1935) 39–54; two-sided as R's fisher.test.
func Fisher(a, b, c, d int) (two, less, greater float64) {
	row, col, n := a+b, a+c, a+b+c+d
	lp := func(x int) float64 {
		return lnChoose(col, x) + lnChoose(n-col, row-x) - lnChoose(n, row)
	}
	seen := lp(a)
	for x := max(0, row+col-n); x <= min(row, col); x++ {
		v := math.Exp(lp(x))
		if lp(x) <= seen+1e-7 {
			two += v
		}
		if x <= a {
			less += v
		}
		if x >= a {
			greater += v
		}
	}
	return min(1, two), min(1, less), min(1, greater)
}

func lnChoose(n, k int) float64 { return combin.LogGeneralizedBinomial(float64(n), float64(k)) }

// AllowFalse is the low end of a rate when a share wrong of the true plants are called off-type by chance: calls are
// r + (1 − r)·wrong, so that a low end of the calls of low means (low − wrong) / (1 − wrong), at least 0.
//
// Source: Rogan and Gladen, Am. J. Epidemiol. 107:71–76 (1978), with a sensitivity of 1; from memory.
func AllowFalse(low, wrong float64) float64 {
	return max(0, (low-wrong)/(1-wrong))
}
