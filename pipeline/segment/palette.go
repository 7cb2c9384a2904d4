package segment

import "math"

// feature is a colour in units of its usual spread on one surface: brightness (shading makes it
// vary, so it counts little) and two chromaticities that shading leaves alone.
type feature [3]float32

// featureOf turns 8-bit sRGB code values into a feature. Gamma-coded values scale with the light
// by one factor, so that differences over the mean hardly change from light to shade; the 20 added
// keeps noise in the dark from counting as colour.
func featureOf(c []float32) feature {
	y := (c[0] + 2*c[1] + c[2]) / 4
	k := 25 / (y + 20)
	return feature{y / 12, (c[0] - c[1]) * k, (c[2] - c[1]) * k}
}

// prototype is one typical colour of a surface with its spread along each axis.
type prototype struct {
	at, inv feature // inv: 1 / variance
	bias    float32 // sum of the logarithms of the variances
}

// palette is a surface's typical colours.
type palette []prototype

// distance returns the least squared distance of f to the palette's colours in units of their
// spread, with the spread's own cost: −2 log likelihood of the best fitting colour.
func (p palette) distance(f feature) float32 {
	best := float32(1e9)
	for i := range p {
		q := &p[i]
		a, b, c := f[0]-q.at[0], f[1]-q.at[1], f[2]-q.at[2]
		best = min(best, a*a*q.inv[0]+b*b*q.inv[1]+c*c*q.inv[2]+q.bias)
	}
	return best
}

// shaded is distance for a table that may lie in shadow: a colour darker than one of the palette's
// but of the same chromaticity counts as that colour in the shade, at a small price.
func (p palette) shaded(f feature) float32 {
	const price = 1.5
	best := float32(1e9)
	for i := range p {
		q := &p[i]
		a, b, c := f[0]-q.at[0], f[1]-q.at[1], f[2]-q.at[2]
		hue := b*b*q.inv[1] + c*c*q.inv[2]
		best = min(best, a*a*q.inv[0]+hue+q.bias)
		if a >= 0 || f[0]+1.7 < 0.25*(q.at[0]+1.7) { // not darker, or darker than any shadow
			continue
		}
		best = min(best, price+0.02*a*a+0.35*hue+q.bias)
	}
	return best
}

// newPalette finds at most k typical colours (k-means, started evenly along the brightness-and-
// chroma order of the samples, so that the same samples give the same palette).
func newPalette(s []feature, k int) palette {
	k = min(k, (len(s)+7)/8)
	if k < 1 {
		return nil
	}
	at := make([]feature, 0, k)
	at = append(at, s[len(s)/2])
	far := make([]float32, len(s)) // farthest-first start: the next colour is the one least like those taken
	for i := range far {
		far[i] = 1e9
	}
	for len(at) < k {
		last := at[len(at)-1]
		pick, top := 0, float32(-1)
		for i, f := range s {
			far[i] = min(far[i], apart(f, last))
			if d := min(far[i], 60); d > top { // beyond 60 outliers would be taken first
				top, pick = d, i
			}
		}
		if top < 1 {
			break
		}
		at = append(at, s[pick])
	}
	own := make([]int, len(s))
	n := make([]float64, len(at))
	for round := range 6 {
		moved := round == 0
		sum := make([][3]float64, len(at))
		clear(n)
		for i, f := range s {
			best, to := float32(1e9), 0
			for j := range at {
				if d := apart(f, at[j]); d < best {
					best, to = d, j
				}
			}
			moved = moved || to != own[i]
			own[i] = to
			n[own[i]]++
			for c := range 3 {
				sum[own[i]][c] += float64(f[c])
			}
		}
		if !moved {
			break
		}
		for j := range at {
			if n[j] > 0 {
				for c := range 3 {
					at[j][c] = float32(sum[j][c] / n[j])
				}
			}
		}
	}
	vr := make([][3]float64, len(at))
	for i, f := range s {
		for c := range 3 {
			d := float64(f[c] - at[own[i]][c])
			vr[own[i]][c] += d * d
		}
	}
	var out palette
	for j := range at {
		if n[j] < math.Max(3, 0.01*float64(len(s))) {
			continue
		}
		p := prototype{at: at[j]}
		for c := range 3 {
			v := 0.5 + vr[j][c]/n[j]
			p.inv[c] = float32(1 / v)
			p.bias += float32(math.Log(v))
		}
		out = append(out, p)
	}
	return out
}

func apart(a, b feature) float32 {
	x, y, z := a[0]-b[0], a[1]-b[1], a[2]-b[2]
	return x*x + y*y + z*z
}

// insideSamples takes at most most colours from the photo inside the line, a margin away from it.
func insideSamples(im Image, spans func(f func(y, x0, x1 int)), area float64, most int) []feature {
	step := max(1, int(math.Sqrt(area/float64(most))))
	var out []feature
	spans(func(y, x0, x1 int) {
		if y%step != 0 {
			return
		}
		for x := x0 + step/2; x < x1; x += step {
			p := im.Pix[3*(y*im.Width+x):]
			out = append(out, featureOf([]float32{float32(p[0]), float32(p[1]), float32(p[2])}))
		}
	})
	return out
}

// outsidePalettes returns the table's colours near each of the band's sectors, from rows r0 to the
// last; columns that skip names, and places that are another's, are left out: a neighbour has the colours of the fruit
// itself, or lights it with its own. A sector without samples has an empty palette.
func (b *band) outsidePalettes(sectors, r0 int, skip []bool, others func(i, r int) bool) []palette {
	rows := b.rows()
	out := make([]palette, sectors)
	span := float64(b.n) / float64(sectors)
	for s := range out {
		var f []feature
		mid := (float64(s) + 0.5) * span
		lo, hi := int(mid-1.2*span), int(mid+1.2*span)
		stepI, stepR := max(1, (hi-lo)/24), max(1, int(math.Round(1/b.step)))
		for k := lo; k <= hi; k += stepI {
			i := ((k % b.n) + b.n) % b.n
			if skip[i] {
				continue
			}
			for r := r0; r < rows; r += stepR {
				if others(i, r) {
					continue
				}
				f = append(f, featureOf(b.v[3*(i*rows+r):]))
			}
		}
		out[s] = newPalette(f, 5)
	}
	return out
}

// likelihood fills pr with half the log likelihood ratio fruit : surroundings of each row of column
// i, within ±3.
func (b *band) likelihood(i int, in, out palette, pr []float64) {
	rows := b.rows()
	if len(in) == 0 || len(out) == 0 {
		clear(pr)
		return
	}
	for r := range pr {
		f := featureOf(b.v[3*(i*rows+r):])
		pr[r] = clamp(float64(out.shaded(f)-in.distance(f))/2, -3, 3)
	}
}
