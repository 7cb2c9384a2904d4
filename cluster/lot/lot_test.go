package lot

import (
	"math"
	"math/big"
	"strconv"
	"strings"
	"testing"

	"offtype/pipeline/reftable"
)

// The tables and the programs they were computed with are named in their first line.
func readRecords(t *testing.T, name string) []map[string]string {
	t.Helper()
	return reftable.Records(t, "../../testdata/reference/"+name)
}

func whole(t *testing.T, s string) int {
	t.Helper()
	v, err := strconv.Atoi(s)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// close: the references are printed to 12 digits.
func closeTo(t *testing.T, what string, got, want float64) {
	t.Helper()
	if !(math.Abs(got-want) <= 1e-9*max(1e-3, math.Abs(want))) {
		t.Errorf("%s is %.12g, want %.12g", what, got, want)
	}
}

func TestIntervals(t *testing.T) {
	for _, r := range readRecords(t, "binomial_intervals_95.csv") {
		x, n := whole(t, r["x"]), whole(t, r["n"])
		what := r["x"] + " of " + r["n"]
		lo, hi := ClopperPearson(x, n, 0.95)
		closeTo(t, what+" Clopper–Pearson low", lo, reftable.Num(t, r["cp_lower"]))
		closeTo(t, what+" Clopper–Pearson high", hi, reftable.Num(t, r["cp_upper"]))
		lo, hi = Wilson(x, n, 0.95)
		closeTo(t, what+" Wilson low", lo, reftable.Num(t, r["wilson_lower"]))
		closeTo(t, what+" Wilson high", hi, reftable.Num(t, r["wilson_upper"]))
	}
}

func TestIntervalEnds(t *testing.T) {
	for _, c := range []struct {
		x, n   int
		lo, hi float64
	}{{0, 0, 0, 1}, {0, 1, 0, 0.975}, {1, 1, 0.025, 1}} { // 1 − α/2 and α/2 for a single plant, closed form
		lo, hi := ClopperPearson(c.x, c.n, 0.95)
		closeTo(t, "low", lo, c.lo)
		closeTo(t, "high", hi, c.hi)
	}
}

// Every range of the table, at both ends and one plant beyond.
func TestAllowed(t *testing.T) {
	rows := 0
	for _, r := range readRecords(t, "offtype_max_table.csv") {
		std := reftable.Num(t, r["population_standard_pct"])
		acc := reftable.Num(t, r["acceptance_probability_pct"])
		from, to, k := whole(t, r["n_from"]), whole(t, r["n_to"]), whole(t, r["max_offtypes"])
		for _, c := range []struct{ n, k int }{{from, k}, {to, k}} {
			got, err := Allowed(c.n, decimalOf(std/100), decimalOf(acc/100))
			if err != nil || got != c.k {
				t.Errorf("%v %% / %v %% with %d plants allows %d (%v), want %d", std, acc, c.n, got, err, c.k)
			}
		}
		if r["range_truncated_here"] == "no" {
			if got, _ := Allowed(to+1, decimalOf(std/100), decimalOf(acc/100)); got != k+1 {
				t.Errorf("%v %% / %v %% with %d plants allows %d, want %d", std, acc, to+1, got, k+1)
			}
		}
		closeTo(t, "type I error", 1-Accept(to, k, std/100), reftable.Num(t, r["type1_error_at_n_to"]))
		rows++
	}
	if rows < 500 {
		t.Errorf("%d rows compared, want the complete table", rows)
	}
}

// decimalOf rounds 0.01·1 and the like to the decimal number they are written as.
func decimalOf(x float64) float64 { return math.Round(x*1e6) / 1e6 }

// "Understanding PBR" section 4.5 (IP Australia): 5 plants 0, 6–35 1, 36–82 2, 83–137 3.
func TestPublishedLimits(t *testing.T) {
	for n, k := range map[int]int{5: 0, 6: 1, 35: 1, 36: 2, 82: 2, 83: 3, 137: 3, 138: 4} {
		if got, err := Allowed(n, 0.01, 0.95); got != k || err != nil {
			t.Errorf("%d plants allow %d (%v), want %d", n, got, err, k)
		}
	}
}

// The rule itself in rational arithmetic: the smallest k with P(X ≤ k) ≥ acceptance.
func TestAllowedByDefinition(t *testing.T) {
	for _, c := range []struct {
		std, acc string
		n        int
	}{{"0.01", "0.99", 1}, {"0.05", "0.95", 1}, {"0.1", "0.9", 1}, {"0.02", "0.95", 57}, {"0.037", "0.93", 40}} {
		p, _ := new(big.Rat).SetString(c.std)
		acc, _ := new(big.Rat).SetString(c.acc)
		q := new(big.Rat).Sub(big.NewRat(1, 1), p)
		sum, k := new(big.Rat), -1
		for sum.Cmp(acc) < 0 {
			k++
			term := new(big.Rat).SetInt(new(big.Int).Binomial(int64(c.n), int64(k)))
			for i := range c.n {
				if i < k {
					term.Mul(term, p)
				} else {
					term.Mul(term, q)
				}
			}
			sum.Add(sum, term)
		}
		got, err := Allowed(c.n, reftable.Num(t, c.std), reftable.Num(t, c.acc))
		if err != nil || got != k {
			t.Errorf("%s / %s with %d plants allows %d (%v), want %d", c.std, c.acc, c.n, got, err, k)
		}
	}
	for _, bad := range [][2]float64{{0, 0.95}, {1, 0.95}, {0.01, 1}, {math.NaN(), 0.95}} {
		if _, err := Allowed(10, bad[0], bad[1]); err == nil {
			t.Errorf("standard %v, acceptance %v: no error", bad[0], bad[1])
		}
	}
}

func TestOperatingCharacteristic(t *testing.T) {
	for _, r := range readRecords(t, "offtype_oc_curve.csv") {
		got := Accept(whole(t, r["n_plants"]), whole(t, r["max_offtypes"]), reftable.Num(t, r["true_offtype_rate_pct"])/100)
		closeTo(t, r["n_plants"]+" plants, "+r["true_offtype_rate_pct"]+" %", got, reftable.Num(t, r["p_accept"]))
	}
}

func TestPlantsToSee(t *testing.T) {
	for _, r := range readRecords(t, "plants_to_see_one_offtype.csv") {
		rate := reftable.Num(t, r["true_offtype_rate_pct"]) / 100
		n := PlantsToSee(rate, decimalOf(reftable.Num(t, r["confidence_pct"])/100))
		if n != whole(t, r["n_plants"]) {
			t.Errorf("rate %v: %d plants, want %s", rate, n, r["n_plants"])
		}
		closeTo(t, "chance", ChanceToSee(n, rate), reftable.Num(t, r["achieved_probability"]))
	}
}

func TestFisher(t *testing.T) {
	for _, r := range readRecords(t, "fisher_exact_examples.csv") {
		two, less, greater := Fisher(whole(t, r["a"]), whole(t, r["b"]), whole(t, r["c"]), whole(t, r["d"]))
		closeTo(t, r["example"]+" two-sided", two, reftable.Num(t, r["p_two_sided"]))
		closeTo(t, r["example"]+" less", less, reftable.Num(t, r["p_less"]))
		closeTo(t, r["example"]+" greater", greater, reftable.Num(t, r["p_greater"]))
	}
}

func TestRelativeVariance(t *testing.T) {
	for _, r := range readRecords(t, "relative_variance_1p6.csv") {
		n := whole(t, r["n_fruits_plants"])
		closeTo(t, "known", CompareVariance(1, n, 1, 0).ByLuck, reftable.Num(t, r["p_exceed_1.6_known"]))
		closeTo(t, "5 comparators", CompareVariance(1, n, 1, 5).ByLuck, reftable.Num(t, r["p_exceed_1.6_5_comparators"]))
		closeTo(t, "10 comparators", CompareVariance(1, n, 1, 10).ByLuck, reftable.Num(t, r["p_exceed_1.6_10_comparators"]))
	}
}

// The rule of the issue: between the number of off-type groups and N, less one if a group is true.
func TestUntagged(t *testing.T) {
	for _, c := range []struct {
		n, off, good, least, most int
		said                      bool
	}{{8, 0, 1, 0, 0, false}, {8, 1, 1, 1, 7, false}, {8, 2, 0, 2, 8, false}, {2, 2, 1, 1, 1, true}, {1, 1, 0, 1, 1, false}} {
		least, most, said := Untagged(c.n, c.off, c.good)
		if least != c.least || most != c.most || (said != "") != c.said {
			t.Errorf("%+v: %d–%d %q", c, least, most, said)
		}
	}
}

func TestJudgeCountsUnsureBothWays(t *testing.T) {
	f, err := Judge(Count{Seen: 8, Off: 2, Unsure: 1}, CommonStandard, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	lo, _ := ClopperPearson(2, 8, 0.95)
	_, hi := ClopperPearson(3, 8, 0.95)
	closeTo(t, "low", f.Low, lo)
	closeTo(t, "high", f.High, hi)
	closeTo(t, "rate", f.Rate, 2.0/7)
	if f.Allowed != 1 || f.Within {
		t.Errorf("allowed %d, within %v; want 1, false", f.Allowed, f.Within)
	}
	f, _ = Judge(Count{}, CommonStandard, 0.95)
	if !math.IsNaN(f.Rate) || f.Low != 0 || f.High != 1 || !strings.Contains(f.Sentences[0], "No plant") {
		t.Errorf("nothing seen: %+v", f)
	}
}

// By hand: of 20 calls with a low end of 3 %, 1 % of true plants called wrongly leave (0.03 − 0.01)/0.99.
func TestAllowFalse(t *testing.T) {
	for _, c := range [][3]float64{{0.03, 0.01, 0.02 / 0.99}, {0.001, 0.01, 0}, {0.2, 0, 0.2}, {1, 0.01, 1}} {
		if got := AllowFalse(c[0], c[1]); math.Abs(got-c[2]) > 1e-12 {
			t.Errorf("low %v, wrong %v: %v, want %v", c[0], c[1], got, c[2])
		}
	}
}

// What is said follows the number of plants and the rule, not the usual case.
func TestSentencesFitTheCount(t *testing.T) {
	for _, c := range []struct {
		count     Count
		std       Standard
		want, not []string
	}{
		{Count{Seen: 4}, CommonStandard, []string{"The common rule (1 %", "weak evidence on so few plants", "would pass 81 times in 100", "59 plants are needed"}, nil}, // 0.95⁴ = 0.8145
		{Count{Seen: 400, Off: 1, Most: 1}, CommonStandard, []string{"A lot with 5 % off-types would pass less than once in 100"}, []string{"so few plants"}},
		{Count{Seen: 120}, Standard{0.02, 0.95}, []string{"The rule you set (2 %", "more than 99 %"}, []string{"common rule", "are needed"}},
	} {
		f, err := Judge(c.count, c.std, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		s := strings.Join(f.Sentences, " ")
		for _, w := range c.want {
			if !strings.Contains(s, w) {
				t.Errorf("%+v: %q is missing in %q", c.count, w, s)
			}
		}
		for _, w := range c.not {
			if strings.Contains(s, w) {
				t.Errorf("%+v: %q should not be in %q", c.count, w, s)
			}
		}
	}
}

// By hand: shares that were chosen keep their digits and are the decimal numbers they are written as.
func TestGivenShares(t *testing.T) {
	for p, want := range map[float64]struct {
		share float64
		said  string
	}{0.7: {0.007, "0.7 %"}, 99.9: {0.999, "99.9 %"}, 0.25: {0.0025, "0.25 %"}, 1: {0.01, "1 %"}, 95: {0.95, "95 %"}, 0.001: {0.00001, "0.001 %"}, 1.1: {0.011, "1.1 %"}} {
		if x := FromPercent(p); x != want.share || Given(x) != want.said {
			t.Errorf("%v %% is %v, said %q; want %v, %q", p, x, Given(x), want.share, want.said)
		}
	}
	// One plant of a lot with 0.1 % off-types is true with a chance of 99.9 %, neither more nor less.
	if k, err := Allowed(1, FromPercent(0.1), FromPercent(99.9)); k != 0 || err != nil {
		t.Errorf("0.1 %% with 99.9 %% allows %d of 1 plant (%v), want 0", k, err)
	}
}

// A share is written alike everywhere: whole per cents without a decimal, and nothing but nothing as 0 %.
func TestPercent(t *testing.T) {
	for _, c := range []struct {
		x    float64
		want string
	}{{0, "0 %"}, {0.00042, "0.04 %"}, {0.000084, "0.008 %"}, {0.0006, "0.1 %"}, {0.0044, "0.4 %"}, {0.03, "3 %"}, {0.0319, "3.2 %"}, {0.0994, "9.9 %"}, {0.1, "10 %"}, {0.651, "65 %"}, {1, "100 %"}} {
		if got := Percent(c.x); got != c.want {
			t.Errorf("%v is %q, want %q", c.x, got, c.want)
		}
	}
}
