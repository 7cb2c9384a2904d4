package photo

import "math"

// stations is the number of places of a colour table along each channel.
const stations = 33

// colourTable holds a colour conversion at stations³ places as linear-light sRGB, not cut; between
// them it is linear in each of the six tetrahedra of a cell. The places lie evenly in the light
// of the source's own greys, so that for a profile of matrix and curve (cameras and phones have
// such) the table is exact but for rounding.
type colourTable struct {
	node [stations * stations * stations][3]float32
	// For each 8-bit value its lower station and how far it lies towards the next (0–1).
	low  [256]uint8
	part [256]float32
	// When the table is but a matrix and a constant, these do the same faster.
	plain    bool
	light    [256]float32
	matrix   [3][3]float32
	constant [3]float32
}

// toLight converts encoded values (0–1) of a colour space to linear-light sRGB, not cut.
type toLight func(r, g, b float64) [3]float64

func newColourTable(f toLight) *colourTable {
	t := new(colourTable)
	light := greyLight(f)
	for i := range t.low {
		at := light(float64(i)/255) * (stations - 1)
		low := min(max(int(at), 0), stations-2)
		t.low[i], t.part[i] = uint8(low), float32(at-float64(low))
		t.light[i] = float32(at / (stations - 1))
	}
	var value [stations]float64 // encoded value of each station
	for k := range value {
		value[k] = inverse(light, float64(k)/(stations-1))
	}
	for r := range stations {
		for g := range stations {
			for b := range stations {
				v := f(value[r], value[g], value[b])
				t.node[(r*stations+g)*stations+b] = [3]float32{float32(v[0]), float32(v[1]), float32(v[2])}
			}
		}
	}
	t.findMatrix()
	return t
}

// findMatrix sets plain when every node is what its light times a matrix gives.
func (t *colourTable) findMatrix() {
	const allow = 2e-6 // of the light of white: a few roundings of single precision
	last := stations - 1
	black := t.node[0]
	ends := [3][3]float32{t.node[last*stations*stations], t.node[last*stations], t.node[last]}
	for c := range 3 {
		t.constant[c] = black[c]
		for k := range 3 {
			t.matrix[c][k] = ends[k][c] - black[c]
		}
	}
	for i, n := range t.node {
		r, g, b := float32(i/(stations*stations))/float32(last), float32(i/stations%stations)/float32(last), float32(i%stations)/float32(last)
		for c, v := range t.times(r, g, b) {
			if d := v - n[c]; !(d > -allow && d < allow) {
				return
			}
		}
	}
	t.plain = true
}

func (t *colourTable) times(r, g, b float32) (out [3]float32) {
	for c := range out {
		m := &t.matrix[c]
		out[c] = t.constant[c] + m[0]*r + m[1]*g + m[2]*b
	}
	return out
}

// greyLight returns the light of a grey of f as a function of its encoded value, scaled to run
// from 0 to 1; the curve of sRGB where that of f does not rise all the way.
func greyLight(f toLight) func(float64) float64 {
	grey := func(v float64) float64 { return f(v, v, v)[1] }
	lo, hi := grey(0), grey(1)
	last := lo
	for i := 1; i < 256; i++ {
		v := grey(float64(i) / 255)
		if !(v > last) {
			return linear
		}
		last = v
	}
	return func(v float64) float64 { return min(max((grey(v)-lo)/(hi-lo), 0), 1) }
}

