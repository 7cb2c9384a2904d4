package segment

import "offtype/measure/geom"

// refineStalk moves the stalk's outline to the photo's edge and takes away what it shares with the
// body: along the base both follow one line. A stalk that stands before its fruit (upright fruit)
// stays whole: there it is a hole in the visible body.
func (c *candidate) refineStalk(im Image, m *Maps, g *regions, t *tools, opt Options) {
	if len(c.stalk) < 8 {
		c.stalk = nil
		return
	}
	s := &candidate{reg: &region{id: c.reg.id, cells: max(1, int(geom.Area(c.stalk)/(m.Cell*m.Cell)))}}
	s.coarse = evenly(c.stalk, outlineStep(m))
	s.line = s.coarse
	inside := 0
	n := len(s.line)
	s.edge, s.other, s.sigma = make([]geom.Edge, n), make([]int32, n), make([]float64, n)
	for i, p := range s.line {
		switch {
		case onFrame(p, im, 0.75):
			s.edge[i] = geom.EdgeFrame
		case geom.Contains(c.line, p):
			inside++
		case distToLine(c.line, p) < 0.8*m.Cell:
			s.edge[i] = geom.EdgeStalk
		}
	}
	c.stalkBefore = inside > n/2
	if opt.Refine {
		s.refine(im, m, t, opt)
	}
	c.stalk = s.line
	if !c.stalkBefore {
		c.stalk = minus(s.line, c.line)
	}
}

// minus returns the greatest closed piece of a outside b, drawn on half-pixel steps; a itself when
// they do not meet.
func minus(a, b []geom.Px) []geom.Px {
	meet := false
	for _, p := range a {
		meet = meet || geom.Contains(b, p)
	}
	if !meet {
		return a
	}
	const k = 2
	zoom := func(l []geom.Px, lo geom.Px) []geom.Px {
		o := make([]geom.Px, len(l))
		for i, p := range l {
			o[i] = p.Sub(lo).Scale(k)
		}
		return o
	}
	w, h, lo := grid(a)
	w, h = k*w, k*h
	f := make([]float32, w*h)
	FillSpans(zoom(a, lo), w, h, func(y, x0, x1 int) {
		for x := x0; x < x1; x++ {
			f[y*w+x] = 1
		}
	})
	FillSpans(zoom(b, lo), w, h, func(y, x0, x1 int) {
		clear(f[y*w+x0 : y*w+x1])
	})
	line := contour(f, w, h, 0.5)
	if len(line) < 8 {
		return nil
	}
	for i, p := range line {
		line[i] = p.Scale(1. / k).Add(lo)
	}
	return evenly(line, 1)
}
