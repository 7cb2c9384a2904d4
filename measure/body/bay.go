package body

import (
	"math"

	"offtype/measure/geom"
)

// A bay is a stretch of the outline inside its convex hull. One that holds the stalk's base, is at least
// bayDepth of the outline's smaller extent deep and has a mouth of at most bayMouth of it, was cut by the
// stalk that hides the rim there.
const (
	bayDepth = 0.03
	bayMouth = 0.6
)

// hideBays returns the edges with every bay that holds part of the stalk's base named as such: beside the
// stalk the outline often turns inwards before it meets it.
func hideBays(outline []geom.Px, edge []geom.Edge) []geom.Edge {
	n := len(outline)
	if len(edge) != n || n < 12 {
		return edge
	}
	hull := geom.Hull(outline)
	onHull := make([]bool, n)
	at := make(map[geom.Px]bool, len(hull))
	for _, p := range hull {
		at[p] = true
	}
	first := -1
	for i, p := range outline {
		if onHull[i] = at[p]; onHull[i] && first < 0 {
			first = i
		}
	}
	if first < 0 {
		return edge
	}
	lo, hi := geom.Bounds(outline)
	size := math.Min(hi.X-lo.X, hi.Y-lo.Y)
	out := append([]geom.Edge(nil), edge...)
	for i := first; i < first+n; {
		j := i + 1
		stalk, deep := false, 0.0
		a := outline[i%n]
		for ; j < i+n && !onHull[j%n]; j++ {
			stalk = stalk || edge[j%n] == geom.EdgeStalk
		}
		d := outline[j%n].Sub(a)
		mouth := d.Norm()
		for k := i + 1; k < j && mouth > 0; k++ {
			deep = math.Max(deep, math.Abs(outline[k%n].Sub(a).Cross(d))/mouth)
		}
		if stalk && deep > bayDepth*size && mouth < bayMouth*size {
			for k := i + 1; k < j; k++ {
				if out[k%n] == geom.EdgeFree {
					out[k%n] = geom.EdgeStalk
				}
			}
		}
		i = j
	}
	return out
}
