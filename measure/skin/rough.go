package skin

import "math"

// rough returns the unevenness of the skin: the robust SD of log luminance, each sample's 3 × 3 mean against its
// surroundings within about 8 mm, in the main colour. Warts and netting raise it.
func (s *patchwork) rough() float64 {
	k := max(2, int(math.Round(8/s.mmStep)))
	logs := make([]float64, len(s.grid)) // NaN where there is none
	for i := range logs {
		logs[i] = math.NaN()
		if j := s.grid[i]; j >= 0 && s.px[j].part == 0 {
			if l := lum(s.px[j].own); l > 0 {
				logs[i] = math.Log(l)
			}
		}
	}
	mean := func(q *pixel, r int) (m float64, n int) {
		step := max(1, r/3)
		for y := q.gy - r; y <= q.gy+r; y += step {
			if y < 0 || y >= s.ny {
				continue
			}
			row := logs[y*s.nx:][:s.nx]
			for x := q.gx - r; x <= q.gx+r; x += step {
				if x < 0 || x >= s.nx {
					continue
				}
				if v := row[x]; v == v {
					m += v
					n++
				}
			}
		}
		return m / max(1, float64(n)), n
	}
	var dev []float64
	for i := 0; i < len(s.px); i += 3 {
		q := &s.px[i]
		if q.part != 0 || q.facing < 0.5 || !s.core(q) {
			continue
		}
		a, na := mean(q, 1)
		b, nb := mean(q, k)
		if na >= 9 && nb >= 20 {
			dev = append(dev, math.Abs(a-b))
		}
	}
	if len(dev) < 30 {
		return math.NaN()
	}
	return 1.4826 * median(dev)
}

// stripesLie tells whether the samples that pass lie in the grooves or on the ribs.
func (s *patchwork) stripesLie(is func(*pixel) bool, n int, groove float64) string {
	t, m := 0.0, 0.0
	for i := range s.px {
		q := &s.px[i]
		if q.s > 0.2 && q.s < 0.8 && is(q) {
			t += math.Cos(float64(n) * (q.theta - groove))
			m++
		}
	}
	switch {
	case m > 0 && t/m > 0.3:
		return "grooves"
	case m > 0 && t/m < -0.3:
		return "ribs"
	}
	return ""
}
