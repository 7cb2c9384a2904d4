package seed

import (
	"math"
	"strings"
	"testing"
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
