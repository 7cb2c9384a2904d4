package season

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"

	"offtype/pipeline/reftable"
)

// closed is the tolerance against values printed to 12 digits (relative).
const closed = 1e-9

func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > closed*math.Max(1e-30, math.Abs(want)) {
		t.Errorf("%s = %.15g, want %.15g", what, got, want)
	}
}

// Five and six invented lengths. scipy 1.10.1: ttest_ind(y, x, equal_var=False), its interval from t.ppf
// and the Welch–Satterthwaite formula, and permutation_test over all 462 deals of |Welch t|.
func TestTraitAgainstScipy(t *testing.T) {
	x := []float64{212.4, 221.8, 207.9, 218.3, 226.1}
	y := []float64{231.0, 219.5, 240.2, 236.7, 228.8, 244.1}
	d := difference(x, y, DefaultOptions())
	near(t, "p", d.P, 0.009085516148381573)
	near(t, "low", d.Low, 5.091144027208536)
	near(t, "high", d.High, 27.075522639458093)
	near(t, "permutation p", d.PShuffled, 6.0/462)
	near(t, "permutation p, 4 and 4", Permutation([]float64{1.2, 3.4, 2.2, 2.9}, []float64{2.8, 3.9, 4.4, 3.1}, 4999, 1), 10.0/70)
	// Hedges' g by its formula: mean difference over pooled sd, times 1 − 3/(4·9 − 1).
	near(t, "effect", d.Effect, d.Diff/math.Sqrt((4*d.SDA*d.SDA+5*d.SDB*d.SDB)/9)*(1-3.0/35))
	// Random deals agree with all of them within their own error (4 standard errors of 4999 draws).
	random := Permutation(x, y, 461, 3)
	if se := math.Sqrt(0.013 * 0.987 / 461); math.Abs(random-6.0/462) > 4*se+1.0/462 {
		t.Errorf("random deals give %v, all deals %v", random, 6.0/462)
	}
}

func reference(t *testing.T, name string) [][]string {
	t.Helper()
	_, rows := reftable.Rows(t, "../../testdata/reference/"+name)
	return rows
}

// Iris versicolor and virginica (Fisher 1936): Welch and Hotelling from scipy and numpy, the file says.
func TestIris(t *testing.T) {
	var fs [2][]Fruit
	for _, r := range reference(t, "iris.csv") {
		i := map[string]int{"versicolor": 0, "virginica": 1, "setosa": -1}[r[4]]
		if i < 0 {
			continue
		}
		f := Fruit{Plant: fmt.Sprint(len(fs[i])), Lab: [3]float64{math.NaN(), math.NaN(), math.NaN()}, LabU: math.NaN()}
		for _, s := range r[:4] {
			v, err := strconv.ParseFloat(s, 64)
			if err != nil {
				t.Fatal(err)
			}
			f.X, f.U = append(f.X, v), append(f.U, 0)
		}
		fs[i] = append(fs[i], f)
	}
	a, b := Plants(fs[0], 4), Plants(fs[1], 4)
	if len(a.X) != 50 || len(b.X) != 50 {
		t.Fatalf("%d and %d plants, want 50 each", len(a.X), len(b.X))
	}
	traits := []Trait{{Name: "sepal_length_cm"}, {Name: "sepal_width_cm"}, {Name: "petal_length_cm"}, {Name: "petal_width_cm"}}
	ds := Compare(a, b, traits, DefaultOptions())
	for i, r := range reference(t, "iris_versicolor_virginica_tests.csv") {
		p, err := strconv.ParseFloat(r[7], 64)
		if err != nil {
			t.Fatal(err)
		}
		if i < 4 {
			// The file prints 11 digits.
			if math.Abs(ds[i].P-p) > 1e-9*p {
				t.Errorf("%s: p %.12g, want %.12g", r[0], ds[i].P, p)
			}
			continue
		}
		j := Together(a, b, traits, []int{0, 1, 2, 3}, DefaultOptions())
		near(t, "T2", j.T2, 355.472145199)
		near(t, "F", j.F, 86.147586209)
		if j.D1 != 4 || j.D2 != 95 || math.Abs(j.P-p) > 1e-9*p || j.Shrunk != 0 {
			t.Errorf("Hotelling: %+v, want p %v on 4, 95", j, p)
		}
	}
}

