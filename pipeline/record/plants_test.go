package record

import (
	"slices"
	"testing"
)

func TestPlantsInOrder(t *testing.T) {
	run := &Run{}
	for _, p := range []string{"10", "2", "", "b", "2", "a", "1", "007", "7"} {
		run.Groups = append(run.Groups, Membership{Plant: p, Group: 1})
	}
	run.Groups = append(run.Groups, Membership{Plant: "5", Group: 2})
	if got, want := run.PlantsOf(1), []string{"1", "2", "007", "7", "10", "a", "b"}; !slices.Equal(got, want) {
		t.Errorf("plants %q, want %q", got, want)
	}
	if got := run.PlantsOf(3); len(got) != 0 {
		t.Errorf("plants of no group: %q", got)
	}
}
