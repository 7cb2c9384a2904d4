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

// profile is what the samples show around the fruit: mean log luminance relative to their part, by angle.
type profile struct {
	theta []float64
	y     []float64 // log own luminance of the sample over that of its part
	n     []float64
}

const ringBins = 180 // over the full turn, 2° each

// around averages over the middle of the fruit (s from 0.25 to 0.75).
func (s *patchwork) around(base [][3]float64) profile {
	var y, n [ringBins]float64
	for i := range s.px {
		q := &s.px[i]
		if q.part < 0 || q.cut || q.s < 0.25 || q.s > 0.75 || !s.core(q) {
			continue
		}
		b := base[q.part]
		l, r := lum(q.own), lum(b)
		if l <= 0 || r <= 0 {
			continue
		}
		k := int((q.theta + math.Pi) / (2 * math.Pi) * ringBins)
		k = ((k % ringBins) + ringBins) % ringBins
		y[k] += math.Log(l / r)
		n[k]++
	}
	var p profile
	for k := range y {
		if n[k] >= 4 {
			p.theta = append(p.theta, (float64(k)+.5)/ringBins*2*math.Pi-math.Pi)
			p.y = append(p.y, y[k]/n[k])
			p.n = append(p.n, n[k])
		}
	}
	return p
}

func lum(c [3]float64) float64 { return 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2] }
