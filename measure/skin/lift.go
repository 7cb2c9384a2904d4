package skin

import (
	"math"

	"offtype/measure/colour"
)

// Nearer lamps make a surface above the table brighter than the card on it: by 0.0008 log light per mm under a bare lamp
// 2.5 m up, not at all under sky and sun. How near they are shows in how the light falls off across the table. A lamp at
// height h and d to the side gives a slope of 3d/(h² + d²) and a lift of (2h² − d²)/(h(h² + d²)): the lift is twice the
// slope at d = 0.34 h, and as large at 0.56 h, which is assumed. A little is added for lamps straight above, which give
// no slope.
const (
	liftOfSlope = 1.0
	liftLeast   = 0.0002 // log light per mm
	liftMost    = 0.0008
	highestMM   = 400.0 // above it the lift stays: no fruit is higher
)

// liftOf returns how much brighter a surface is per mm above the table, log light per mm, as the fall-off of c tells.
func liftOf(skins []*patchwork, c *colour.Calibration) float64 {
	if !c.Corrected {
		return 0
	}
	var mmPerPx []float64
	for _, s := range skins {
		if s.fruit.Surface == nil {
			continue
		}
		for i := 0; i < len(s.px); i += 7 {
			q := &s.px[i]
			if j := s.at(q.gx+1, q.gy); j >= 0 && q.n.Z > 0.8 {
				mmPerPx = append(mmPerPx, s.px[j].at.Sub(q.at).Norm()/s.step)
			}
		}
	}
	m := median(mmPerPx)
	if !(m > 0) {
		return liftLeast
	}
	return math.Min(liftMost, liftLeast+liftOfSlope*c.Slope()/m)
}

// lower takes lift, log light per mm, out of the samples of fruit with a fitted body.
func lower(skins []*patchwork, lift float64) {
	for _, s := range skins {
		if s.fruit.Surface == nil {
			continue // its height is not known
		}
		for i := range s.px {
			q := &s.px[i]
			f := math.Exp(-lift * math.Max(0, math.Min(highestMM, q.at.Z)))
			for k := range q.c {
				q.c[k] *= f
			}
		}
	}
}
