// Package camera models the phone's camera over the table: a pinhole with radial distortion.
//
// World: the table frame of package geom, mm. Camera frame: x right, y down, z forward.
// A world point P has camera coordinates R·P + T, normalised image point (x, y) = (Xc/Zc, Yc/Zc),
// distorted point (x, y)·(1 + K1·r² + K2·r⁴) with r² = x² + y² of the undistorted point, and pixel
// (Focal·x + CX, Focal·y + CY). Pixels are square. Pixel centres are whole numbers.
package camera

import (
	"math"

	"offtype/measure/geom"
)

// Camera is one photo's camera. The zero value is not usable.
type Camera struct {
	Width, Height int           // px, after orientation
	Focal         float64       // px
	CX, CY        float64       // principal point, px
	K1, K2        float64       // radial distortion, no unit
	R             [3][3]float64 // rotation world → camera
	T             geom.Vec3     // translation world → camera, mm
}

// Centre returns the camera's place in the table frame, mm: −Rᵀ·T. Its Z is the height.
func (c *Camera) Centre() geom.Vec3 {
	t := c.toWorldDir(c.T)
	return t.Scale(-1)
}

// toWorldDir turns a direction from the camera frame into the table frame.
func (c *Camera) toWorldDir(d geom.Vec3) geom.Vec3 {
	r := &c.R
	return geom.Vec3{
		X: r[0][0]*d.X + r[1][0]*d.Y + r[2][0]*d.Z,
		Y: r[0][1]*d.X + r[1][1]*d.Y + r[2][1]*d.Z,
		Z: r[0][2]*d.X + r[1][2]*d.Y + r[2][2]*d.Z,
	}
}

// ToCamera returns R·p + T, mm.
func (c *Camera) ToCamera(p geom.Vec3) geom.Vec3 {
	r := &c.R
	return geom.Vec3{
		X: r[0][0]*p.X + r[0][1]*p.Y + r[0][2]*p.Z + c.T.X,
		Y: r[1][0]*p.X + r[1][1]*p.Y + r[1][2]*p.Z + c.T.Y,
		Z: r[2][0]*p.X + r[2][1]*p.Y + r[2][2]*p.Z + c.T.Z,
	}
}

// Project returns the pixel of world point p. A point behind the camera gives NaN.
func (c *Camera) Project(p geom.Vec3) geom.Px {
	q := c.ToCamera(p)
	if q.Z <= 0 {
		return geom.Px{X: math.NaN(), Y: math.NaN()}
	}
	x, y := q.X/q.Z, q.Y/q.Z
	r2 := x*x + y*y
	k := 1 + r2*(c.K1+r2*c.K2)
	return geom.Px{X: c.Focal*x*k + c.CX, Y: c.Focal*y*k + c.CY}
}

// Undistort returns the normalised, undistorted image point of pixel p (no unit), by Newton's
// method on the radius to 1e-12.
func (c *Camera) Undistort(p geom.Px) (x, y float64) {
	xd, yd := (p.X-c.CX)/c.Focal, (p.Y-c.CY)/c.Focal
	rd := math.Hypot(xd, yd)
	if rd == 0 || (c.K1 == 0 && c.K2 == 0) {
		return xd, yd
	}
	r := rd
	for i := 0; i < 20; i++ {
		r2 := r * r
		f := r*(1+r2*(c.K1+r2*c.K2)) - rd
		d := 1 + r2*(3*c.K1+5*r2*c.K2)
		if d < unfolded {
			r = c.fold()
			break
		}
		s := f / d
		r -= s
		if math.Abs(s) < 1e-12 {
			break
		}
	}
	return xd * r / rd, yd * r / rd
}

// unfolded is the least slope of distorted over true radius at which a lens is still believed: where it turns, two
// directions fall on one pixel, and none falls farther out.
const unfolded = 0.1

// fold returns the true radius, 1/focal, where the slope of the distortion falls to unfolded. Pixels beyond are
// taken to lie there: their directions are wrong, but they are numbers.
func (c *Camera) fold() float64 {
	// 5·K2·u² + 3·K1·u + 1 − unfolded = 0 in u = r²; the root nearest to 0, written so that K2 may be 0
	b := 3 * c.K1
	disc := math.Sqrt(math.Max(0, b*b-20*c.K2*(1-unfolded)))
	return math.Sqrt(2 * (1 - unfolded) / (disc - b))
}

// Ray returns the camera's centre and the unit direction of the viewing ray of pixel p, table frame.
func (c *Camera) Ray(p geom.Px) (origin, dir geom.Vec3) {
	x, y := c.Undistort(p)
	return c.Centre(), c.toWorldDir(geom.Vec3{X: x, Y: y, Z: 1}).Unit()
}

// OnPlane returns where the ray of pixel p meets the plane at height z mm above the table;
// ok is false when it does not (ray parallel to the table or pointing up).
func (c *Camera) OnPlane(p geom.Px, z float64) (w geom.Vec3, ok bool) {
	o, d := c.Ray(p)
	if math.Abs(d.Z) < 1e-12 {
		return w, false
	}
	t := (z - o.Z) / d.Z
	if t <= 0 {
		return w, false
	}
	return o.Add(d.Scale(t)), true
}

// TiltDeg returns the angle between the optical axis and straight down, degrees.
func (c *Camera) TiltDeg() float64 {
	d := c.toWorldDir(geom.Vec3{Z: 1})
	return math.Acos(math.Max(-1, math.Min(1, -d.Z))) * 180 / math.Pi
}

// MMPerPx returns the size of a pixel on the table at world point p, mm: the geometric mean of
// the two principal sizes, from a finite difference of Project.
func (c *Camera) MMPerPx(p geom.Vec3) float64 {
	const h = 1 // mm
	a := c.Project(p)
	u := c.Project(p.Add(geom.Vec3{X: h})).Sub(a)
	v := c.Project(p.Add(geom.Vec3{Y: h})).Sub(a)
	d := math.Abs(u.Cross(v))
	if d == 0 {
		return math.NaN()
	}
	return h / math.Sqrt(d)
}
