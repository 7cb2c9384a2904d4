package judge

import (
	"strings"
	"testing"

	"offtype/pipeline/record"
)

// A fruit whose ends were taken for each other, and one that was measured across, go to their own kind,
// unsure and with a sentence; neither makes its plant off-type.
func TestTurnedFruit(t *testing.T) {
	v := demoVariety(t)
	for _, c := range []struct {
		name string
		turn func(*record.Fruit)
		says string
	}{
		{"end for end", func(f *record.Fruit) { f.BroadestAt.V = 1 - f.BroadestAt.V }, "taken for each other"},
		{"across", func(f *record.Fruit) { f.Length, f.Width = f.Width, f.Length; f.Ratio.V = 1 / f.Ratio.V }, "across instead of along"},
	} {
		run, _ := sceneRun(t, 11, "demo-2026")
		c.turn(&run.Fruits[1])
		j := judged(t, run, v, Options{})
		m := run.Groups[1]
		if m.Group != run.Groups[0].Group || !m.Unsure || m.Alone {
			t.Errorf("%s: %+v, its sister %+v", c.name, m, run.Groups[0])
		}
		if !strings.Contains(strings.Join(j.Fruits[1].Reasons, " "), c.says) {
			t.Errorf("%s: %q", c.name, j.Fruits[1].Reasons)
		}
		if p := plantVerdict(j, run.Fruits[1].Plant); p.Verdict != record.TrueToType {
			t.Errorf("%s: the plant is %s: %v", c.name, p.Verdict, p.Reasons)
		}
	}
}
