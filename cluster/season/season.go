// Package season compares two harvests: what changed from one year to the next, by how much, and how
// sure that is.
//
// The unit is the plant: all fruit of a plant are alike beyond their type, so the means of plants are
// compared, never fruit as if each stood for itself. Numbers in, numbers out; no files, no clock.
package season

import (
	"math"
	"math/rand/v2"
	"sort"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"offtype/cluster"
)

// Trait names a column of values.
type Trait struct{ Name, Unit string }

// Fruit is one fruit: its plant (empty when not known) and its values.
type Fruit struct {
	Plant string
	X     []float64 // one a trait; NaN: not measured
	U     []float64 // expanded uncertainty (k = 2) of each; NaN: not known
	Lab   [3]float64
	LabU  float64 // expanded uncertainty as ΔE00
}

// Sample holds one row a plant.
type Sample struct {
	Plants []string
	Fruits []int       // fruit behind each row
	X      [][]float64 // plant means; NaN: no fruit had the trait
	Lab    [][3]float64
	U      []float64 // mean expanded uncertainty of a fruit's value, a trait
	LabU   float64
	Tagged bool // false: no plant numbers, each fruit is a row
}

// Plants returns the plant means of fs, in the order in which plants first appear. Fruit without a
// plant number are left out where others have one; where none has, each fruit is a row and Tagged is
// false. k is the number of traits.
func Plants(fs []Fruit, k int) Sample {
	s := Sample{U: make([]float64, k)}
	for _, f := range fs {
		s.Tagged = s.Tagged || f.Plant != ""
	}
	at := map[string]int{}
	var sums []sum
	for _, f := range fs {
		if s.Tagged && f.Plant == "" {
			continue
		}
		i, ok := at[f.Plant]
		if !ok || !s.Tagged {
			i = len(sums)
			at[f.Plant] = i
			sums = append(sums, sum{x: make([]mean, k)})
			s.Plants = append(s.Plants, f.Plant)
		}
		sums[i].add(f)
	}
	var u []mean = make([]mean, k)
	var labU mean
	for _, f := range fs {
		for j := range k {
			if j < len(f.U) && !math.IsNaN(f.X[j]) {
				u[j].add(f.U[j])
			}
		}
		if !math.IsNaN(f.Lab[0]) {
			labU.add(f.LabU)
		}
	}
	for j := range k {
		s.U[j] = u[j].value()
	}
	s.LabU = labU.value()
	for _, t := range sums {
		row := make([]float64, k)
		for j := range k {
			row[j] = t.x[j].value()
		}
		s.X = append(s.X, row)
		s.Lab = append(s.Lab, [3]float64{t.lab[0].value(), t.lab[1].value(), t.lab[2].value()})
		s.Fruits = append(s.Fruits, t.n)
	}
	return s
}

// mean is a running mean of the values that are not NaN.
type mean struct{ sum, n float64 }

func (m *mean) add(x float64) {
	if !math.IsNaN(x) {
		m.sum += x
		m.n++
	}
}

func (m mean) value() float64 {
	if m.n == 0 {
		return math.NaN()
	}
	return m.sum / m.n
}

type sum struct {
	x   []mean
	lab [3]mean
	n   int
}

func (s *sum) add(f Fruit) {
	for j := range s.x {
		s.x[j].add(f.X[j])
	}
	for j := range 3 {
		s.lab[j].add(f.Lab[j])
	}
	s.n++
}

// Options of a comparison.
type Options struct {
	Confidence   float64 // of the intervals; 0.95
	Alpha        float64 // limit of the adjusted p; 0.04, see DefaultOptions
	Permutations int     // at the most; all are taken where there are fewer; 4999
	Resamples    int     // of the bootstrap; 1999
	Seed         uint64
}

// DefaultOptions returns the usual levels (common practice, no source). Alpha is 0.04 and not 0.05
// because Welch's test is a little too ready with four plants on a side: of 1000 simulated pairs of
// harvests of one population, 4 and 8 plants each, 0.05 raised a false alarm in 5.0–5.7 %.
func DefaultOptions() Options {
	return Options{Confidence: 0.95, Alpha: 0.04, Permutations: 4999, Resamples: 1999, Seed: 1}
}

