package pipeline

import (
	"math"
	"slices"

	"offtype/measure/body"
	"offtype/measure/colour"
	"offtype/measure/geom"
	"offtype/measure/shape"
	"offtype/pipeline/record"
	"offtype/pipeline/segment"
)

// shapeRow fills the shape traits of a fitted body.
func shapeRow(f *record.Fruit, b *body.Body) {
	t := shape.Of(b)
	f.Ratio, f.Neck, f.Taper = value(t.Ratio), value(t.Neck), value(t.Taper)
	f.Lopsided, f.Roughness = value(t.Lopsided), value(t.Roughness)
	f.ShapeWords = t.Words
}

// stalkRow measures the stalk as it is seen: its length in the plane parallel to the table at half
// the fruit's height (a stalk that points up is longer than that), and its colour, the median of
// the pixels inside its outline. The length's uncertainty is not known.
func (m *measurer) stalkRow(s *shot, i int, f *record.Fruit) {
	g := &s.fruits[i]
	if len(g.Stalk) < 3 || g.StemBase == nil || g.StalkTip == nil {
		return
	}
	z := 0.0
	if b := s.bodies[i]; b != nil && b.Height.V > 0 {
		z = b.Height.V / 2
	}
	p, ok := s.found.Camera.OnPlane(*g.StemBase, z)
	q, ok2 := s.found.Camera.OnPlane(*g.StalkTip, z)
	if ok && ok2 && !m.opt.NoScale {
		f.StalkLength = record.Value{V: q.Sub(p).Norm(), U: math.NaN()}
	}
	if c, ok := stalkColour(s, g); ok {
		f.StalkColour = &record.Lab{L: c.L, A: c.A, B: c.B}
	}
}

func stalkColour(s *shot, g *segment.Fruit) (colour.Lab, bool) {
	var l, a, b []float64
	segment.FillSpans(g.Stalk, s.photo.Width, s.photo.Height, func(y, x0, x1 int) {
		for x := x0; x < x1; x += 2 {
			p := s.photo.Pix[3*(y*s.photo.Width+x):]
			c := s.colour.Lab([3]float64{float64(p[0]), float64(p[1]), float64(p[2])}, geom.Px{X: float64(x), Y: float64(y)})
			l, a, b = append(l, c.L), append(a, c.A), append(b, c.B)
		}
	})
	if len(l) < 20 {
		return colour.Lab{}, false
	}
	mid := func(v []float64) float64 { slices.Sort(v); return v[len(v)/2] }
	return colour.Lab{L: mid(l), A: mid(a), B: mid(b)}, true
}
