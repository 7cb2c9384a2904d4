package skin

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Limits of the pattern rules; this program's own (common practice, no source).
const (
	alongShare = 0.66 // share of the border that runs along the fruit for stripes, around it for bands
	dotGrain   = 0.30 // grain over the fruit's radius below which marks are dots
	patchGrain = 0.46 // grain times evenness of the edges above which they are patches
	regular    = 0.25 // scatter of the spacing of stripes over its middle value, at most
)

// lay is how the marks lie on the fruit.
type lay struct {
	pattern Pattern
	along   float64 // share of the border that runs along the fruit, 0–1
	grain   float64 // size of the pattern over the fruit's radius
	pieces  int
	smooth  float64 // border left when details below 8 % of the radius are smoothed away
	mm      float64 // width of stripes or bands, or diameter of the marks, mm
	stripes int
}

// layOf judges the pattern of the samples that pass.
//
// Border: at every step from marked to unmarked skin, the direction of the step on the skin is split into its part
// around the fruit and its part along it; stripes step around, bands step along.
//
// Grain: the length over which the pattern changes, from the border's length B on the skin's area A: A/B·exp(−u²/2) with u
// the normal quantile of the marks' share, which makes it independent of that share for a random pattern (Rice's
// formula for level crossings, from memory). The mean chord of the marks is π·(their area)/B.
func (s *patchwork) layOf(is, skin func(*pixel) bool) lay {
	var l lay
	for _, n := range s.blobs(is) {
		if n >= 3 {
			l.pieces++
		}
	}
	ax := s.axesOf()
	all, marked := 0.0, 0.0
	for i := range s.px {
		q := &s.px[i]
		if _, _, mm2 := s.onSkin(q, ax, 1, 0); skin(q) && q.facing > 0.25 {
			all += mm2
			if is(q) {
				marked += mm2
			}
		}
	}
	around, along := s.border(ax, is, skin)
	soft := s.majority(is, max(1, int(math.Round(0.08*s.radius/s.mmStep))))
	a2, b2 := s.border(ax, func(x *pixel) bool { return soft[x.gy*s.nx+x.gx] }, skin)
	border := math.Hypot(around, along)
	if border == 0 || marked == 0 {
		l.pattern = None
		return l
	}
	l.smooth = math.Hypot(a2, b2) / border
	l.along = around * around / (border * border)
	l.mm = math.Pi * marked / border
	u := distuv.UnitNormal.Quantile(math.Max(0.01, math.Min(0.99, marked/all)))
	l.grain = all / border * math.Exp(-u*u/2) / s.radius
	s.nameLay(&l, is)
	return l
}

// border returns the length of the mark's border, mm, in the mean square of its steps around the fruit and along it: the
// root of the sum of the two squares is the whole length.
func (s *patchwork) border(ax axes, is, skin func(*pixel) bool) (around, along float64) {
	b, u2, s2 := 0.0, 0.0, 0.0
	for i := range s.px {
		q := &s.px[i]
		if q.facing <= 0.25 || s.besideOther(q, skin) {
			continue
		}
		gx, gy := s.slope(q, is)
		if gx == 0 && gy == 0 {
			continue
		}
		du, ds, mm2 := s.onSkin(q, ax, gx, gy)
		w := math.Hypot(du, ds) * mm2
		if w == 0 {
			continue
		}
		b += w
		u2 += w * du * du / (du*du + ds*ds)
		s2 += w * ds * ds / (du*du + ds*ds)
	}
	if b == 0 {
		return 0, 0
	}
	return math.Sqrt(b * u2), math.Sqrt(b * s2)
}

// runs reports whether share of the border in one direction is enough for stripes or bands: two pieces alone may be
// chance.
func (l *lay) runs(share float64) bool {
	return l.pieces > 2 && share > alongShare || l.pieces == 2 && share > 0.8
}

// nameLay applies the limits.
func (s *patchwork) nameLay(l *lay, is func(*pixel) bool) {
	n, even := s.countAround(is)
	switch {
	case l.runs(l.along) || l.along > 0.54 && even && l.grain < patchGrain:
		l.pattern = Stripes
		l.mm *= 2 / math.Pi // a strip's mean chord is π/2 times its width
		l.stripes = n
	case l.along > 0 && l.runs(1-l.along):
		l.pattern = Bands
		l.mm *= 2 / math.Pi
	case l.grain < dotGrain && l.pieces > 4:
		l.pattern = Dots
	case l.grain*l.smooth > patchGrain:
		l.pattern = Patches
	default:
		l.pattern = Mottled
	}
}

// majority returns the mask smoothed: whether most samples within k grid steps pass.
func (s *patchwork) majority(is func(*pixel) bool, k int) []bool {
	out := make([]bool, len(s.grid))
	for i := range s.px {
		q := &s.px[i]
		n, m := 0, 0
		for dy := -k; dy <= k; dy++ {
			for dx := -k; dx <= k; dx++ {
				if dx*dx+dy*dy > k*k {
					continue
				}
				if j := s.at(q.gx+dx, q.gy+dy); j >= 0 {
					n++
					if is(&s.px[j]) {
						m++
					}
				}
			}
		}
		out[q.gy*s.nx+q.gx] = 2*m > n
	}
	return out
}

