package segment

import (
	"fmt"
	"math"

	"offtype/measure/geom"
)

// The network sees about 500 px at once and was trained on fruit up to a third of its input. A
// fruit that fills the picture comes out in pieces. So the photo is glanced at small first
// (glanceSide); only when that shows something longer than glanceLarge does it pay for a second
// pass at half size. What the half-size pass finds longer than largeShare of the long side is taken
// from it, and what the glance finds longer than hugeShare is taken from the glance.
const (
	glanceSide  = 256
	glanceLarge = 0.25
	largeShare  = 0.30
	hugeShare   = 0.65
)

// glancer is a Net that has another one for photos made small.
type glancer interface{ Glance() Net }

// closer replaces the maps of fruit too large for the network's full input size by those of passes
// over the photo made smaller.
func (m *Maps) closer(im Image, net Net, keepOut [][]geom.Px, opt Options) error {
	small := net
	if g, ok := net.(glancer); ok {
		small = g.Glance()
	}
	glance, err := runNet(im, small, glanceSide)
	if err != nil {
		return err
	}
	glance.block(keepOut)
	gr := findRegions(glance, nil, opt)
	if longest(glance, gr) <= glanceLarge {
		return nil
	}
	half, err := runNet(im, net, opt.LongSide/2)
	if err != nil {
		return err
	}
	half.block(keepOut)
	m.take(half, findRegions(half, nil, opt), largeShare)
	m.take(glance, gr, hugeShare)
	return nil
}

// runNet runs the network on the photo with its long side made longSide px.
func runNet(im Image, net Net, longSide int) (*Maps, error) {
	in := scaleInput(im, longSide)
	out, shape, err := net.Forward(in.data, []int{1, 3, in.h, in.w})
	inputs.Put(&in.data)
	if err != nil {
		return nil, fmt.Errorf("outline network: %w", err)
	}
	return newMaps(out, shape, in, im)
}

// box is a range of cells, both ends in it.
type box struct{ x0, y0, x1, y1 int }

// long is the longer side, cells.
func (b box) long() int { return max(b.x1-b.x0, b.y1-b.y0) + 1 }

// with is the box grown to hold cell (x, y).
func (b box) with(x, y int) box {
	return box{min(b.x0, x), min(b.y0, y), max(b.x1, x), max(b.y1, y)}
}

// longest returns the length of the longest region as a share of the map's long side.
func longest(m *Maps, g *regions) float64 {
	top := 0
	for _, r := range g.regions {
		if r.reject == "" {
			top = max(top, r.box.long())
		}
	}
	return float64(top) / float64(max(m.W, m.H))
}

// take replaces the maps of the regions of a coarser pass that are longer than share, with a margin
// of three coarse cells. Around them, out to a quarter of their length, body is what both passes
// call body: the pieces that the full pass made of a large fruit must not stay as fruit.
func (m *Maps) take(s *Maps, g *regions, share float64) {
	limit := share * float64(max(s.W, s.H))
	const margin = 3
	use, near := make([]bool, len(g.label)), make([]bool, len(g.label))
	any := false
	for _, reg := range g.regions {
		b := reg.box
		if reg.reject != "" || float64(b.long()) <= limit {
			continue
		}
		any = true
		for i, l := range g.label {
			if l == reg.id {
				mark(use, g, i, margin)
			}
		}
		r := b.long() / 4
		for y := max(0, b.y0-r); y <= min(g.h-1, b.y1+r); y++ {
			for x := max(0, b.x0-r); x <= min(g.w-1, b.x1+r); x++ {
				near[y*g.w+x] = true
			}
		}
	}
	if !any {
		return
	}
	k := float32(s.Cell / m.Cell)
	for i := range m.Body {
		p := m.toPhoto(float64(i%m.W), float64(i/m.W))
		x, y := s.toMap(p)
		j := min(max(int(math.Round(y)), 0), s.H-1)*s.W + min(max(int(math.Round(x)), 0), s.W-1)
		switch {
		case use[j]:
			for _, c := range [...][2][]float32{{m.Body, s.Body}, {m.Stalk, s.Stalk}, {m.Seam, s.Seam}, {m.Mid, s.Mid}, {m.Stem, s.Stem}, {m.Bloss, s.Bloss}} {
				c[0][i] = float32(s.at(c[1], p))
			}
			m.DX[i], m.DY[i] = k*float32(s.at(s.DX, p)), k*float32(s.at(s.DY, p))
		case near[j]:
			for _, c := range [...][2][]float32{{m.Body, s.Body}, {m.Stalk, s.Stalk}} {
				c[0][i] = min(c[0][i], float32(s.at(c[1], p)))
			}
		}
	}
}

// mark sets the cells of a disc about cell i that are table or of i's own region.
func mark(use []bool, g *regions, i, r int) {
	x0, y0 := i%g.w, i/g.w
	for y := max(0, y0-r); y <= min(g.h-1, y0+r); y++ {
		for x := max(0, x0-r); x <= min(g.w-1, x0+r); x++ {
			j := y*g.w + x
			if (x-x0)*(x-x0)+(y-y0)*(y-y0) <= r*r && (g.label[j] == 0 || g.label[j] == g.label[i]) {
				use[j] = true
			}
		}
	}
}
