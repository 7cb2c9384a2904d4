package report

import (
	"math"
	"slices"
	"sort"

	"offtype/pipeline/record"
)

// typical returns up to n fruit of a group with a drawing, nearest the group's median size first.
func (b *docBuilder) typical(g, n int) []*view {
	fs := b.inGroup(g)
	l, w := medianOf(fs, traits[0].of), medianOf(fs, traits[1].of)
	type near struct {
		v *view
		d float64
	}
	var ns []near
	for _, f := range fs {
		v := b.views[f.Key()]
		if v == nil {
			continue
		}
		d := 0.0
		for _, x := range [][2]float64{{f.Length.V, l}, {f.Width.V, w}} {
			if !math.IsNaN(x[0]) && x[1] > 0 {
				d += math.Pow(math.Log(x[0]/x[1]), 2)
			} else {
				d += .5
			}
		}
		ns = append(ns, near{v, d})
	}
	sort.SliceStable(ns, func(i, j int) bool { return ns[i].d < ns[j].d })
	if scaled := slices.DeleteFunc(slices.Clone(ns), func(x near) bool { return !x.v.scaled }); len(scaled) > 0 {
		ns = scaled // fruit without a scale cannot stand beside others
	}
	var out []*view
	for _, x := range ns[:min(n, len(ns))] {
		out = append(out, x.v)
	}
	return out
}

func medianOf(fs []*record.Fruit, of func(*record.Fruit) record.Value) float64 {
	var v []float64
	for _, f := range fs {
		if x := of(f); x.Ok() && !math.IsInf(x.V, 0) {
			v = append(v, x.V)
		}
	}
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	if len(v)%2 == 1 {
		return v[len(v)/2]
	}
	return (v[len(v)/2-1] + v[len(v)/2]) / 2
}
