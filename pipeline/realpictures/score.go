package main

import (
	"offtype/measure/geom"
	"offtype/pipeline/segment"
)

// result is the comparison of one picture.
type result struct {
	truth, found, extra int       // fruit; found: overlap above one half; extra: outlines of no fruit
	unsure              int       // outlines that the program itself would ask about
	overlap             []float64 // a value for each true fruit: common area / joint area, 0 when missed
	bias                []float64 // px, found fruit: how far outside the true edge the outline lies on average
	asOne               int       // true fruit that share an outline with another
	split               int       // true fruit with two or more outlines on them
}

func (r result) right() bool { return r.found == r.truth && r.extra == 0 }

// compare sets outlines (body and stalk together) against label, the number of the fruit at each pixel.
func compare(label []uint8, w, h, truth int, fs []segment.Fruit) result {
	r := result{truth: truth, overlap: make([]float64, truth), bias: make([]float64, truth)}
	area, edge := make([]int, truth+1), make([]int, truth+1)
	for i, v := range label {
		area[v]++
		if x := i % w; v != 0 && (x == 0 || x == w-1 || i < w || i >= w*(h-1) || label[i-1] != v || label[i+1] != v || label[i-w] != v || label[i+w] != v) {
			edge[v]++
		}
	}
	on, hold := make([]int, truth+1), 0
	for _, f := range fs {
		if f.Confidence < segment.DefaultOptions().UnsureBelow {
			r.unsure++
		}
		seen := make([]bool, w*h)
		for _, line := range [][]geom.Px{f.Outline, f.Stalk} {
			segment.FillSpans(line, w, h, func(y, x0, x1 int) {
				for x := x0; x < x1; x++ {
					seen[y*w+x] = true
				}
			})
		}
		in, all := make([]int, truth+1), 0
		for i, s := range seen {
			if s {
				in[label[i]]++
				all++
			}
		}
		good, inside := false, 0
		for v := 1; v <= truth; v++ {
			if 2*in[v] > area[v] {
				inside++
			}
			if 2*in[v] > all {
				on[v]++
			}
			q := float64(in[v]) / float64(area[v]+all-in[v])
			if q > 0.5 { // no second outline can reach this
				good = true
				r.found++
				r.overlap[v-1], r.bias[v-1] = q, float64(all-area[v])/float64(max(1, edge[v]))
			}
		}
		if !good {
			r.extra++
		}
		if inside > 1 {
			hold += inside
		}
	}
	r.asOne = hold
	for _, n := range on[1:] {
		if n > 1 {
			r.split++
		}
	}
	return r
}
