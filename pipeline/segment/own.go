package segment

import "math"

// recolour lets the photo's own colours speak: the colours of the cells that the network is sure
// are table, and of those it is sure are fruit, shift the doubtful cells' body probability. Colours
// that both have (tan fruit on planks) say nothing. Cells that the network is sure of hardly move.
func (m *Maps) recolour(im Image, opt Options) {
	if opt.OwnColours <= 0 {
		return
	}
	f := m.cellColours(im)
	var fruit, table []feature
	for i, p := range m.Body {
		switch {
		case m.Block[i] || m.Stalk[i] > 0.3:
		case p > 0.9:
			fruit = append(fruit, f[i])
		case p < 0.05:
			table = append(table, f[i])
		}
	}
	const enough = 60
	if len(fruit) < enough || len(table) < enough {
		return
	}
	in, out := newPalette(thin(fruit, 3000), 14), newPalette(thin(table, 3000), 14)
	if len(in) == 0 || len(out) == 0 {
		return
	}
	llr := make([]float32, len(f))
	for i := range f {
		llr[i] = float32(clamp(float64(out.distance(f[i])-in.distance(f[i]))/2, -4, 4))
	}
	llr = boxBlur(llr, m.W, m.H, 1)
	for i, p := range m.Body {
		if m.Block[i] || m.Stalk[i] > 0.5 {
			continue
		}
		q := clamp(float64(p), 1e-4, 1-1e-4)
		doubt := 4 * q * (1 - q) // 1 at p = 0.5, 0.36 at 0.1 or 0.9, 0.04 at 0.01
		m.Body[i] = sigmoid(float32(math.Log(q/(1-q)) + opt.OwnColours*math.Sqrt(doubt)*float64(llr[i])))
	}
}

// cellColours returns the colour of each cell: the mean of nine pixels spread over it.
func (m *Maps) cellColours(im Image) []feature {
	out := make([]feature, m.W*m.H)
	for y := range m.H {
		for x := range m.W {
			var c [3]float32
			p := m.toPhoto(float64(x), float64(y))
			for k := range 9 {
				px := min(max(int(math.Round(p.X+m.Cell*float64(k%3-1)/3)), 0), im.Width-1)
				py := min(max(int(math.Round(p.Y+m.Cell*float64(k/3-1)/3)), 0), im.Height-1)
				o := 3 * (py*im.Width + px)
				for ch := range c {
					c[ch] += float32(im.Pix[o+ch]) / 9
				}
			}
			out[y*m.W+x] = featureOf(c[:])
		}
	}
	return out
}

// thin keeps every k-th so that at most about n stay.
func thin(f []feature, n int) []feature {
	step := max(1, len(f)/n)
	out := make([]feature, 0, n+step)
	for i := step / 2; i < len(f); i += step {
		out = append(out, f[i])
	}
	return out
}
