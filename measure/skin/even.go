package skin

import (
	"math"

	"offtype/measure/colour"
	"offtype/measure/geom"
)

// Fruit whose colours differ by less than alikeChroma in log(R/G) and log(B/G) and by less than alikeLight in log
// luminance are taken for one kind when the fall-off of light over the table is refined. sdAlike is the spread
// of log luminance within such a kind (12 % is about 4 in L*), with what plants of one row share.
const (
	alikeChroma = 0.08
	alikeLight  = 0.55
	sdAlike     = 0.10
)

// even refines the fall-off of light with fruit of one colour in several places. It returns the refined calibration,
// or cal itself when there was nothing to learn.
func even(skins []*patchwork, l *light, cal *colour.Calibration) *colour.Calibration {
	if !cal.Corrected {
		return cal
	}
	type mean struct {
		spot   colour.Spot
		rg, bg float64
	}
	var all []mean
	v := l.view()
	for _, s := range skins {
		if len(s.px) < 40 {
			continue
		}
		c, ok := s.partRGB(0, v)
		if !ok || c[0] < 0.005 || c[1] < 0.005 || c[2] < 0.002 {
			continue
		}
		all = append(all, mean{colour.Spot{Place: geom.Centroid(s.fruit.Outline), LogY: math.Log(c.XYZ().Y)},
			math.Log(c[0] / c[1]), math.Log(c[2]/c[1]) / 2})
	}
	group := make([]int, len(all))
	for i := range group {
		group[i] = -1
	}
	var groups [][]colour.Spot
	for i := range all {
		if group[i] >= 0 {
			continue
		}
		g := []colour.Spot{all[i].spot}
		group[i] = len(groups)
		for j := i + 1; j < len(all); j++ {
			a, b := all[i], all[j]
			if group[j] < 0 && math.Hypot(a.rg-b.rg, a.bg-b.bg) < alikeChroma && math.Abs(a.spot.LogY-b.spot.LogY) < alikeLight {
				group[j] = len(groups)
				g = append(g, b.spot)
			}
		}
		groups = append(groups, g)
	}
	n := 0
	for _, g := range groups {
		if len(g) > 1 {
			n += len(g)
		}
	}
	if n < 3 {
		return cal
	}
	return cal.Refine(groups, sdAlike)
}

// regain brings the samples in line with a calibration whose fall-off was refined.
func regain(skins []*patchwork, was, now *colour.Calibration) {
	for _, s := range skins {
		for i := range s.px {
			q := &s.px[i]
			f := was.Gain(now, q.p)
			for k := range q.c {
				q.c[k] *= f
			}
		}
	}
}
