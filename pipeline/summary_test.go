package pipeline

import (
	"strings"
	"testing"

	"offtype/pipeline/record"
)

// The terminal says of how many fruit of a group the verdict tells nothing.
func TestSummaryCountsWhatWasNotJudged(t *testing.T) {
	run := &record.Run{Fruits: make([]record.Fruit, 6)}
	run.Judgement = record.Judgement{Groups: []record.GroupVerdict{{Group: 1, Fruits: 6, Verdict: record.TrueToType}}}
	for i := range 6 {
		v := record.FruitVerdict{Fruit: i + 1, Group: 1, Verdict: record.TrueToType}
		if i > 1 {
			v.Verdict = record.NotJudged
		}
		run.Judgement.Fruits = append(run.Judgement.Fruits, v)
	}
	r := &Result{Run: run}
	if s := r.Summary(); s.Groups[0].NotJudged != 4 || !strings.Contains(s.Text(), "Group 1: 6 fruit, 4 of them not judged – true to type\n") {
		t.Errorf("%+v\n%s", s.Groups, s.Text())
	}
	run.Groups = []record.Membership{{Group: 1, Plant: "2"}}
	if s := r.Summary().Text(); !strings.Contains(s, "Group 1: 6 fruit, 4 of them not judged, of plant 2 – true to type\n") {
		t.Errorf("with a tag: %s", s)
	}
}
