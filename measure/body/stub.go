package body

import (
	"math"

	"offtype/measure/geom"
)

// A stub is the base of a stalk that the outline took along: a narrow bump between two concave corners.
const (
	stubPoints = 240 // points of the outline that are looked at
	stubArm    = 3   // points to either side that a corner is measured with, and stubPx of outline at least
	stubPx     = 4.0
	stubCorner = 0.45 // turn of a concave corner, rad
	stubMouth  = 0.3  // width at its foot / smaller extent of the outline, at most
	stubHeight = 0.35 // height / width at its foot, at least: ribs are flatter
	stubFull   = 0.62 // area / (height · width at its foot), at least: a pointed tip has ½
	stubBy     = 0.5  // how sure it is that the stem end is there
)

// turn returns by how much a closed line turns at point i, rad, between the points arm before and after it.
func turn(line []geom.Px, i, arm int) float64 {
	n := len(line)
	a, b := line[i].Sub(line[(i-arm+n)%n]), line[(i+arm)%n].Sub(line[i])
	return math.Atan2(a.Cross(b), a.Dot(b))
}

// smallerSide returns the smaller extent of an outline, px.
func smallerSide(outline []geom.Px) float64 {
	lo, hi := geom.Bounds(outline)
	return math.Min(hi.X-lo.X, hi.Y-lo.Y)
}

// stub is a bump of the outline from a to b.
type stub struct{ a, b geom.Px }

// findStub returns the highest bump of the outline that looks like a stalk's base.
func findStub(outline []geom.Px) (stub, bool) {
	p := geom.Resample(outline, stubPoints)
	n := len(p)
	if n < stubPoints {
		return stub{}, false
	}
	size := smallerSide(p)
	way := math.Copysign(1, geom.SignedArea(p))
	turns := make([]float64, n)
	arm := max(stubArm, min(int(math.Ceil(stubPx/p[1].Sub(p[0]).Norm())), n/24))
	for i := range p {
		turns[i] = way * turn(p, i, arm)
	}
	var corners []int
	for i, t := range turns {
		if t < -stubCorner && t <= turns[(i+n-1)%n] && t < turns[(i+1)%n] {
			corners = append(corners, i)
		}
	}
	var best stub
	high := 0.0
	for k, i := range corners {
		j := corners[(k+1)%len(corners)]
		if j <= i {
			j += n
		}
		d := p[j%n].Sub(p[i])
		foot := d.Norm()
		if j-i > n/4 || j-i < 2*arm || foot > stubMouth*size {
			continue
		}
		h, area := 0.0, 0.0
		for m := i + 1; m < j; m++ {
			h = math.Max(h, way*p[m%n].Sub(p[i]).Cross(d)/math.Max(foot, 1e-9))
		}
		for m := i; m < j; m++ {
			area += way * p[m%n].Sub(p[i]).Cross(p[(m+1)%n].Sub(p[i])) / 2
		}
		if h > stubHeight*foot && area > stubFull*h*foot && h > high {
			best, high = stub{p[i], p[j%n]}, h
		}
	}
	return best, high > 0
}

// doubtStub names the rays on a stub of a view and takes its foot for the stem end: an unsure one where no stalk was
// clearly seen. Where one was, only a stub along it counts: beside a stalk that stands before the rim the outline has
// bumps of its own.
func doubtStub(v *View) (on func(geom.Px) bool) {
	sure := v.StalkTip != nil && (v.StemBy == 0 || v.StemBy >= sureEnd)
	if v.Stem != nil && v.StemBy == 0 || v.Stem == nil && sure {
		return nil
	}
	s, ok := findStub(v.Outline)
	if !ok {
		return nil
	}
	mid := s.a.Add(s.b).Scale(0.5)
	foot := s.b.Sub(s.a).Norm()
	if v.Blossom != nil && v.Blossom.Sub(mid).Norm() < 1.2*foot {
		return nil // the scar of a pointed tip
	}
	on = s.holds(math.Copysign(1, geom.SignedArea(v.Outline)))
	switch {
	case sure && !alongStalk(v, on):
		return nil
	case sure:
		v.Stem = &mid
	case v.Stem == nil || v.StemBy < stubBy:
		v.Stem, v.StemBy, v.StalkTip = &mid, stubBy, nil
	}
	return on
}

// holds returns whether a point of the outline, which runs the given way, lies on the stub.
func (s stub) holds(way float64) func(geom.Px) bool {
	d, mid := s.b.Sub(s.a), s.a.Add(s.b).Scale(0.5)
	reach := d.Norm()
	return func(p geom.Px) bool {
		u := p.Sub(s.a)
		x := u.Dot(d) / reach
		return way*u.Cross(d) > 0 && x > -0.3*reach && x < 1.3*reach && p.Sub(mid).Norm() < 2.5*reach
	}
}

// alongStalk reports whether most of the outline's points that are so run along the stalk.
func alongStalk(v *View, so func(geom.Px) bool) bool {
	n, stalk := 0, 0
	for i, p := range v.Outline {
		if so(p) {
			n++
			if i < len(v.Edge) && v.Edge[i] == geom.EdgeStalk {
				stalk++
			}
		}
	}
	return 2*stalk > n
}
