package segment

import "testing"

// TestJoinSlender: slender fruit side by side name centres that lie near each other, measured by their length; they stay
// apart all the same, and one fruit across whose middle something like a seam runs stays one.
func TestJoinSlender(t *testing.T) {
	const wide, long = 16, 72
	pack := func(fruit int, seam float32, across bool) *Maps {
		m := &Maps{W: 140, H: 100, Cell: 2}
		for _, a := range []*[]float32{&m.Body, &m.Stalk, &m.Seam, &m.Mid, &m.DX, &m.DY, &m.Stem, &m.Bloss} {
			*a = make([]float32, m.W*m.H)
		}
		for y := 10; y < 10+long; y++ {
			for x := 10; x < 10+fruit*wide; x++ {
				i := y*m.W + x
				m.Body[i] = 0.99
				k := (x - 10) / wide
				at := (x - 10) % wide
				if !across && (at == 0 && k > 0 || at == wide-1 && k < fruit-1) || across && (y == 10+long/2 || y == 11+long/2) {
					m.Seam[i] = seam
				}
				m.DX[i], m.DY[i] = float32(10+k*wide)+wide/2-float32(x), 10+long/2-float32(y)
				if across { // the halves disagree by a tenth of the length
					m.DY[i] += float32(map[bool]int{true: -1, false: 1}[y < 10+long/2]) * long / 20
				}
			}
		}
		return m
	}
	for _, c := range []struct {
		name   string
		fruit  int
		seam   float32
		across bool
		want   int
	}{{"clear seams", 6, 0.9, false, 6}, {"faint seams", 6, 0.58, false, 6}, {"fainter seams", 6, 0.3, false, 6}, {"a faint seam across", 1, 0.3, true, 1}} {
		n := 0
		for _, r := range findRegions(pack(c.fruit, c.seam, c.across), nil, DefaultOptions()).regions {
			if r.reject == "" {
				n++
			}
		}
		if n != c.want {
			t.Errorf("%s: %d fruit, want %d", c.name, n, c.want)
		}
	}
}
