package main

import (
	"fmt"
	"io"

	"offtype/cluster"
)

// calibration compares stated memberships with how often they are right.
type calibration struct {
	n, right, stated [10]float64
	brier, all       float64
}

// add counts the fruit of a harvest. A membership is right when the fruit's type is the type most
// fruit of that group have.
func (c *calibration) add(r cluster.Result, truth []int) {
	if len(r.Groups) < 2 {
		return // with one group every membership is 1 by definition
	}
	main := make([]int, len(r.Groups))
	for g := range r.Groups {
		votes := map[int]int{}
		for _, i := range r.Groups[g].Rows {
			votes[truth[i]]++
		}
		for k, v := range votes {
			if v > votes[main[g]] || v == votes[main[g]] && k < main[g] {
				main[g] = k
			}
		}
	}
	for i, m := range r.Members {
		ok := 0.0
		if main[m.Group-1] == truth[i] {
			ok = 1
		}
		b := min(9, int(m.Probability*10))
		c.n[b]++
		c.right[b] += ok
		c.stated[b] += m.Probability
		c.brier += (m.Probability - ok) * (m.Probability - ok)
		c.all++
	}
}

func (c *calibration) print(w io.Writer, what string) {
	fmt.Fprintf(w, "\nmembership, %s: Brier score %.4f over %.0f fruit\n\nstated | fruit | mean stated | right\n--|--|--|--\n", what, c.brier/c.all, c.all)
	for b, n := range c.n {
		if n > 0 {
			fmt.Fprintf(w, "%.1f–%.1f | %.0f | %.3f | %.3f\n", float64(b)/10, float64(b+1)/10, n, c.stated[b]/n, c.right[b]/n)
		}
	}
}