func TestFisherRates(t *testing.T) {
	for _, r := range reference(t, "fisher_exact_examples.csv") {
		n := make([]int, 4)
		for i := range n {
			n[i], _ = strconv.Atoi(r[1+i])
		}
		want, _ := strconv.ParseFloat(r[5], 64)
		near(t, r[0], Rates(n[0], n[0]+n[1], n[2], n[2]+n[3], DefaultOptions()).P, want)
	}
}

// Holm by its definition: sorted p times 4, 3, 2, 1, made monotone (R 4.2's p.adjust gives the same).
func TestHolm(t *testing.T) {
	got := Holm([]float64{0.01, math.NaN(), 0.04, 0.03, 0.005})
	for i, want := range []float64{0.03, math.NaN(), 0.06, 0.06, 0.02} {
		if math.IsNaN(want) != math.IsNaN(got[i]) || math.Abs(got[i]-want) > 1e-15 {
			t.Errorf("Holm[%d] = %v, want %v", i, got[i], want)
		}
	}
}

func TestPlants(t *testing.T) {
	nan := math.NaN()
	fs := []Fruit{
		{Plant: "1", X: []float64{10, nan}, U: []float64{1, nan}, Lab: [3]float64{50, 0, 0}},
		{Plant: "2", X: []float64{30, 5}, U: []float64{3, 2}, Lab: [3]float64{nan, nan, nan}},
		{Plant: "1", X: []float64{20, nan}, U: []float64{2, nan}, Lab: [3]float64{60, 0, 0}},
		{Plant: "", X: []float64{99, 99}, U: []float64{9, 9}},
	}
	s := Plants(fs, 2)
	if len(s.X) != 2 || !s.Tagged || s.X[0][0] != 15 || !math.IsNaN(s.X[0][1]) || s.X[1][1] != 5 || s.Lab[0][0] != 55 || !math.IsNaN(s.Lab[1][0]) || s.Fruits[0] != 2 {
		t.Errorf("plants: %+v", s)
	}
	for i := range fs {
		fs[i].Plant = ""
	}
	if s = Plants(fs, 2); len(s.X) != 4 || s.Tagged {
		t.Errorf("without tags: %+v", s)
	}
	if s = Plants(nil, 2); len(s.X) != 0 {
		t.Errorf("nothing: %+v", s)
	}
}

// One plant, equal values and empty harvests give no finding and no panic.
func TestFew(t *testing.T) {
	opt := DefaultOptions()
	for _, c := range [][2][]float64{{{1}, {2}}, {{}, {1, 2}}, {{3, 3}, {3, 3}}, {{}, {}}, {{1, 1}, {2, 2}}} {
		d := difference(c[0], c[1], opt)
		Settle(Page{Traits: []*Difference{&d}}, opt)
		if d.Found {
			t.Errorf("%v: found %+v", c, d)
		}
	}
	c := Colours(Sample{}, Sample{}, euclid, opt)
	j := Together(Sample{}, Sample{}, nil, nil, opt)
	r := Rates(0, 0, 0, 3, opt)
	Settle(Page{Colours: []*ColourDifference{&c}, Joint: []*Joint{&j}, Rates: []*Rate{&r}}, opt)
	if c.Found || j.Found || r.Found || !math.IsNaN(c.DE) {
		t.Errorf("empty harvests: %+v %+v %+v", c, j, r)
	}
}

func euclid(a, b [3]float64) float64 {
	return math.Sqrt(math.Pow(a[0]-b[0], 2) + math.Pow(a[1]-b[1], 2) + math.Pow(a[2]-b[2], 2))
}

// harvest simulates plants of one population: plants differ, and fruit within a plant differ.
func harvest(r *rand.Rand, plants, fruits, k int, shift float64) []Fruit {
	var out []Fruit
	for p := range plants {
		size, base := r.NormFloat64(), make([]float64, k)
		for j := range base { // half of the traits follow the plant's size
			base[j] = r.NormFloat64()
			if j%2 == 0 {
				base[j] = 0.8*size + 0.6*base[j]
			}
		}
		lab := [3]float64{65 + r.NormFloat64(), 12 + r.NormFloat64(), 40 + 1.5*r.NormFloat64()}
		for range fruits {
			f := Fruit{Plant: fmt.Sprint(p), LabU: math.NaN()}
			for j := range k {
				v := base[j] + 0.7*r.NormFloat64()
				if j == 0 {
					v += shift
				}
				f.X, f.U = append(f.X, v), append(f.U, math.NaN())
			}
			for c := range 3 {
				f.Lab[c] = lab[c] + r.NormFloat64()
			}
			out = append(out, f)
		}
	}
	return out
}