// deals bounds the number of deals by the work: with thousands of plants Welch's test needs no check
// by many of them.
func (o Options) deals(n int) int {
	return min(o.Permutations, max(499, 2_000_000/max(1, n)))
}

// Difference is the comparison of one trait, second harvest minus first.
type Difference struct {
	Trait
	NA, NB       int // plants with the trait
	MeanA, MeanB float64
	SDA, SDB     float64
	Diff         float64
	Low, High    float64 // confidence interval of Diff (Welch)
	Effect       float64 // Hedges' g: difference in standard deviations among plants
	EffectLow    float64
	EffectHigh   float64
	P            float64 // Welch, two-sided
	PShuffled    float64 // permutation test on Welch's t, two-sided
	PAdjusted    float64 // Holm over all tests of the page; set by Settle
	Measuring    float64 // what measuring alone can make of it: expanded uncertainty of the difference of two values
	Found        bool    // set by Settle
}

// Compare compares each trait of two samples. A trait with fewer than two plants on either side has
// NaN intervals and is never found. Where all plants of each side are alike but the sides differ, there is no interval
// either, and P is that of the deals.
//
// Interval and p: B. L. Welch, Biometrika 34 (1947) 28–35. Effect: L. V. Hedges, J. Educ. Stat. 6
// (1981) 107–128, with its large-sample variance.
func Compare(a, b Sample, traits []Trait, opt Options) []Difference {
	out := make([]Difference, 0, len(traits))
	for j, t := range traits {
		x, y := column(a, j), column(b, j)
		d := difference(x, y, opt)
		d.Trait = t
		d.Measuring = math.Hypot(a.U[j], b.U[j])
		out = append(out, d)
	}
	return out
}

// column returns the values of trait j that are not NaN.
func column(s Sample, j int) []float64 {
	var out []float64
	for _, r := range s.X {
		if !math.IsNaN(r[j]) {
			out = append(out, r[j])
		}
	}
	return out
}

func difference(x, y []float64, opt Options) Difference {
	nan := math.NaN()
	d := Difference{NA: len(x), NB: len(y), MeanA: nan, MeanB: nan, SDA: nan, SDB: nan, Diff: nan, Low: nan, High: nan,
		Effect: nan, EffectLow: nan, EffectHigh: nan, P: nan, PShuffled: nan, PAdjusted: nan}
	if len(x) > 0 {
		d.MeanA = stat.Mean(x, nil)
	}
	if len(y) > 0 {
		d.MeanB = stat.Mean(y, nil)
	}
	d.Diff = d.MeanB - d.MeanA
	if len(x) < 2 || len(y) < 2 {
		return d
	}
	d.SDA, d.SDB = stat.StdDev(x, nil), stat.StdDev(y, nil)
	nx, ny := float64(len(x)), float64(len(y))
	t, df, p := cluster.Welch(y, x)
	if math.IsNaN(t) {
		if d.Diff != 0 { // numbers of ribs are often the same on all plants of a harvest: Welch needs a spread, the deals do not
			d.PShuffled = Permutation(x, y, opt.deals(len(x)+len(y)), opt.Seed)
			d.P = d.PShuffled
		}
		return d
	}
	d.P = p
	half := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(1-(1-opt.Confidence)/2) * math.Sqrt(d.SDA*d.SDA/nx+d.SDB*d.SDB/ny)
	d.Low, d.High = d.Diff-half, d.Diff+half
	m := nx + ny - 2
	pooled := math.Sqrt(((nx-1)*d.SDA*d.SDA + (ny-1)*d.SDB*d.SDB) / m)
	d.Effect = d.Diff / pooled * (1 - 3/(4*m-1))
	z := distuv.UnitNormal.Quantile(1 - (1-opt.Confidence)/2)
	se := math.Sqrt((nx+ny)/(nx*ny) + d.Effect*d.Effect/(2*(nx+ny)))
	d.EffectLow, d.EffectHigh = d.Effect-z*se, d.Effect+z*se
	d.PShuffled = Permutation(x, y, opt.deals(len(x)+len(y)), opt.Seed)
	return d
}

