package skin

import (
	"math"

	"offtype/measure/geom"
)

// axes is the frame of a fruit's axis as its samples show it.
type axes struct {
	a, u, w geom.Vec3 // unit axis (stem to blossom), and the directions of theta 0 and 90°
	ok      bool
}

// axesOf fits at = c + a·s + r(u·cosθ + w·sinθ) to the samples by least squares.
func (s *patchwork) axesOf() axes {
	var m [5][5]float64
	var y [5]geom.Vec3
	for i := 0; i < len(s.px); i += 1 + len(s.px)/600 {
		q := &s.px[i]
		f := [4]float64{1, q.s, math.Cos(q.theta), math.Sin(q.theta)}
		for j := range f {
			for k := range f {
				m[j][k] += f[j] * f[k]
			}
			y[j] = y[j].Add(q.at.Scale(f[j]))
		}
	}
	x, ok := solve4(m, y)
	if !ok {
		return axes{}
	}
	a := x[1].Unit()
	u := x[2].Sub(a.Scale(x[2].Dot(a))).Unit()
	w := x[3].Sub(a.Scale(x[3].Dot(a))).Unit()
	return axes{a, u, w, a.Norm() > 0 && u.Norm() > 0 && w.Norm() > 0}
}

// solve4 solves the symmetric 4 × 4 system for three right-hand sides at once.
func solve4(m [5][5]float64, y [5]geom.Vec3) (x [4]geom.Vec3, ok bool) {
	const n = 4
	for i := 0; i < n; i++ {
		m[i][i] += 1e-9
		if m[i][i] < 1e-12 {
			return x, false
		}
		for j := i + 1; j < n; j++ {
			f := m[j][i] / m[i][i]
			for k := i; k < n; k++ {
				m[j][k] -= f * m[i][k]
			}
			y[j] = y[j].Sub(y[i].Scale(f))
		}
	}
	for i := n - 1; i >= 0; i-- {
		t := y[i]
		for k := i + 1; k < n; k++ {
			t = t.Sub(x[k].Scale(m[i][k]))
		}
		x[i] = t.Scale(1 / m[i][i])
	}
	return x, true
}

// ring is what the samples show around the fruit: mean log luminance relative to their part, by angle.
type ring struct {
	theta, y, n []float64 // angle, mean, number of samples
	normal      []geom.Vec3
	at          geom.Vec3 // the middle of the samples
}

// ringBins divide the full turn, 2° each.
const ringBins = 180

func ringBin(theta float64) int {
	k := int(math.Floor((theta + math.Pi) / (2 * math.Pi) * ringBins))
	return ((k % ringBins) + ringBins) % ringBins
}

// ringOf averages over the middle of the fruit (s from 0.25 to 0.75), away from edges of parts.
func (s *patchwork) ringOf(base []part) ring {
	var y, n [ringBins]float64
	var nn [ringBins]geom.Vec3
	var at geom.Vec3
	all := 0.0
	for i := range s.px {
		q := &s.px[i]
		if q.part < 0 || q.cut || q.s < 0.25 || q.s > 0.75 || q.facing < 0.3 || !s.core(q) {
			continue
		}
		if l, r := lum(q.own), lum(base[q.part].rgb); l > 0 && r > 0 {
			k := ringBin(q.theta)
			y[k] += math.Log(l / r)
			n[k]++
			nn[k] = nn[k].Add(q.n)
			at = at.Add(q.place)
			all++
		}
	}
	p := ring{at: at.Scale(1 / max(1, all))}
	for k := range y {
		if n[k] >= 4 {
			p.theta = append(p.theta, (float64(k)+.5)/ringBins*2*math.Pi-math.Pi)
			p.y = append(p.y, y[k]/n[k])
			p.n = append(p.n, n[k])
			p.normal = append(p.normal, nn[k].Unit())
		}
	}
	p.unwrap()
	p.level()
	return p
}