// Two samples of one population raise a Holm-adjusted finding in at most 5 % of 500 comparisons of
// ten traits, colour, all together and the off-type rate; a true shift of three standard deviations among
// plants is found.
func TestFalseAlarms(t *testing.T) {
	const runs, k = 500, 10
	opt := DefaultOptions()
	opt.Permutations, opt.Resamples = 399, 1
	traits := make([]Trait, k)
	use := make([]int, 6)
	for i := range use {
		use[i] = i
	}
	page := func(r *rand.Rand, na, nb int, shift float64) (any, first bool) {
		a, b := Plants(harvest(r, na, 4, k, 0), k), Plants(harvest(r, nb, 4, k, shift), k)
		ds := Compare(a, b, traits, opt)
		c := Colours(a, b, euclid, opt)
		j := Together(a, b, traits, use, opt)
		off := func(n int) int {
			x := 0
			for range n {
				if r.Float64() < 0.02 {
					x++
				}
			}
			return x
		}
		q := Rates(off(na), na, off(nb), nb, opt)
		p := Page{Colours: []*ColourDifference{&c}, Joint: []*Joint{&j}, Rates: []*Rate{&q}}
		for i := range ds {
			p.Traits = append(p.Traits, &ds[i])
		}
		Settle(p, opt)
		for i := range ds {
			any = any || ds[i].Found
		}
		return any || c.Found || j.Found || q.Found, ds[0].Found
	}
	for _, c := range []struct{ na, nb int }{{4, 8}, {8, 8}, {20, 12}} {
		r := rand.New(rand.NewPCG(2026, uint64(c.na)))
		alarms := 0
		for range runs {
			if any, _ := page(r, c.na, c.nb, 0); any {
				alarms++
			}
		}
		t.Logf("%d and %d plants: %d false alarms in %d comparisons", c.na, c.nb, alarms, runs)
		if alarms > runs/20 {
			t.Errorf("%d and %d plants: %d false alarms in %d comparisons, want at most 5 %%", c.na, c.nb, alarms, runs)
		}
	}
	r := rand.New(rand.NewPCG(9, 9))
	found := 0
	for range 40 {
		if _, first := page(r, 8, 8, 3.5); first {
			found++
		}
	}
	if found < 32 {
		t.Errorf("a true shift was found %d times of 40, want at least 32", found)
	}
}

func TestMatch(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	move := func(fs []Fruit, d float64) []Fruit {
		for i := range fs {
			for j := range fs[i].X {
				fs[i].X[j] += d
			}
		}
		return fs
	}
	a := []Group{{1, harvest(r, 6, 3, 4, 0)}, {2, move(harvest(r, 2, 3, 4, 0), 15)}}
	b := []Group{{1, move(harvest(r, 2, 3, 4, 0), 15)}, {2, harvest(r, 6, 3, 4, 0)}, {3, move(harvest(r, 2, 3, 4, 0), -15)}}
	got := Match(a, b, 4)
	var s []string
	for _, p := range got {
		s = append(s, fmt.Sprintf("%d-%d", p.A, p.B))
	}
	if want := "1-2 2-1 0-3"; strings.Join(s, " ") != want {
		t.Errorf("pairs %v, want %s", s, want)
	}
	if got := Match(nil, b, 4); len(got) != 3 || got[0].A != 0 {
		t.Errorf("nothing to match: %+v", got)
	}
}

func ExampleHolm() {
	fmt.Println(Holm([]float64{0.01, 0.5, 0.02}))
	// Output: [0.03 0.5 0.04]
}

func BenchmarkCompare(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 1))
	x, y := Plants(harvest(r, 2500, 4, 12, 0), 12), Plants(harvest(r, 2500, 4, 12, 0), 12)
	traits := make([]Trait, 12)
	b.ReportAllocs()
	for b.Loop() {
		Compare(x, y, traits, DefaultOptions())
	}
}