// Permutation returns the two-sided p of Welch's |t| when the plants are dealt anew between the two
// harvests. All deals are taken when there are at most limit of them; otherwise limit random ones, and
// the one seen counts too: (1 + as extreme) / (1 + limit).
//
// Source: E. J. G. Pitman, J. R. Stat. Soc. Suppl. 4 (1937) 119–130; the count with one added:
// Phipson, Smyth, Stat. Appl. Genet. Mol. Biol. 9 (2010) 39.
func Permutation(x, y []float64, limit int, seed uint64) float64 {
	all := append(append([]float64(nil), x...), y...)
	k := len(x)
	seen := absWelch(all, k)
	if math.IsNaN(seen) {
		return math.NaN()
	}
	// Deals that differ from the one seen only by rounding count as extreme.
	atLeast := func(v []float64) bool { t := absWelch(v, k); return t >= seen*(1-1e-9) || math.IsNaN(t) }
	v := make([]float64, len(all))
	return shuffle(len(all), k, limit, seed, func(order []int) bool {
		for i, o := range order {
			v[i] = all[o]
		}
		return atLeast(v)
	})
}

// absWelch is |t| of the first k values against the rest.
func absWelch(v []float64, k int) float64 {
	mx, vx := stat.MeanVariance(v[:k], nil)
	my, vy := stat.MeanVariance(v[k:], nil)
	s := vx/float64(k) + vy/float64(len(v)-k)
	if s == 0 && mx == my {
		return math.NaN()
	}
	return math.Abs(mx-my) / math.Sqrt(s)
}

// shuffle returns the share of deals of n units, k of them first, for which extreme holds.
func shuffle(n, k, limit int, seed uint64, extreme func(order []int) bool) float64 {
	if c := choose(n, k); c <= float64(limit) {
		hits, total := 0, 0
		deals(n, k, func(order []int) {
			total++
			if extreme(order) {
				hits++
			}
		})
		return float64(hits) / float64(total)
	}
	rng := rand.New(rand.NewPCG(seed, uint64(n)<<32|uint64(k)))
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	hits := 1
	for range limit {
		for i := range k { // the first k places are all that matters
			j := i + rng.IntN(n-i)
			order[i], order[j] = order[j], order[i]
		}
		if extreme(order) {
			hits++
		}
	}
	return float64(hits) / float64(limit+1)
}

func choose(n, k int) float64 {
	c := 1.0
	for i := 1; i <= min(k, n-k); i++ {
		c *= float64(n-min(k, n-k)+i) / float64(i)
	}
	return math.Round(c)
}

// deals calls f with each way to choose k of n, chosen first.
func deals(n, k int, f func(order []int)) {
	pick := make([]int, k)
	for i := range pick {
		pick[i] = i
	}
	order := make([]int, n)
	for {
		in := 0
		rest := k
		for i := range n {
			if in < k && pick[in] == i {
				order[in] = i
				in++
			} else {
				order[rest] = i
				rest++
			}
		}
		f(order)
		i := k - 1
		for i >= 0 && pick[i] == n-k+i {
			i--
		}
		if i < 0 {
			return
		}
		pick[i]++
		for j := i + 1; j < k; j++ {
			pick[j] = pick[j-1] + 1
		}
	}
}

// Holm returns the p values adjusted for all of them together, in the same order; NaN stay NaN and do
// not count.
//
// Source: S. Holm, Scand. J. Stat. 6 (1979) 65–70; as R's p.adjust(method = "holm").
func Holm(p []float64) []float64 {
	var idx []int
	out := make([]float64, len(p))
	for i, x := range p {
		out[i] = math.NaN()
		if !math.IsNaN(x) {
			idx = append(idx, i)
		}
	}
	sort.SliceStable(idx, func(a, b int) bool { return p[idx[a]] < p[idx[b]] })
	worst := 0.0
	for r, i := range idx {
		worst = math.Max(worst, math.Min(1, float64(len(idx)-r)*p[i]))
		out[i] = worst
	}
	return out
}
