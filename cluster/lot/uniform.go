package lot

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"offtype/cluster"
)

// Uniformity compares how uniform a measured trait is with comparison harvests or varieties.
type Uniformity struct {
	Ratio  float64 // variance ÷ mean variance of the comparison
	Within bool    // Ratio < RelativeVariance
	ByLuck float64 // chance that an equally uniform harvest exceeds RelativeVariance by luck
}

// RelativeVariance is the limit of the 1.6 rule.
// Source: "Understanding PBR", section 4.5 (IP Australia's rules for cross-pollinated varieties).
const RelativeVariance = 1.6

// CompareVariance judges a sample variance (n−1) of n plants against the mean sample variance of k
// comparators with n plants each; k = 0: the comparison variance is known. Use logarithms for sizes.
// NaN when n < 2 or a variance is not positive. Normal data are assumed.
func CompareVariance(variance float64, n int, comparison float64, k int) Uniformity {
	if n < 2 || !(comparison > 0) {
		return Uniformity{math.NaN(), false, math.NaN()}
	}
	r := variance / comparison
	return Uniformity{r, r < RelativeVariance, exceed(RelativeVariance, n, k)}
}

// exceed is the chance that a variance ratio is above r when the variances are equal.
func exceed(r float64, n, k int) float64 {
	df := float64(n - 1)
	if k == 0 {
		return distuv.ChiSquared{K: df}.Survival(r * df)
	}
	return cluster.TailF(r, df, df*float64(k))
}
