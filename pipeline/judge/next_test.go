package judge

import (
	"slices"
	"strings"
	"testing"

	"offtype/pipeline/record"
)

// Whatever was found, the steps name the plants, and a cucurbit that is off-type or doubtful is never passed on to the
// kitchen untested.
func TestNext(t *testing.T) {
	run := func(species string, vs ...record.Verdict) *record.Run {
		r := &record.Run{Fruits: make([]record.Fruit, 1)}
		r.Judgement.Variety = &record.VarietyRef{Name: "x", Species: species}
		for i, v := range vs {
			r.Judgement.Plants = append(r.Judgement.Plants, record.PlantVerdict{Plant: string(rune('1' + i)), Verdict: v})
		}
		return r
	}
	about := func(r *record.Run) (out []string, all string) {
		for _, s := range Next(r) {
			out = append(out, s.About)
			all += s.About + ": " + s.Text + "\n"
		}
		return out, all
	}
	for _, c := range []struct {
		name string
		run  *record.Run
		want []string
		say  []string
	}{
		{"nothing measured", &record.Run{}, nil, nil},
		{"no description", &record.Run{Fruits: make([]record.Fruit, 1)}, []string{"Describe", "Eat"}, []string{"read the cautions"}},
		{"off", run("Cucurbita moschata", record.TrueToType, record.OffType, record.OffType), []string{"Set apart", "Eat", "Compost", "Seed", "Supplier", "Next sowing"}, []string{"plants 2 and 3", "tested that very fruit", "Children do not taste"}},
		{"doubtful", run("Cucumis melo", record.TrueToType, record.Doubtful), []string{"Look again", "Eat", "Compost", "Seed", "Next sowing"}, []string{"plant 2", "tested that very fruit"}},
		{"species not known", run("", record.OffType), []string{"Set apart", "Eat", "Compost", "Seed", "Supplier", "Next sowing"}, []string{"tested that very fruit"}},
		{"pepper", run("Capsicum annuum", record.OffType), []string{"Set apart", "Eat", "Compost", "Seed", "Supplier", "Next sowing"}, []string{"do not eat"}},
		{"all true", run("Cucurbita moschata", record.TrueToType), []string{"Seed", "Next sowing"}, []string{"can still hold crossed seed"}},
	} {
		got, all := about(c.run)
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: steps %v, want %v", c.name, got, c.want)
		}
		for _, s := range c.say {
			if !strings.Contains(all, s) {
				t.Errorf("%s: %q is not said:\n%s", c.name, s, all)
			}
		}
	}
}
