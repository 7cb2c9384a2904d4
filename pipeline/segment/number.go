package segment

import (
	"sort"

	"offtype/measure/geom"
)

// Numbered is an outline with the fruit number it had before.
type Numbered struct {
	Number  int
	Outline []geom.Px
}

// Renumber carries fruit numbers from an earlier result of the same photo over to outlines found
// now (in reading order), so that printed sheets stay right. An outline takes the number of the
// earlier one it overlaps most (at least 0.3 of their union); what is new takes the numbers after
// highest, the greatest number ever given. It returns the number of each outline and the new
// highest. Numbers of earlier fruit that are gone stay unused.
func Renumber(prev []Numbered, highest int, now [][]geom.Px) (numbers []int, newHighest int) {
	type pair struct {
		p, n int
		iou  float64
	}
	var ps []pair
	for i, p := range prev {
		highest = max(highest, p.Number)
		for j, o := range now {
			if u := Overlap(p.Outline, o); u >= 0.3 {
				ps = append(ps, pair{i, j, u})
			}
		}
	}
	sort.SliceStable(ps, func(a, b int) bool { return ps[a].iou > ps[b].iou })
	numbers = make([]int, len(now))
	taken := make([]bool, len(prev))
	for _, x := range ps {
		if !taken[x.p] && numbers[x.n] == 0 {
			taken[x.p], numbers[x.n] = true, prev[x.p].Number
		}
	}
	for i := range numbers {
		if numbers[i] == 0 {
			highest++
			numbers[i] = highest
		}
	}
	return numbers, highest
}

// Overlap returns the shared area of two closed outlines over the area of both together (0–1),
// counted in whole pixels.
func Overlap(a, b []geom.Px) float64 {
	al, ah := geom.Bounds(a)
	bl, bh := geom.Bounds(b)
	if len(a) < 3 || len(b) < 3 || al.X > bh.X || bl.X > ah.X || al.Y > bh.Y || bl.Y > ah.Y {
		return 0
	}
	w, h, lo := grid(append(append([]geom.Px(nil), a...), b...))
	in := make([]uint8, w*h)
	for k, o := range [2][]geom.Px{a, b} {
		FillSpans(shift(o, lo), w, h, func(y, x0, x1 int) {
			for x := x0; x < x1; x++ {
				in[y*w+x] |= 1 << k
			}
		})
	}
	both, any := 0, 0
	for _, v := range in {
		if v == 3 {
			both++
		}
		if v != 0 {
			any++
		}
	}
	if any == 0 {
		return 0
	}
	return float64(both) / float64(any)
}