// inverse finds the value (0–1) at which the rising function f is y, by halving.
func inverse(f func(float64) float64, y float64) float64 {
	lo, hi := 0.0, 1.0
	for range 50 {
		if mid := (lo + hi) / 2; f(mid) < y {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// sound reports whether all values are numbers of a sensible size.
func (t *colourTable) sound() bool {
	for _, n := range t.node {
		for _, v := range n {
			if !(v > -20 && v < 20) {
				return false
			}
		}
	}
	return true
}

// identity reports whether the table changes no value of a coarse grid by more than one step.
func (t *colourTable) identity() bool {
	for r := 0; r < 256; r += 15 {
		for g := 0; g < 256; g += 15 {
			for b := 0; b < 256; b += 15 {
				want := [3]int{r, g, b}
				for c, v := range t.at(uint8(r), uint8(g), uint8(b)) {
					if math.Abs(255*encoded(float64(v))-float64(want[c])) > 1 {
						return false
					}
				}
			}
		}
	}
	return true
}

// at converts one colour to linear-light sRGB, not cut.
func (t *colourTable) at(r, g, b uint8) [3]float32 {
	if t.plain {
		return t.times(t.light[r], t.light[g], t.light[b])
	}
	return t.between(r, g, b)
}

// between interpolates in the table.
func (t *colourTable) between(r, g, b uint8) (out [3]float32) {
	fr, fg, fb := t.part[r], t.part[g], t.part[b]
	i := (int(t.low[r])*stations+int(t.low[g]))*stations + int(t.low[b])
	const dr, dg, db = stations * stations, stations, 1
	// From the corner 000 to 111 along the channels in falling order of their parts.
	var first, second int
	var a1, a2, a3 float32
	switch {
	case fr >= fg && fg >= fb:
		first, second, a1, a2, a3 = dr, dr+dg, fr, fg, fb
	case fr >= fb && fb >= fg:
		first, second, a1, a2, a3 = dr, dr+db, fr, fb, fg
	case fb >= fr && fr >= fg:
		first, second, a1, a2, a3 = db, db+dr, fb, fr, fg
	case fg >= fr && fr >= fb:
		first, second, a1, a2, a3 = dg, dg+dr, fg, fr, fb
	case fg >= fb && fb >= fr:
		first, second, a1, a2, a3 = dg, dg+db, fg, fb, fr
	default:
		first, second, a1, a2, a3 = db, db+dg, fb, fg, fr
	}
	n0, n1, n2, n3 := &t.node[i], &t.node[i+first], &t.node[i+second], &t.node[i+dr+dg+db]
	w0, w1, w2 := 1-a1, a1-a2, a2-a3
	for c := range out {
		out[c] = w0*n0[c] + w1*n1[c] + w2*n2[c] + a3*n3[c]
	}
	return out
}

// A colour counts as outside sRGB when a channel of its linear light is below −outside or above
// 1 + outside: cutting there can change a vivid orange by about half a unit of CIEDE2000.
const outside = 0.002

// steps is the resolution of the table that encodes light: below half of 1/255 at its steepest.
const steps = 1 << 14

var encodeTable = func() *[steps + 1]uint8 {
	var t [steps + 1]uint8
	for i := range t {
		t[i] = uint8(math.Round(255 * encoded(float64(i)/steps)))
	}
	return &t
}()

// apply converts pix in place and returns the share of pixels that had to be cut.
func (t *colourTable) apply(pix []uint8) (clipped float64) {
	if len(pix) < 3 {
		return 0
	}
	cut := 0
	if t.plain {
		cut = t.applyPlain(pix)
	} else {
		for i := 0; i+2 < len(pix); i += 3 {
			v := t.between(pix[i], pix[i+1], pix[i+2])
			if min(v[0], v[1], v[2]) < -outside || max(v[0], v[1], v[2]) > 1+outside {
				cut++
			}
			pix[i], pix[i+1], pix[i+2] = encode(v[0]), encode(v[1]), encode(v[2])
		}
	}
	return float64(cut) / float64(len(pix)/3)
}

// applyPlain is apply for a matrix, written out: it runs over 12 million pixels.
func (t *colourTable) applyPlain(pix []uint8) (cut int) {
	m, k, light := t.matrix, t.constant, &t.light
	m00, m01, m02 := m[0][0], m[0][1], m[0][2]
	m10, m11, m12 := m[1][0], m[1][1], m[1][2]
	m20, m21, m22 := m[2][0], m[2][1], m[2][2]
	for i := 0; i+2 < len(pix); i += 3 {
		p := pix[i : i+3 : i+3]
		r, g, b := light[p[0]], light[p[1]], light[p[2]]
		x := k[0] + m00*r + m01*g + m02*b
		y := k[1] + m10*r + m11*g + m12*b
		z := k[2] + m20*r + m21*g + m22*b
		if x < -outside || y < -outside || z < -outside || x > 1+outside || y > 1+outside || z > 1+outside {
			cut++
		}
		p[0], p[1], p[2] = encode(x), encode(y), encode(z)
	}
	return cut
}

// encode rounds light (0–1, cut beyond) to 8 bits.
func encode(light float32) uint8 {
	i := int(light*steps + 0.5)
	if i < 0 {
		i = 0
	} else if i > steps {
		i = steps
	}
	return encodeTable[i]
}