// Between against Fisher's exact test for two growers, and for three against dealing all twelve plants
// one by one: the share of deals whose division is no more probable than the one seen.
func TestBetween(t *testing.T) {
	for _, r := range reference(t, "fisher_exact_examples.csv") {
		n := make([]int, 4)
		for i := range n {
			n[i], _ = strconv.Atoi(r[1+i])
		}
		want, _ := strconv.ParseFloat(r[5], 64)
		if got := Between([]int{n[0], n[2]}, []int{n[0] + n[1], n[2] + n[3]}); math.Abs(got-want) > 1e-9 {
			t.Errorf("%s: %.12g, want %.12g", r[0], got, want)
		}
	}
	x, n := []int{0, 1, 3}, []int{3, 4, 5}
	count := map[[3]int]int{}
	deals(12, 4, func(order []int) {
		var c [3]int
		for _, o := range order[:4] {
			switch {
			case o < 3:
				c[0]++
			case o < 7:
				c[1]++
			default:
				c[2]++
			}
		}
		count[c]++
	})
	seen, hits := count[[3]int{0, 1, 3}], 0
	for _, k := range count {
		if k <= seen {
			hits += k
		}
	}
	near(t, "three growers", Between(x, n), float64(hits)/495)
	if !math.IsNaN(Between([]int{1}, []int{3})) {
		t.Error("one grower gave a p")
	}
}

func TestBetweenWithoutPairs(t *testing.T) {
	if p := Between([]int{1, 2}, []int{3}); !math.IsNaN(p) {
		t.Errorf("two counts of one grower: p %v", p)
	}
}

// Counts that are the same on all plants of a harvest: of the 70 deals of four and four two are as extreme as the one
// seen, of the 56 of three and five one.
func TestNoSpread(t *testing.T) {
	same := func(n int, v float64) Sample {
		s := Sample{U: []float64{0}}
		for range n {
			s.X = append(s.X, []float64{v})
		}
		return s
	}
	for _, c := range []struct {
		na, nb int
		a, b   float64
		want   float64
	}{{4, 4, 10, 12, 2. / 70}, {3, 5, 10, 12, 1. / 56}, {4, 4, 10, 10, math.NaN()}, {1, 4, 10, 12, math.NaN()}} {
		d := Compare(same(c.na, c.a), same(c.nb, c.b), []Trait{{Name: "ribs"}}, DefaultOptions())[0]
		if math.IsNaN(c.want) != math.IsNaN(d.P) || math.Abs(d.P-c.want) > closed || d.PShuffled != d.P && !math.IsNaN(d.P) || !math.IsNaN(d.Low) || !math.IsNaN(d.Effect) {
			t.Errorf("%d plants with %v and %d with %v: %+v, want p %v", c.na, c.a, c.nb, c.b, d, c.want)
		}
	}
	d := Compare(same(10, 10), same(10, 12), []Trait{{Name: "ribs"}}, DefaultOptions())[0]
	Settle(Page{Traits: []*Difference{&d}}, DefaultOptions())
	if !d.Found {
		t.Errorf("ten plants with 10 ribs and ten with 12: %+v", d)
	}
}

// With a dozen growers there are too many divisions to count, and they are drawn. Reference: 2,000,000 draws of numpy
// 1.24 (multivariate_hypergeometric) with scipy's gammaln, standard error at most 0.0003; ours is drawn with 0.0012.
func TestBetweenManyGrowers(t *testing.T) {
	n := slices.Repeat([]int{40}, 12)
	for _, c := range []struct {
		x    []int
		want float64
	}{{[]int{2, 1, 0, 3, 2, 5, 1, 0, 2, 9, 1, 0}, 0.000604}, {[]int{2, 1, 0, 3, 2, 5, 1, 0, 2, 7, 1, 0}, 0.0078025}, {[]int{2, 1, 0, 3, 2, 3, 1, 2, 2, 4, 1, 2}, 0.829689}} {
		const fourErrors = 4 * 0.0012
		if p := Between(c.x, n); !(math.Abs(p-c.want) < min(fourErrors, c.want)) {
			t.Errorf("%v: p %v, want %v", c.x, p, c.want)
		}
	}
}
