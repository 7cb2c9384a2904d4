package segment

import (
	"fmt"
	"math"

	"offtype/measure/geom"
)

// Channels of the network's output.
const (
	chBody = iota
	chStalk
	chSeam
	chCentre
	chDX
	chDY
	chStem
	chBlossom
	channels
)

// offsetUnit is the number of cells that the network's offset 1 stands for.
const offsetUnit = 64

// Maps are the network's maps over the photo. A cell (x, y) covers Cell × Cell photo pixels; its
// centre lies at photo px ((x + 0.5)·Cell − 0.5, the same for y). Probabilities are 0–1.
type Maps struct {
	W, H  int     // cells that cover the photo (padding cut off)
	Cell  float64 // photo px a cell
	Body  []float32
	Stalk []float32
	Seam  []float32
	Mid   []float32 // centre-ness 0–1
	DX    []float32 // cells to the centroid of the own fruit
	DY    []float32
	Stem  []float32
	Bloss []float32
	Block []bool // cards and tags
}

// sigmoid is 1/(1 + e^−v), by straight lines between 64 values a unit to 1e-5.
func sigmoid(v float32) float32 {
	const far = 16
	if v <= -far || v >= far {
		return float32(1 / (1 + math.Exp(-float64(v))))
	}
	u := (v + far) * 64
	i := int(u)
	return sigmoids[i] + (u-float32(i))*(sigmoids[i+1]-sigmoids[i])
}

var sigmoids = func() (t [2*16*64 + 2]float32) {
	for i := range t {
		t[i] = float32(1 / (1 + math.Exp(16-float64(i)/64)))
	}
	return t
}()

// newMaps checks the network's output and cuts off the padding.
func newMaps(out []float32, shape []int, in input, im Image) (*Maps, error) {
	if len(shape) != 4 || shape[0] != 1 || shape[1] != channels || shape[2] != in.h/2 || shape[3] != in.w/2 || len(out) != channels*(in.h/2)*(in.w/2) {
		return nil, fmt.Errorf("outline network gave shape %v, needs [1 %d %d %d]", shape, channels, in.h/2, in.w/2)
	}
	sh, sw := shape[2], shape[3]
	m := &Maps{Cell: 2 / in.scale}
	m.W = min(sw, int(math.Ceil(float64(im.Width)/m.Cell-0.25)))
	m.H = min(sh, int(math.Ceil(float64(im.Height)/m.Cell-0.25)))
	m.W, m.H = max(m.W, 1), max(m.H, 1)
	cut := func(ch int, f func(float32) float32) []float32 {
		o := make([]float32, m.W*m.H)
		for y := range m.H {
			src := out[ch*sh*sw+y*sw:]
			for x := range m.W {
				v := src[x]
				if v != v { // a broken map must not spread
					v = 0
					if ch < chCentre || ch > chDY {
						v = -20
					}
				}
				o[y*m.W+x] = f(v)
			}
		}
		return o
	}
	lin := func(k, lo, hi float32) func(float32) float32 {
		return func(v float32) float32 { return min(max(k*v, lo), hi) }
	}
	far := float32(sw + sh)
	m.Body, m.Stalk, m.Seam = cut(chBody, sigmoid), cut(chStalk, sigmoid), cut(chSeam, sigmoid)
	m.Mid = cut(chCentre, lin(1, 0, 1))
	m.DX, m.DY = cut(chDX, lin(offsetUnit, -far, far)), cut(chDY, lin(offsetUnit, -far, far))
	m.Stem, m.Bloss = cut(chStem, sigmoid), cut(chBlossom, sigmoid)
	return m, nil
}

// toPhoto turns map coordinates (cell centres at whole numbers) into photo px.
func (m *Maps) toPhoto(x, y float64) geom.Px {
	return geom.Px{X: (x+0.5)*m.Cell - 0.5, Y: (y+0.5)*m.Cell - 0.5}
}

// toMap turns photo px into map coordinates.
func (m *Maps) toMap(p geom.Px) (x, y float64) {
	return (p.X+0.5)/m.Cell - 0.5, (p.Y+0.5)/m.Cell - 0.5
}

// at samples a map at photo point p, bilinear, clamped to the map.
func (m *Maps) at(a []float32, p geom.Px) float64 {
	x, y := m.toMap(p)
	x, y = clamp(x, 0, float64(m.W-1)), clamp(y, 0, float64(m.H-1))
	x0, y0 := int(x), int(y)
	x1, y1 := min(x0+1, m.W-1), min(y0+1, m.H-1)
	fx, fy := x-float64(x0), y-float64(y0)
	v := func(x, y int) float64 { return float64(a[y*m.W+x]) }
	return (1-fy)*((1-fx)*v(x0, y0)+fx*v(x1, y0)) + fy*((1-fx)*v(x0, y1)+fx*v(x1, y1))
}

func clamp(v, lo, hi float64) float64 { return max(lo, min(hi, v)) }

// block takes the cells inside the polygons out of the body and stalk maps.
func (m *Maps) block(polys [][]geom.Px) {
	if m.Block == nil {
		m.Block = make([]bool, m.W*m.H)
	}
	for _, poly := range polys {
		if len(poly) < 3 {
			continue
		}
		lo, hi := geom.Bounds(poly)
		x0, y0 := m.toMap(lo)
		x1, y1 := m.toMap(hi)
		for y := max(0, int(y0)); y <= min(m.H-1, int(y1)+1); y++ {
			for x := max(0, int(x0)); x <= min(m.W-1, int(x1)+1); x++ {
				if geom.Contains(poly, m.toPhoto(float64(x), float64(y))) {
					i := y*m.W + x
					m.Block[i] = true
					m.Body[i], m.Stalk[i] = min(m.Body[i], 0.02), min(m.Stalk[i], 0.02)
				}
			}
		}
	}
}
