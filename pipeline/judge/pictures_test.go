package judge

import (
	"reflect"
	"testing"
)

// A run that is read back has no grouping; Pictures makes the same again. Where a fruit was moved by hand, nothing is
// said about stability.
func TestPictures(t *testing.T) {
	run, _ := sceneRun(t, 1, "demo-2026")
	judged(t, run, demoVariety(t), Options{})
	was := run.Grouping
	run.Grouping = nil
	if err := Pictures(run); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(was.Tree, run.Grouping.Tree) || !reflect.DeepEqual(was.Again, run.Grouping.Again) || len(was.Again) != 3 {
		t.Errorf("tree or repeats differ: %v, %v", was.Again, run.Grouping.Again)
	}
	run.Grouping = nil
	run.Groups[0].Group = 3
	if err := Pictures(run); err != nil {
		t.Fatal(err)
	}
	if run.Grouping == nil || run.Grouping.Again != nil {
		t.Error("the stability of other groups is told")
	}
}