// besideOther reports whether a neighbour of q belongs to something that is neither mark nor main colour.
func (s *patchwork) besideOther(q *pixel, skin func(*pixel) bool) bool {
	for dy := -1; dy <= 1; dy++ {
		for dx := -1; dx <= 1; dx++ {
			if i := s.at(q.gx+dx, q.gy+dy); i >= 0 && !skin(&s.px[i]) {
				return true
			}
		}
	}
	return false
}

// slope returns the gradient of the mark's mask at q in grid steps, from a 3 × 3 smoothed difference.
func (s *patchwork) slope(q *pixel, is func(*pixel) bool) (gx, gy float64) {
	v := func(dx, dy int) float64 {
		i := s.at(q.gx+dx, q.gy+dy)
		if i < 0 {
			i = s.at(q.gx, q.gy)
		}
		if is(&s.px[i]) {
			return 1
		}
		return 0
	}
	gx = (v(1, -1) + 2*v(1, 0) + v(1, 1) - v(-1, -1) - 2*v(-1, 0) - v(-1, 1)) / 8
	gy = (v(-1, 1) + 2*v(0, 1) + v(1, 1) - v(-1, -1) - 2*v(0, -1) - v(1, -1)) / 8
	return gx, gy
}

// onSkin turns a gradient over the sampling grid (per step) into one on the skin (per mm), around the fruit and along it,
// and returns the skin's area in a grid cell, mm²; all 0 at the outline.
func (s *patchwork) onSkin(q *pixel, ax axes, dx, dy float64) (around, along, mm2 float64) {
	d := func(x, y int) (px *pixel, ok bool) {
		i := s.at(q.gx+x, q.gy+y)
		if i < 0 {
			return nil, false
		}
		return &s.px[i], true
	}
	var tx, ty [2]float64
	for k, dir := range [2][2]int{{1, 0}, {0, 1}} {
		a, ok1 := d(dir[0], dir[1])
		b, ok2 := d(-dir[0], -dir[1])
		if !ok1 || !ok2 {
			return 0, 0, 0
		}
		step := a.at.Sub(b.at).Scale(0.5)
		sin, cos := math.Sincos(q.theta)
		e := ax.w.Scale(cos).Sub(ax.u.Scale(sin))
		tx[k] = step.Dot(e)
		ty[k] = math.Copysign(step.Sub(e.Scale(tx[k])).Norm(), step.Dot(ax.a))
	}
	// The border's normal on the skin is the gradient there: solve T·g_skin = g_grid for the two grid directions.
	det := tx[0]*ty[1] - tx[1]*ty[0]
	if math.Abs(det) < 1e-9 {
		return 0, 0, 0
	}
	return (dx*ty[1] - dy*ty[0]) / det, (dy*tx[0] - dx*tx[1]) / det, math.Abs(det)
}

// countAround returns how many stripes would go around the whole fruit, from the spacing of those in view; 0 when
// fewer than two are. even: at least four are in view, evenly spaced.
func (s *patchwork) countAround(is func(*pixel) bool) (n int, even bool) {
	var on, all [ringBins]float64
	for i := range s.px {
		q := &s.px[i]
		if q.s < 0.2 || q.s > 0.8 {
			continue
		}
		k := ringBin(q.theta)
		all[k]++
		if is(q) {
			on[k]++
		}
	}
	// share by angle, smoothed over ±1 bin, peaks above half the greatest
	var sh [ringBins]float64
	top := 0.0
	for k := range sh {
		o, a := 0.0, 0.0
		for d := -1; d <= 1; d++ {
			j := (k + d + ringBins) % ringBins
			o, a = o+on[j], a+all[j]
		}
		if a >= 6 {
			sh[k] = o / a
		}
		top = math.Max(top, sh[k])
	}
	var mids []float64
	start := 0
	for start < ringBins && sh[start] > top/2 {
		start++
	}
	for k := start; k < start+ringBins; k++ {
		if sh[k%ringBins] <= top/2 {
			continue
		}
		a, w, at := k, 0.0, 0.0
		for ; k < start+ringBins && sh[k%ringBins] > top/2; k++ {
			w += sh[k%ringBins]
			at += sh[k%ringBins] * float64(k-a)
		}
		mids = append(mids, float64(a)+at/w)
	}
	if len(mids) < 2 {
		return 0, false
	}
	var gaps []float64
	for i := 1; i < len(mids); i++ {
		gaps = append(gaps, mids[i]-mids[i-1])
	}
	m := median(gaps)
	even = len(gaps) >= 3
	for _, g := range gaps {
		even = even && math.Abs(g-m) < regular*m
	}
	return int(math.Round(ringBins / m)), even
}
