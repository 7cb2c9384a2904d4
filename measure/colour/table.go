package colour

import (
	"math"
	"slices"

	"offtype/measure/geom"
)

// TableSamples returns the colour of bare table in up to 20 × 15 places of a photo, for Calibrate: one material
// seen in many places shows how the light falls off across it.
//
// pix: RGB, 3 bytes a pixel, w × h. things: outlines, px, of all that is not table (fruit, cards, tags); places
// nearer to one than a third of its size are left out, since it takes light away there. Nil when less than 12
// places are left. Places of clearly another brightness (floor beside the table, leaves) are dropped.
func TableSamples(pix []uint8, w, h int, things [][]geom.Px) []Sample {
	const nx, ny = 20, 15
	var out []Sample
	bw, bh := w/nx, h/ny
	if bw < 8 || bh < 8 || len(pix) < 3*w*h {
		return nil
	}
	for j := 0; j < ny; j++ {
		for i := 0; i < nx; i++ {
			p := geom.Px{X: (float64(i) + .5) * float64(bw), Y: (float64(j) + .5) * float64(bh)}
			if near(p, things, float64(max(bw, bh))*0.6) {
				continue
			}
			out = append(out, block(pix, w, i*bw, j*bh, bw, bh, p))
		}
	}
	if len(out) < 12 {
		return nil
	}
	return sameTable(out)
}

// near reports whether p lies in a thing or within margin plus a third of the thing's size of it.
func near(p geom.Px, things [][]geom.Px, margin float64) bool {
	for _, t := range things {
		if len(t) < 3 {
			continue
		}
		m := margin + math.Sqrt(geom.Area(t))/3
		lo, hi := geom.Bounds(t)
		if p.X < lo.X-m || p.X > hi.X+m || p.Y < lo.Y-m || p.Y > hi.Y+m {
			continue
		}
		if geom.Contains(t, p) {
			return true
		}
		step := max(1, len(t)/64)
		for i := 0; i < len(t); i += step {
			if t[i].Sub(p).Norm() < m {
				return true
			}
		}
	}
	return false
}

// block returns the median colour of a block of pixels.
func block(pix []uint8, w, x0, y0, bw, bh int, p geom.Px) Sample {
	var v [3][]uint8
	cut, n := 0, 0
	for y := y0; y < y0+bh; y += 3 {
		for x := x0; x < x0+bw; x += 3 {
			i := 3 * (y*w + x)
			for k := range v {
				v[k] = append(v[k], pix[i+k])
			}
			if max(pix[i], pix[i+1], pix[i+2]) >= 253 {
				cut++
			}
			n++
		}
	}
	s := Sample{Name: "table", Kind: Table, Place: p, Clipped: float64(cut) / float64(n)}
	for k := range v {
		slices.Sort(v[k])
		lo, hi := len(v[k])/4, 3*len(v[k])/4
		t := 0.0
		for _, b := range v[k][lo:hi] {
			t += float64(b)
		}
		s.RGB[k] = t / float64(hi-lo)
	}
	return s
}

// sameTable keeps the places whose brightness is within a factor of two of the middle one's.
func sameTable(in []Sample) []Sample {
	l := make([]float64, len(in))
	for i, s := range in {
		l[i] = logLight(s)
	}
	m := median(l)
	var out []Sample
	for i, s := range in {
		if math.Abs(l[i]-m) < math.Ln2 {
			out = append(out, s)
		}
	}
	if len(out) < 12 {
		return nil
	}
	return out
}

func logLight(s Sample) float64 {
	y := RGB{Linear(s.RGB[0] / 255), Linear(s.RGB[1] / 255), Linear(s.RGB[2] / 255)}.XYZ().Y
	return math.Log(math.Max(1e-4, y))
}
