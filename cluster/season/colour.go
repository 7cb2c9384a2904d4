package season

import (
	"math"
	"math/rand/v2"
	"sort"
)

// DeltaE is a colour difference of two CIELAB colours, such as CIEDE2000.
type DeltaE func(a, b [3]float64) float64

// ColourDifference compares the mean colours of two samples.
type ColourDifference struct {
	NA, NB       int
	MeanA, MeanB [3]float64
	DE           float64 // ΔE00 of the mean colours
	Low, High    float64 // interval; Low is 0 when no difference is not excluded
	Chance       float64 // what dealing the plants anew gives in 95 of 100 deals
	P            float64 // share of deals with as great a difference
	PAdjusted    float64 // Holm; set by Settle
	Measuring    float64 // expanded uncertainty of the difference of two colours, ΔE00
	Found        bool    // set by Settle
}

// Colours compares the colours of two samples. p comes from dealing the plants anew (a colour
// difference is never below 0, so that it has no simple reference distribution); the interval from
// drawing plants with replacement, each harvest by itself, percentiles (Efron, Ann. Stat. 7 (1979)
// 1–26). With fewer than two plants on a side, interval and p are NaN.
func Colours(a, b Sample, de DeltaE, opt Options) ColourDifference {
	x, y := coloured(a), coloured(b)
	nan := math.NaN()
	c := ColourDifference{NA: len(x), NB: len(y), DE: nan, Low: nan, High: nan, Chance: nan, P: nan, PAdjusted: nan, Measuring: math.Hypot(a.LabU, b.LabU)}
	c.MeanA, c.MeanB = meanLab(x), meanLab(y)
	if len(x) == 0 || len(y) == 0 {
		return c
	}
	c.DE = de(c.MeanA, c.MeanB)
	if len(x) < 2 || len(y) < 2 {
		return c
	}
	all := append(append([][3]float64(nil), x...), y...)
	k := len(x)
	var chance []float64
	c.P = shuffle(len(all), k, opt.deals(len(all)), opt.Seed, func(order []int) bool {
		v := de(meanAt(all, order[:k]), meanAt(all, order[k:]))
		chance = append(chance, v)
		return v >= c.DE*(1-1e-9)
	})
	c.Chance = quantile(chance, 0.95)
	rng := rand.New(rand.NewPCG(opt.Seed, 77))
	boot := make([]float64, max(1, min(opt.Resamples, opt.deals(len(all)))))
	for i := range boot {
		boot[i] = de(meanLab(resample(rng, x)), meanLab(resample(rng, y)))
	}
	tail := (1 - opt.Confidence) / 2
	c.Low, c.High = quantile(boot, tail), quantile(boot, 1-tail)
	if c.P > opt.Alpha {
		c.Low = 0
	}
	return c
}

func coloured(s Sample) [][3]float64 {
	var out [][3]float64
	for _, l := range s.Lab {
		if !math.IsNaN(l[0]) && !math.IsNaN(l[1]) && !math.IsNaN(l[2]) {
			out = append(out, l)
		}
	}
	return out
}

// MeanLab is the mean colour of the plants of s that have one, CIELAB D65; NaN where none has.
func (s Sample) MeanLab() [3]float64 { return meanLab(coloured(s)) }

func meanLab(x [][3]float64) [3]float64 {
	m := [3]float64{}
	for _, l := range x {
		for j := range 3 {
			m[j] += l[j] / float64(len(x))
		}
	}
	if len(x) == 0 {
		return [3]float64{math.NaN(), math.NaN(), math.NaN()}
	}
	return m
}

func meanAt(x [][3]float64, at []int) [3]float64 {
	m := [3]float64{}
	for _, i := range at {
		for j := range 3 {
			m[j] += x[i][j] / float64(len(at))
		}
	}
	return m
}

func resample(rng *rand.Rand, x [][3]float64) [][3]float64 {
	out := make([][3]float64, len(x))
	for i := range out {
		out[i] = x[rng.IntN(len(x))]
	}
	return out
}

// quantile interpolates between order statistics (Hyndman and Fan's type 7, as R's default). x is
// sorted in place.
func quantile(x []float64, q float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	sort.Float64s(x)
	h := q * float64(len(x)-1)
	i := int(h)
	if i+1 >= len(x) {
		return x[len(x)-1]
	}
	return x[i] + (h-float64(i))*(x[i+1]-x[i])
}
