package report

import (
	"slices"
	"strings"

	"offtype/pipeline/record"
)

// methodText says how the fruit of this run were measured: what gave the scale in its photos, and the rest.
func methodText(run *record.Run, t *texts) []string {
	var from [len(t.ScaleFrom)]bool
	for i := range run.Photos {
		from[0] = from[0] || len(run.Photos[i].Cards) > 0
	}
	for i := range run.Fruits {
		f := &run.Fruits[i]
		from[1] = from[1] || f.Has("scale-from-coin") || f.Has("scale-from-line")
		from[2] = from[2] || f.Has("no-scale")
	}
	from[3] = len(run.Photos) == 0 && len(run.Fruits) > 0
	var said []string
	for i, is := range from {
		if is {
			said = append(said, t.ScaleFrom[i])
		}
	}
	out := slices.Clone(t.MethodText)
	switch {
	case from[3]: // nothing was outlined
		out[0] = t.ScaleFrom[3]
	case len(said) > 0:
		out[0] = strings.Join(said, " ") + " " + out[0]
	}
	return out
}
