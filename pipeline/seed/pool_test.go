package seed

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"offtype/pipeline/record"
)

func TestPool(t *testing.T) {
	// 3 of 40 and 12 of 40: Fisher's exact test, two-sided, 0.0197570267584 (scipy.stats.fisher_exact).
	p := Pool("L", []Share{{Grower: "a", Harvest: "h1", Off: 3, Plants: 40}, {Grower: "b", Harvest: "h2", Off: 12, Plants: 40}})
	said := strings.Join(p.Sentences, " ")
	if p.PBetween == nil || math.Abs(*p.PBetween-0.0197570267584) > 1e-9 || p.Off != 15 || p.Plants != 80 || !strings.Contains(said, "differ more than chance") {
		t.Errorf("pooled: %+v", p)
	}
	if p.Low != nil || p.High != nil || strings.Contains(said, "likely between") {
		t.Errorf("a common rate of lots that differ: %+v", p)
	}
	if p = Pool("L", []Share{{Grower: "a", Harvest: "h1", Plants: 10}}); p.PBetween != nil || !strings.Contains(strings.Join(p.Sentences, " "), "Only one grower") {
		t.Errorf("one grower: %+v", p)
	}
	if p = Pool("L", nil); !strings.Contains(p.Sentences[0], "No plant") {
		t.Errorf("nobody: %+v", p)
	}
	if p = Pool("L", []Share{{Harvest: "h1", Unsure: 2}}); !strings.Contains(p.Sentences[0], "could be decided") {
		t.Errorf("all doubtful: %+v", p)
	}
}

// Plants that could not be decided count both ways, as in the finding on one harvest: scipy 1.10.1, beta.ppf(0.025, 1, 24)
// and beta.ppf(0.975, 4, 21) for 1 to 3 of 24.
func TestPoolCountsUndecidedBothWays(t *testing.T) {
	p := Pool("L", []Share{{Grower: "a", Harvest: "h1", Off: 1, Plants: 10, Unsure: 2}, {Grower: "b", Harvest: "h2", Plants: 12}})
	if p.Low == nil || math.Abs(*p.Low-0.0010543524) > 1e-9 || math.Abs(*p.High-0.3236113582) > 1e-9 || !strings.Contains(p.Sentences[0], "2 plants more could not be decided") {
		t.Errorf("%+v low %v high %v", p, *p.Low, *p.High)
	}
}

// Plants that taught the description are true by the grower's word and no evidence.
func TestPoolLeavesTeachersOut(t *testing.T) {
	p := Pool("L", []Share{{Grower: "a", Harvest: "h1", Plants: 10, Vouched: true}, {Grower: "b", Harvest: "h2", Off: 2, Plants: 8}})
	if p.Off != 2 || p.Plants != 8 || p.PBetween != nil || !strings.Contains(p.Shares[0].Says(), "not counted") || !strings.Contains(p.Shares[1].Says(), "rate between 3.2 % and 65 %") {
		t.Errorf("%+v; %s; %s", p, p.Shares[0].Says(), p.Shares[1].Says())
	}
}

// A plant photographed twice, at harvest and cured, is one plant: off-type when either says so.
func TestPoolCountsAPlantOnce(t *testing.T) {
	of := func(v ...record.Verdict) map[string]record.Verdict {
		m := map[string]record.Verdict{}
		for i, x := range v {
			m[fmt.Sprint("bed/", i)] = x
		}
		return m
	}
	const good, off, open = record.TrueToType, record.OffType, record.Doubtful
	p := Pool("L", []Share{
		{Harvest: "fresh", Off: 1, Plants: 3, Unsure: 1, Of: of(good, off, good, open)},
		{Harvest: "cured", Off: 1, Plants: 4, Of: of(off, good, good, good)},
		{Harvest: "other", Off: 1, Plants: 5, Of: map[string]record.Verdict{"bed 2/1": off, "bed 2/2": good, "bed 2/3": good, "bed 2/4": good, "bed 2/5": good}}})
	if p.Off != 3 || p.Plants != 9 || p.Shares[0].Off != 2 || p.Shares[0].Plants != 4 || p.Shares[0].Unsure != 0 || p.Shares[1].Plants != 0 || p.Shares[1].Again != 4 || !strings.Contains(p.Sentences[0], "4 plants stand in more than one harvest") {
		t.Errorf("%+v", p)
	}
}
