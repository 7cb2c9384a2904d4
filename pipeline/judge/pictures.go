package judge

import "offtype/pipeline/record"

// Pictures fills run.Grouping of a run that was read back, for its drawings: the grouping is made anew from the
// measurements. Groups and verdicts stay as they are; where the groups differ from those on file (found by
// another version, or changed by hand), what is said about their stability is left out.
func Pictures(run *record.Run) error {
	if run.Grouping != nil || len(run.Fruits) == 0 {
		return nil
	}
	again := *run
	filed := map[record.Key]int{}
	most := 0
	for _, m := range run.Groups {
		filed[m.Key] = m.Group
		most = max(most, m.Group)
	}
	for _, k := range []int{0, most} {
		if _, err := group(&again, Fruits(run.Fruits), Options{Groups: k}); err != nil {
			return err
		}
		same := len(again.Groups) == len(filed)
		for _, m := range again.Groups {
			same = same && filed[m.Key] == m.Group
		}
		run.Grouping = again.Grouping
		if same {
			return nil
		}
	}
	run.Grouping.Stability, run.Grouping.Repeats, run.Grouping.Again, run.Grouping.Notes = nil, nil, nil, nil
	return nil
}
