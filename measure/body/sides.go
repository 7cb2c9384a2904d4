package body

import "math"

// sides fills Lopsided and Roughness from the outline's distances to the body, view by view; the
// greatest view counts.
//
// Lopsided: the outline's distances are averaged over tenths of the middle line on either side of it;
// the greatest difference between the two sides, over the width. Roughness: the standard deviation of
// the distances about their running mean over 13 points, over the greatest radius; its uncertainty is
// that of the stated outline noise.
func (t *task) sides(b *Body) {
	m := b.m
	width := b.Width.V
	for v := range t.views {
		var sum, count [2][10]float64
		var dist []float64
		mmPerSigma := 0.0
		for i := range t.rays {
			y := &t.rays[i]
			if y.view != v {
				continue
			}
			if !y.free() {
				dist = append(dist, math.NaN())
				continue
			}
			l, _, s := m.graze(y.o, y.d, math.NaN(), 0)
			gn := s.grad.Norm()
			if gn < 1e-9 || l <= 0 {
				continue
			}
			mm := s.g / gn
			mmPerSigma = y.sigma * l * y.zdir / y.focal
			dist = append(dist, mm)
			side := 0
			if s.eta > 0 {
				side = 1
			}
			if k := int(s.t * 10); s.t >= 0 && k < 10 {
				sum[side][k] += mm
				count[side][k]++
			}
		}
		for k := range sum[0] {
			if count[0][k] >= 2 && count[1][k] >= 2 {
				d := math.Abs(sum[0][k]/count[0][k] - sum[1][k]/count[1][k])
				b.Lopsided = math.Max(b.Lopsided, d/width)
			}
		}
		if r := 2 * rough(dist) / width; r > b.Roughness {
			b.Roughness, b.RoughnessU = r, 2*mmPerSigma/(width/2)
		}
	}
}

// An outline is rough by itself: by roughNoise times its stated noise, and by leastRough px. Callipers over a fruit whose
// outline is rougher rest on bumps that stand out on either side by bumpReach standard deviations.
const (
	roughNoise = 2
	leastRough = 0.3
	bumpReach  = 1.3
	bumpsAll   = 1.3 // and not by one place: the median distance from the body counts so many times at most
)

// bumps returns by how much callipers are wider than the smooth body, mm.
func (t *task) bumps(b *Body) float64 {
	mm := t.sharpest(b.m)
	own := math.Hypot(roughNoise*t.views[0].SigmaPx, leastRough) * mm
	sd := math.Min(b.Roughness*b.Width.V/2, bumpsAll*b.ResidualPx*mm)
	return 2 * bumpReach * math.Sqrt(math.Max(0, sd*sd-own*own))
}

// rough is the standard deviation of v about its running mean over 13 points of the closed outline;
// NaN entries are gaps.
func rough(v []float64) float64 {
	const half = 6
	n := len(v)
	if n < 4*half {
		return 0
	}
	var sum float64
	count := 0
	for i := range v {
		mean, k := 0.0, 0
		for j := -half; j <= half; j++ {
			if x := v[((i+j)%n+n)%n]; !math.IsNaN(x) {
				mean += x
				k++
			}
		}
		if math.IsNaN(v[i]) || k < half {
			continue
		}
		d := v[i] - mean/float64(k)
		sum += d * d
		count++
	}
	if count == 0 {
		return 0
	}
	return math.Sqrt(sum / float64(count) * (2*half + 1) / (2 * half))
}
