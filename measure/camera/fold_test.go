package camera

import (
	"math"
	"testing"

	"offtype/measure/geom"
)

// TestBeyondTheFold: a lens whose distortion turns back inside the picture gives a number for every pixel, the truth up
// to there, and no direction farther out than that.
func TestBeyondTheFold(t *testing.T) {
	for _, c := range []Camera{
		{Width: 3600, Height: 1800, Focal: 1200, CX: 1800, CY: 900, K1: -0.2},
		{Width: 3600, Height: 1800, Focal: 1200, CX: 1800, CY: 900, K1: 0.05, K2: -0.1},
		{Width: 3600, Height: 1800, Focal: 1200, CX: 1800, CY: 900, K1: -0.2, K2: -0.03},
	} {
		edge := c.fold()
		if d := 1 + edge*edge*(3*c.K1+5*c.K2*edge*edge); math.Abs(d-unfolded) > 1e-9 {
			t.Errorf("K1 %v K2 %v: slope %v at the fold, want %v", c.K1, c.K2, d, unfolded)
		}
		beyond := 0
		last := 0.0
		for x := 0.0; x <= 2400; x += 20 {
			p := geom.Px{X: c.CX + x, Y: c.CY}
			u, _ := c.Undistort(p)
			if math.IsNaN(u) || u < last-1e-12 || u > edge+1e-9 {
				t.Fatalf("K1 %v K2 %v: %v px from the middle gives %v after %v, the fold is at %v", c.K1, c.K2, x, u, last, edge)
			}
			last = u
			if u < edge-1e-9 {
				if back := u * (1 + u*u*(c.K1+u*u*c.K2)) * c.Focal; math.Abs(back-x) > 1e-6 {
					t.Errorf("K1 %v K2 %v: %v px comes back as %v", c.K1, c.K2, x, back)
				}
			} else {
				beyond++
			}
		}
		if beyond == 0 {
			t.Errorf("K1 %v K2 %v: no pixel lies beyond the fold", c.K1, c.K2)
		}
	}
}
