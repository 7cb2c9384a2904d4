package judge

import (
	"fmt"
	"math"

	"offtype/cluster"
	"offtype/cluster/reference"
	"offtype/pipeline/record"
)

// A fruit without a stalk may be measured the wrong way round: stem end for blossom end, or across for
// along. Such a fruit stands alone although it is like the others. turned looks for fruit that fit a group only when turned.

// turn is how a fruit has to be turned to fit.
type turn int

const (
	asMeasured turn = iota
	endForEnd
	sideways
)

// turnedFruit returns the fruit as it would read when measured the other way.
func turnedFruit(f reference.Fruit, t turn) reference.Fruit {
	switch t {
	case endForEnd:
		f.Broad.V, f.Taper.V = 1-f.Broad.V, -f.Taper.V
		f.Neck = reference.Missing()
	case sideways:
		f.Length, f.Width = f.Width, f.Length
		f.Ratio = reference.Measured{V: 1 / f.Ratio.V, U: f.Ratio.U / (f.Ratio.V * f.Ratio.V)}
		gone := reference.Missing()
		f.Midline, f.Broad, f.Bend, f.Neck, f.Taper, f.Groove = gone, gone, gone, gone, gone, gone
		if f.Pattern == "stripes" || f.Pattern == "bands" { // along and around change places
			f.Pattern = "stripes"
		}
	}
	return f
}

// farther: how much nearer to a group a turned fruit must be than as measured, in distance.
const farther = 1.5

// turned finds the fruit that stand alone and fit a group when turned. It corrects their membership
// (unsure, no longer alone) and returns how each is turned.
func turned(run *record.Run, fs []reference.Fruit, r *cluster.Result) map[int]turn {
	out := map[int]turn{}
	for i := range fs {
		if !r.Members[i].Alone {
			continue
		}
		best := cluster.Member{}
		for _, t := range []turn{endForEnd, sideways} {
			f := turnedFruit(fs[i], t)
			if t == endForEnd && math.IsNaN(f.Broad.V) && math.IsNaN(f.Taper.V) || t == sideways && (math.IsNaN(f.Length.V) || math.IsNaN(f.Width.V)) {
				continue
			}
			m := r.Classify(reference.Table([]reference.Fruit{f}).Rows[0])
			if m.Group == 0 || m.Alone || m.Distance*farther > r.Members[i].Distance || best.Group > 0 && m.Distance >= best.Distance {
				continue
			}
			best = m
			out[i] = t
		}
		if best.Group > 0 {
			best.Unsure = true
			r.Members[i] = best
		}
	}
	if len(out) > 0 {
		r.Regroup()
	}
	return out
}

// turnedSentence tells the grower to look.
func turnedSentence(f *record.Fruit, group int, t turn) string {
	how := "its stem end and blossom end were taken for each other"
	if t == sideways {
		how = "it was measured across instead of along"
	}
	return fmt.Sprintf("Fruit %d in %s fits group %d only if %s: look at it, and say where its stem end is.", f.Number, f.Photo, group, how)
}
