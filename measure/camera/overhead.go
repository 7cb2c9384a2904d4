package camera

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"offtype/measure/geom"
)

// overheadTilt is the assumed standard deviation of a hand-held camera from straight down, in each
// direction, radians (7°; assumed, no source).
const overheadTilt = 7 * math.Pi / 180

// Overhead returns a camera that looks straight down on the table and sees mmPerPx at pixel at,
// which becomes the origin of the table frame, with the picture's right as X. relSD is the relative
// standard deviation of the scale. The covariance holds focal length, scale and a tilt of 7° that
// a hand-held photo may have.
//
// Use it where there is no card: sizes from one known length carry the full error of a tilt.
func Overhead(w, h int, l Lens, at geom.Px, mmPerPx, relSD float64) *Solution {
	c := Camera{Width: w, Height: h, Focal: l.Focal.Mean, CX: l.CX.Mean, CY: l.CY.Mean, K1: l.K1.Mean, K2: l.K2,
		R: [3][3]float64{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}}
	place := func(c *Camera, scale float64) {
		height := scale * c.Focal
		x, y := c.Undistort(at)
		c.setCentre(geom.Vec3{X: -x * height, Y: y * height, Z: height})
	}
	place(&c, mmPerPx)
	s := &Solution{Camera: c, Cameras: []Camera{c}, Sheets: []SheetPose{{}}, RMS: []float64{math.NaN()}, Used: []int{0}}
	var moves [][nView]float64
	centre := c.Centre()
	vary := func(d Camera) {
		q := d.Centre().Sub(centre)
		moves = append(moves, [nView]float64{math.Log(d.Focal / c.Focal), d.K1 - c.K1, d.CX - c.CX, d.CY - c.CY, 0, 0, 0, q.X, q.Y, q.Z})
	}
	d := c
	d.Focal *= math.Exp(l.Focal.SD / l.Focal.Mean)
	place(&d, mmPerPx)
	vary(d)
	d = c
	d.K1 += l.K1.SD
	place(&d, mmPerPx)
	vary(d)
	d = c
	place(&d, mmPerPx*(1+relSD))
	vary(d)
	// the camera turned about the known length's place by a table axis
	for _, ax := range []geom.Vec3{{X: overheadTilt}, {Y: overheadTilt}} {
		q := expRot(ax.X, ax.Y, ax.Z)
		t := geom.Vec3{X: q[0][0]*centre.X + q[0][1]*centre.Y + q[0][2]*centre.Z,
			Y: q[1][0]*centre.X + q[1][1]*centre.Y + q[1][2]*centre.Z,
			Z: q[2][0]*centre.X + q[2][1]*centre.Y + q[2][2]*centre.Z}.Sub(centre)
		turn := c.ToCamera(centre.Add(ax)).Scale(-1) // −R·axis, since the centre maps to 0
		moves = append(moves, [nView]float64{4: turn.X, 5: turn.Y, 6: turn.Z, 7: t.X, 8: t.Y, 9: t.Z})
	}
	s.Cov = mat.NewSymDense(nView, nil)
	for _, m := range moves {
		for i := range m {
			for j := i; j < nView; j++ {
				s.Cov.SetSym(i, j, s.Cov.At(i, j)+m[i]*m[j])
			}
		}
	}
	s.findModes()
	return s
}
