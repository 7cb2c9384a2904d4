package cluster

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Difference is a trait in which a group differs from the fruit of the other groups.
type Difference struct {
	Trait  int
	By     float64 // median of the group − median of the others, in the trait's unit
	Effect float64 // the same in standard deviations of a fruit of one type
	Words  string  // "148 mm longer"
}

// tells: the least effect size that is worth a sentence.
const tells = 2.0

// apart fills Apart of every group: the traits in which it differs from all other fruit, strongest
// first. With one group there is nothing to tell apart.
func (h *harvest) apart(t Table, res *Result, m *model) {
	if len(res.Groups) < 2 {
		return
	}
	sd := make([]float64, len(t.Traits))
	for a, j := range h.cols {
		sd[j] = math.Sqrt(m.cov.at(a, a)) * h.scale[a]
	}
	for i := range res.Groups {
		g := &res.Groups[i]
		for j, tr := range t.Traits {
			if sd[j] == 0 || math.IsNaN(g.Centre[j]) {
				continue
			}
			var others []float64
			for r, mb := range res.Members {
				if mb.Group != g.Number && !mb.Alone {
					others = append(others, t.Rows[r].Values[j])
				}
			}
			o := median(others)
			if math.IsNaN(o) {
				continue
			}
			d := Difference{Trait: j, By: g.Centre[j] - o, Effect: (tr.Scale.Work(g.Centre[j]) - tr.Scale.Work(o)) / sd[j]}
			if math.Abs(d.Effect) >= tells {
				d.Words = tr.Differs(d.By)
				g.Apart = append(g.Apart, d)
			}
		}
		slices.SortStableFunc(g.Apart, func(a, b Difference) int {
			return cmp.Compare(math.Abs(b.Effect), math.Abs(a.Effect))
		})
	}
}

// Differs says in words how a value differs from another that is smaller by `by` ("148 mm longer",
// "greener"). Traits without a unit are told without a figure.
func (tr Trait) Differs(by float64) string {
	word := tr.More
	if by < 0 {
		word = tr.Less
	}
	if word == "" {
		word = map[bool]string{true: "less ", false: "more "}[by < 0] + tr.Label
	}
	if tr.Unit == "" {
		return word
	}
	a := math.Abs(by)
	figure := fmt.Sprintf("%.0f", a)
	if a < 3 {
		figure = strings.TrimSuffix(fmt.Sprintf("%.1f", a), ".0")
	}
	if tr.Unit == "°" {
		return figure + "° " + word
	}
	return figure + " " + tr.Unit + " " + word
}
