package body

import (
	"math"
	"slices"

	"offtype/measure/geom"
)

// A bay is a stretch of the outline inside its convex hull. One that holds the stalk's base, is at least
// bayDepth of the outline's smaller extent deep and has a mouth of at most bayMouth of it, was cut by the
// stalk that hides the rim there.
const (
	bayDepth = 0.03
	bayMouth = 0.6
)

// notchSigmas is how deep, in standard uncertainties of the outline, a bay at a sure stem end is where no stalk was told
// from the table: the outline ran round the stalk.
const notchSigmas = 1.5

// hideBays returns the edges with every bay that holds part of the stalk's base named as such: beside the
// stalk the outline often turns inwards before it meets it. Where no stalk was seen, a notch at a sure stem end is one.
func hideBays(v *View) []geom.Edge {
	outline, edge := v.Outline, v.Edge
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
	size := smallerSide(outline)
	out := append([]geom.Edge(nil), edge...)
	unseen := stemWithoutStalk(v)
	for i := first; i < first+n; {
		j := i + 1
		stalk, stem, deep := false, false, 0.0
		a := outline[i%n]
		for ; j < i+n && !onHull[j%n]; j++ {
			stalk = stalk || edge[j%n] == geom.EdgeStalk
			stem = stem || j%n == unseen
		}
		d := outline[j%n].Sub(a)
		mouth := d.Norm()
		for k := i + 1; k < j && mouth > 0; k++ {
			deep = math.Max(deep, math.Abs(outline[k%n].Sub(a).Cross(d))/mouth)
		}
		if mouth < bayMouth*size && (stalk && deep > bayDepth*size || stem && deep > notchSigmas*v.SigmaPx) {
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

// stemWithoutStalk returns the outline point nearest to a sure stem end where no stalk was told from the table, or −1.
func stemWithoutStalk(v *View) int {
	if v.Stem == nil || v.StemBy < sureEnd || slices.Contains(v.Edge, geom.EdgeStalk) {
		return -1
	}
	at, near := -1, math.Inf(1)
	for i, p := range v.Outline {
		if d := p.Sub(*v.Stem).Norm(); d < near {
			at, near = i, d
		}
	}
	return at
}

// A stalk's edge that reaches along the outline to a concave corner: how far off that is looked for, share of the
// outline's smaller extent.
const footReach = 0.35

// toCorners lets each stretch along the stalk that bulges go on to the concave corner where the stalk leaves the body:
// between them the outline took part of the stalk along.
func toCorners(outline []geom.Px, edge []geom.Edge) []geom.Edge {
	n := len(outline)
	if len(edge) != n || n < stubPoints || !slices.Contains(edge, geom.EdgeStalk) {
		return edge
	}
	size := smallerSide(outline)
	step := geom.Perimeter(outline) / float64(n)
	arm := max(2, int(math.Ceil(math.Max(stubPx, size/40)/step)))
	way := math.Copysign(1, geom.SignedArea(outline))
	out := slices.Clone(edge)
	reach := int(footReach * size / step)
	for i, e := range edge {
		for _, d := range [2]int{1, -1} {
			on := func(k int) int { return (i + k*d + n) % n } // k points further on
			if e != geom.EdgeStalk || edge[on(1)] != geom.EdgeFree {
				continue
			}
			at := 0
			for k := 1; k <= reach && edge[on(k)] == geom.EdgeFree; k++ {
				if way*turn(outline, on(k), arm) < -stubCorner {
					at = k // the farthest: along the stalk the outline is ragged
				}
			}
			back := 0
			for edge[on(-back-1)] == geom.EdgeStalk {
				back++
			}
			bulge, p := 0.0, outline[on(at)]
			chord := outline[on(-back)].Sub(p)
			for k := range back {
				bulge += chord.Cross(outline[on(-k)].Sub(p))
			}
			if way*float64(d)*bulge <= 0 { // a bay, not a bump
				continue
			}
			for k := 1; k <= at; k++ {
				out[on(k)] = geom.EdgeStalk
			}
		}
	}
	return out
}