// unwrap turns the ring so that the visible part is one run of angles.
func (p *ring) unwrap() {
	m := len(p.theta)
	if m < 3 {
		return
	}
	cut, gap := 0, p.theta[0]+2*math.Pi-p.theta[m-1]
	for i := 1; i < m; i++ {
		if d := p.theta[i] - p.theta[i-1]; d > gap {
			cut, gap = i, d
		}
	}
	turn := func(v []float64) []float64 { return append(append([]float64(nil), v[cut:]...), v[:cut]...) }
	p.theta, p.y, p.n = turn(p.theta), turn(p.y), turn(p.n)
	p.normal = append(append([]geom.Vec3(nil), p.normal[cut:]...), p.normal[:cut]...)
	for i := m - cut; i < m; i++ {
		p.theta[i] += 2 * math.Pi
	}
}

// level takes out a parabola over the angle: what the light model left of the shading.
func (p *ring) level() {
	if len(p.y) < 8 {
		return
	}
	rows := make([][]float64, len(p.y))
	mid := (p.theta[0] + p.theta[len(p.theta)-1]) / 2
	for i, t := range p.theta {
		t -= mid
		rows[i] = []float64{1, t, t * t, t * t * t}
	}
	x, _, ok := regress(rows, p.y, p.n)
	if !ok {
		return
	}
	for i := range p.y {
		for k, f := range rows[i] {
			p.y[i] -= x[k] * f
		}
	}
}

// Limits of the rib rules; this program's own (common practice, no source).
const (
	minRibs, maxRibs = 7, 24
	ribArc           = 80 * math.Pi / 180 // angle that must be in view
	ribWave          = 0.04               // amplitude of log light, at least
	ribShare         = 0.45               // of the variance around the fruit, at least
)

// ribs returns the number of ribs around the fruit (0 smooth, −1 cannot be told), the depth of the grooves over the
// radius (NaN when not told) and the angle of one groove.
//
// Number: the strongest wave, with its first overtone, of whole number in log light around the fruit; fewer than seven
// ribs are not told from shading. Depth: the depth at which ribs of the form
// r = R·(1 − d·(½ − ½·cos nθ)²) under the light found would show the light seen, with the grooves' own shadow free.
func (s *patchwork) ribs(l *light, parts []part) (n int, depth, groove float64) {
	p := s.ringOf(parts)
	m := len(p.theta)
	if m < 20 || p.theta[m-1]-p.theta[0] < ribArc {
		return -1, math.NaN(), 0
	}
	turned := make([]float64, m)
	total := 0.0
	for i, y := range p.y {
		total += p.n[i] * y * y
	}
	best, wave := 0.0, 0.0
	ax := s.axesOf()
	mid := s.viewAngle()
	rows := make([][]float64, m)
	for i := range rows {
		rows[i] = make([]float64, 4)
	}
	for _, sunk := range [...]float64{0, 0.04, 0.08, 0.12} {
		for i, t := range p.theta {
			turned[i] = sink(t, mid, sunk)
		}
		for k := minRibs; k <= maxRibs; k++ {
			for i := range rows {
				sin, cos := math.Sincos(float64(k) * turned[i])
				rows[i][0], rows[i][1], rows[i][2], rows[i][3] = cos, sin, 1-2*sin*sin, 2*sin*cos
			}
			x, left, ok := regress(rows, p.y, p.n)
			if !ok {
				continue
			}
			if first := math.Hypot(x[0], x[1]); total-left > best && first > 0.7*math.Hypot(x[2], x[3]) {
				best, n, wave = total-left, k, first
			}
		}
	}
	if total == 0 || best < ribShare*total || wave < ribWave {
		return 0, math.NaN(), 0
	}
	d, g := p.depth(l, ax, n)
	if d < 0.015 {
		d = math.NaN() // the shading shows no more than that there are grooves
	}
	return n, d, g
}

// viewAngle returns the angle around the axis that faces the camera on the mean.
func (s *patchwork) viewAngle() float64 {
	var x, y float64
	for i := range s.px {
		q := &s.px[i]
		w := q.facing * q.facing
		x, y = x+w*math.Cos(q.theta), y+w*math.Sin(q.theta)
	}
	return math.Atan2(y, x)
}

