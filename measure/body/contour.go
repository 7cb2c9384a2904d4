package body

import (
	"math"

	"offtype/measure/geom"
)

// RingContour returns the angles, from e1 towards e2, of the two points of a ring that lie on the
// outline of a solid of revolution seen from camera centre cam; ok is false when the ring has none.
//
// centre: the ring's centre; a: unit axis direction; e1, e2: unit vectors across the axis, e1×e2 = a;
// r: radius, mm; slope: dr/dx along a. With A = e1·(c−C), B = e2·(c−C), D = a·(c−C):
//
//	φ = atan2(B, A) ± arccos((r'·D − r)/√(A² + B²))
//
// which is n·(P − C) = 0 for the surface normal n = cos φ·e1 + sin φ·e2 − r'·a at P = c + r·(cos φ·e1 + sin φ·e2).
func RingContour(cam, centre, a, e1, e2 geom.Vec3, r, slope float64) (phi1, phi2 float64, ok bool) {
	w := centre.Sub(cam)
	A, B, D := e1.Dot(w), e2.Dot(w), a.Dot(w)
	h := math.Hypot(A, B)
	if h == 0 {
		return 0, 0, false
	}
	q := (slope*D - r) / h
	if q < -1 || q > 1 {
		return 0, 0, false
	}
	m, d := math.Atan2(B, A), math.Acos(q)
	return m + d, m - d, true
}
