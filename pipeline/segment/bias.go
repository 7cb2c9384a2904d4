package segment

import "math"

// edgeBias returns where the edge fit finds an edge that lies at 0, px, for a fruit of linear
// colour in against out. The photo blends the two in linear light, but stores brightness and
// colour as code values and the colour at half resolution, which moves the 50 % place of a
// coloured edge. The profile is put through the same steps and fitted like a measured one.
func edgeBias(in, out [3]float64, m *edgeModel) float64 {
	n := len(m.step)
	luma, cb, cr := make([]float64, 0, n), make([]float64, 0, n), make([]float64, 0, n)
	for _, f := range m.step {
		var c [3]float64
		for i := range c {
			c[i] = float64(code8(f*in[i] + (1-f)*out[i]))
		}
		y := 0.299*c[0] + 0.587*c[1] + 0.114*c[2]
		luma, cb, cr = append(luma, y), append(cb, c[2]-y), append(cr, c[0]-y)
	}
	cb, cr = halved(cb), halved(cr)
	var d [3]float64
	len2 := 0.0
	for i := range d {
		d[i] = in[i] - out[i]
		len2 += d[i] * d[i]
	}
	if len2 < 1e-9 {
		return 0
	}
	prof := make([]float64, 2*m.half+1)
	for k := range prof {
		j := k + biasMargin
		r, b := luma[j]+cr[j], luma[j]+cb[j]
		g := (luma[j] - 0.299*r - 0.114*b) / 0.587
		for i, v := range [3]float64{r, g, b} {
			prof[k] += d[i] * (linear(v) - out[i]) / len2
		}
	}
	at, _, _ := m.fit(prof, 1e-5, &fitSpace{})
	return clamp(at, -1, 1)
}

// biasMargin is how many samples beyond each end of the model storing the colours can reach.
const biasMargin = 8

// halved blurs a series (bandStep apart) as storing every second pixel does: the mean of two
// pixels, then straight lines between the stored ones.
func halved(a []float64) []float64 {
	// box of 2 px and triangle of ±2 px, sampled every half px
	out := make([]float64, len(a))
	for i := range a {
		for j, v := range halving {
			out[i] += v * a[min(max(i+j-6, 0), len(a)-1)]
		}
	}
	return out
}

// halving are the weights of halved.
var halving = func() (k [13]float64) {
	sum := 0.0
	for i := range k {
		for j := -2; j <= 2; j++ {
			w := 1.0
			if j == -2 || j == 2 {
				w = 0.5
			}
			k[i] += w * math.Max(0, 1-math.Abs(float64(i-6-j))*bandStep/2)
		}
		sum += k[i]
	}
	for i := range k {
		k[i] /= sum
	}
	return k
}()

// linear decodes an sRGB code value 0–255.
func linear(c float64) float64 {
	v := clamp(c, 0, 255) / 255
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}
