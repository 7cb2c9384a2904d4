package main

import (
	"fmt"
	"io"
	"strings"

	"offtype/cluster"
	"offtype/cluster/lot"
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

// svg draws stated against right memberships: a point a class of ten per cent with its 95 % interval.
func (c *calibration) svg() string {
	var b strings.Builder
	const side, edge = 360.0, 45.0
	at := func(x, y float64) (float64, float64) { return edge + x*side, edge/2 + (1-y)*side }
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%.0f" height="%.0f" font-family="sans-serif" font-size="12">`, side+2*edge, side+2*edge)
	fmt.Fprint(&b, `<rect width="100%" height="100%" fill="#fff"/>`)
	x0, y0 := at(0, 0)
	x1, y1 := at(1, 1)
	fmt.Fprintf(&b, `<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill="none" stroke="#888"/><line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" stroke="#bbb"/>`, x0, y1, side, side, x0, y0, x1, y1)
	for k, n := range c.n {
		if n < 10 {
			continue
		}
		lo, hi := lot.Wilson(int(c.right[k]), int(n), 0.95)
		x, y := at(c.stated[k]/n, c.right[k]/n)
		_, a := at(0, lo)
		_, z := at(0, hi)
		fmt.Fprintf(&b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" stroke="#1b6ca8"/><circle cx="%.1f" cy="%.1f" r="3.5" fill="#1b6ca8"/><text x="%.1f" y="%.1f" fill="#444">%.0f</text>`, x, a, x, z, x, y, x-12, z-6, n)
	}
	for _, v := range []float64{0, 0.5, 1} {
		x, y := at(v, 0)
		fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="middle">%g</text>`, x, y+16, v)
		x, y = at(0, v)
		fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="end">%g</text>`, x-6, y+4, v)
	}
	fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="middle">stated membership</text><text x="14" y="%.1f" transform="rotate(-90 14 %.1f)" text-anchor="middle">share that is right</text></svg>`, edge+side/2, side+edge*1.4, edge/2+side/2, edge/2+side/2)
	return b.String()
}
