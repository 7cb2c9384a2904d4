// Package geom holds the points, vectors and polygons that the measuring packages share.
//
// Frames. Image px: the centre of the top-left pixel is (0, 0), x right, y down.
// Table mm: origin at the top-left corner of the reference card's cut line, X along the card's
// top edge to the right, Y = −(card y), so that Y points away from the reader, Z up from the
// table; right-handed. Points in pixels (Px) and points in millimetres (Vec3) are two types,
// so that mixing them does not compile.
package geom

import "math"

// Px is a point in image pixels.
type Px struct{ X, Y float64 }

// Vec3 is a point or direction in the table frame, mm.
type Vec3 struct{ X, Y, Z float64 }

// Stroke is a short straight piece of a line seen in a picture.
type Stroke struct {
	At    Px
	Dir   float64 // of the line in the picture, rad, from x towards y, modulo π
	Sigma float64 // standard deviation of Dir, rad
}

// Edge says what an outline point separates the fruit from.
type Edge uint8

const (
	// EdgeFree is a true silhouette point: the fruit against the table or something behind it.
	EdgeFree Edge = iota
	// EdgeContact is where a neighbour touches or hides the fruit: not this fruit's silhouette.
	EdgeContact
	// EdgeFrame is where the picture's border cuts the fruit.
	EdgeFrame
	// EdgeStalk is where the outline runs through the stalk's base: the rim there is hidden.
	EdgeStalk
)

// Sub returns p − q.
func (p Px) Sub(q Px) Px { return Px{p.X - q.X, p.Y - q.Y} }

// Add returns p + q.
func (p Px) Add(q Px) Px { return Px{p.X + q.X, p.Y + q.Y} }

// Scale returns k·p.
func (p Px) Scale(k float64) Px { return Px{k * p.X, k * p.Y} }

// Dot returns the scalar product p·q, px².
func (p Px) Dot(q Px) float64 { return p.X*q.X + p.Y*q.Y }

// Cross returns the z part of p × q, px².
func (p Px) Cross(q Px) float64 { return p.X*q.Y - p.Y*q.X }

// Norm returns the length of p, px.
func (p Px) Norm() float64 { return math.Hypot(p.X, p.Y) }

// Sub returns a − b.
func (a Vec3) Sub(b Vec3) Vec3 { return Vec3{a.X - b.X, a.Y - b.Y, a.Z - b.Z} }

// Add returns a + b.
func (a Vec3) Add(b Vec3) Vec3 { return Vec3{a.X + b.X, a.Y + b.Y, a.Z + b.Z} }

// Scale returns k·a.
func (a Vec3) Scale(k float64) Vec3 { return Vec3{k * a.X, k * a.Y, k * a.Z} }

// Dot returns the scalar product a·b.
func (a Vec3) Dot(b Vec3) float64 { return a.X*b.X + a.Y*b.Y + a.Z*b.Z }

// Cross returns the vector product a × b.
func (a Vec3) Cross(b Vec3) Vec3 {
	return Vec3{a.Y*b.Z - a.Z*b.Y, a.Z*b.X - a.X*b.Z, a.X*b.Y - a.Y*b.X}
}

// Norm returns the length of a, mm.
func (a Vec3) Norm() float64 { return math.Sqrt(a.Dot(a)) }

// Unit returns a / |a|; the zero vector stays zero.
func (a Vec3) Unit() Vec3 {
	n := a.Norm()
	if n == 0 {
		return a
	}
	return a.Scale(1 / n)
}
