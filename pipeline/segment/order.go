package segment

import (
	"sort"

	"offtype/measure/geom"
)

// sortReading puts fruit in reading order: rows from the top, in a row from the left.
//
// A row starts with the topmost fruit left; every fruit whose centroid lies no more than half the
// median fruit height below the row's running mean joins it (taken from top to bottom).
func sortReading(fs []Fruit) {
	type item struct {
		f    Fruit
		c    geom.Px
		high float64
	}
	it := make([]item, len(fs))
	var highs []float64
	for i, f := range fs {
		lo, hi := geom.Bounds(f.Outline)
		it[i] = item{f, geom.Centroid(f.Outline), hi.Y - lo.Y}
		highs = append(highs, hi.Y-lo.Y)
	}
	if len(it) == 0 {
		return
	}
	sort.Float64s(highs)
	tol := 0.5 * highs[len(highs)/2]
	sort.SliceStable(it, func(i, j int) bool {
		return it[i].c.Y < it[j].c.Y || (it[i].c.Y == it[j].c.Y && it[i].c.X < it[j].c.X)
	})
	out := fs[:0]
	for s := 0; s < len(it); {
		mean, e := it[s].c.Y, s+1
		for e < len(it) && it[e].c.Y-mean <= tol {
			mean += (it[e].c.Y - mean) / float64(e-s+1)
			e++
		}
		row := it[s:e]
		sort.SliceStable(row, func(i, j int) bool { return row[i].c.X < row[j].c.X })
		for _, r := range row {
			out = append(out, r.f)
		}
		s = e
	}
}