// sink returns the true angle of a groove's bottom that the body over the ribs, seen from angle mid, shows at angle t: the
// bottom lies sunk of the radius deeper and so looks nearer to the middle.
func sink(t, mid, sunk float64) float64 {
	d := math.Remainder(t-mid, 2*math.Pi)
	if math.Abs(d) > math.Pi/2 {
		return t
	}
	return t - d + math.Asin(math.Max(-1, math.Min(1, math.Sin(d)/(1-sunk))))
}

// depth scans groove depth and place for the best fit.
func (p *ring) depth(l *light, ax axes, n int) (depth, groove float64) {
	depth = math.NaN()
	if !ax.ok {
		return
	}
	best := math.Inf(1)
	flat := make([]float64, len(p.theta))
	for i := range flat {
		flat[i] = math.Log(lum(l.matt(p.normal[i], p.at)))
	}
	// dr/dθ over r, from v²: the normal leans by it, away from the groove's middle
	lean, v2, y := make([]geom.Vec3, len(p.theta)), make([]float64, len(p.theta)), make([]float64, len(p.theta))
	for step := 0; step < 24; step++ {
		g := float64(step) / 24 * 2 * math.Pi / float64(n)
		for i, t := range p.theta {
			sin, cos := math.Sincos(float64(n) * (t - g)) // 0 in the groove
			v := 0.5 + 0.5*cos
			sinT, cosT := math.Sincos(t)
			lean[i], v2[i] = ax.w.Scale(cosT).Sub(ax.u.Scale(sinT)).Scale(float64(n)*v*sin), v*v
		}
		for _, d := range [...]float64{.01, .02, .03, .04, .05, .06, .07, .08, .1, .12, .14, .16, .2, .25} {
			for i := range y {
				nn := p.normal[i].Sub(lean[i].Scale(d)).Unit()
				y[i] = p.y[i] - (math.Log(lum(l.matt(nn, p.at))) - flat[i])
			}
			rise, left, ok := line(v2, y, p.n)
			if ok && rise > 0.02 {
				// a groove is never lighter than its model: charge it
				left *= 1 + 10*rise
			}
			if ok && left < best {
				best, depth, groove = left, d, g
			}
		}
	}
	return depth, groove
}

// line fits y = a + rise·x by weighted least squares and returns the weighted sum of squares left.
func line(x, y, w []float64) (rise, left float64, ok bool) {
	var n, sx, sy, xx, xy, yy float64
	for i, u := range w {
		n, sx, sy = n+u, sx+u*x[i], sy+u*y[i]
		xx, xy, yy = xx+u*x[i]*x[i], xy+u*x[i]*y[i], yy+u*y[i]*y[i]
	}
	if !(n > 0) || !(xx-sx*sx/n > 1e-10) {
		return 0, 0, false
	}
	rise = (xy - sx*sy/n) / (xx - sx*sx/n)
	return rise, max(0, yy-sy*sy/n-rise*(xy-sx*sy/n)), true
}

// regress solves weighted least squares and returns the coefficients and the weighted sum of squares left.
func regress(rows [][]float64, y, w []float64) (x []float64, left float64, ok bool) {
	k := len(rows[0])
	a := make([]float64, k*(k+1))
	at := func(i, j int) *float64 { return &a[i*(k+1)+j] }
	for r, row := range rows {
		for i := 0; i < k; i++ {
			for j := 0; j < k; j++ {
				*at(i, j) += w[r] * row[i] * row[j]
			}
			*at(i, k) += w[r] * row[i] * y[r]
		}
	}
	for i := 0; i < k; i++ {
		*at(i, i) += 1e-12
		if *at(i, i) < 1e-10 {
			return nil, 0, false
		}
		for r := i + 1; r < k; r++ {
			f := *at(r, i) / *at(i, i)
			for j := i; j <= k; j++ {
				*at(r, j) -= f * *at(i, j)
			}
		}
	}
	x = make([]float64, k)
	for i := k - 1; i >= 0; i-- {
		x[i] = *at(i, k)
		for j := i + 1; j < k; j++ {
			x[i] -= *at(i, j) * x[j]
		}
		x[i] /= *at(i, i)
	}
	for r, row := range rows {
		e := y[r]
		for i := range x {
			e -= x[i] * row[i]
		}
		left += w[r] * e * e
	}
	return x, left, true
}
