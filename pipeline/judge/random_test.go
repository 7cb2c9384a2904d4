package judge

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"offtype/pipeline/record"
)

// randomRun is a table of 0 to 12 fruit with any of their values missing, wild or equal.
func randomRun(rng *rand.Rand) *record.Run {
	run := &record.Run{}
	v := func(lo, hi float64) record.Value {
		switch rng.IntN(6) {
		case 0:
			return record.None()
		case 1:
			return record.Value{V: lo, U: math.NaN()}
		}
		return record.Value{V: lo + (hi-lo)*rng.Float64(), U: rng.Float64() * (hi - lo) / 5}
	}
	lab := func() *record.Lab {
		if rng.IntN(4) == 0 {
			return nil
		}
		return &record.Lab{L: 100 * rng.Float64(), A: 80 * rng.NormFloat64(), B: 80 * rng.NormFloat64(), U: math.NaN()}
	}
	for i := range rng.IntN(13) {
		f := record.Fruit{Photo: "p.jpg", Number: i + 1, Ribs: rng.IntN(14) - 1,
			Length: v(0, 400), Width: v(0, 300), Ratio: v(0, 4), Midline: v(0, 400), Bend: v(0, 180), BroadestAt: v(0, 1), Volume: v(0, 9000),
			Neck: v(0, 1), Taper: v(-1, 1), GrooveDepth: v(0, 0.3), SecondShare: v(0, 1), Skin: lab(), Second: lab(), Roughness: record.None(), StalkLength: record.None(),
			Pattern: []string{"", "none", "stripes", "dots"}[rng.IntN(4)]}
		if rng.IntN(3) > 0 {
			f.Plant = fmt.Sprint(rng.IntN(4) + 1)
		}
		if rng.IntN(8) == 0 {
			f.Notes = []string{[]string{"cut", "sick", "ends-unsure", "colour-doubtful"}[rng.IntN(4)]}
		}
		run.Fruits = append(run.Fruits, f)
	}
	return run
}

// Whatever the table: no crash, groups that exist, and the rules of judgement.json.
func TestAnyTable(t *testing.T) {
	v := demoVariety(t)
	for seed := range uint64(150) {
		rng := rand.New(rand.NewPCG(seed, 77))
		run := randomRun(rng)
		var use *Variety
		if rng.IntN(4) > 0 {
			use = v
		}
		o := Options{Plants: rng.IntN(5), Groups: max(0, rng.IntN(8)-4)}
		if err := Judge(run, use, o); err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		j := run.Judgement
		if _, err := json.Marshal(j); err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		if len(run.Groups) != len(run.Fruits) {
			t.Fatalf("seed %d: %d memberships of %d fruit", seed, len(run.Groups), len(run.Fruits))
		}
		for i, m := range run.Groups {
			if m.Group < 1 || m.Group > len(j.Groups) || !(m.Membership >= 0 && m.Membership <= 1.000001) || m.Alone && !m.Unsure {
				t.Errorf("seed %d: membership %+v of %d groups", seed, m, len(j.Groups))
			}
			if len(j.Fruits[i].Reasons) == 0 || use == nil && j.Fruits[i].Verdict == record.OffType {
				t.Errorf("seed %d: verdict %+v", seed, j.Fruits[i])
			}
		}
		for g, n := range j.Groups[:max(0, len(j.Groups)-1)] {
			if n.Fruits < j.Groups[g+1].Fruits {
				t.Errorf("seed %d: group %d is smaller than group %d", seed, g+1, g+2)
			}
		}
		l := j.Lot
		if l.Unit == "fruit" && (l.Rate != nil || l.Low != nil || l.High != nil || l.Rule != nil) {
			t.Errorf("seed %d: %+v", seed, l)
		}
		if l.Rate != nil && (math.Abs(*l.Rate-float64(l.Off)/float64(l.Seen-l.Unsure)) > 1e-12 || *l.Low > *l.Rate+1e-12 || *l.High < *l.Rate-1e-12) {
			t.Errorf("seed %d: %+v", seed, l)
		}
	}
}
