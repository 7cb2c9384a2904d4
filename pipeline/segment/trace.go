package segment

import (
	"math"

	"offtype/measure/geom"
)

// contour returns the longest closed line field = level (marching squares, linear interpolation),
// in grid coordinates, or nil. field is w × h; outside counts as 0. Inside lies on its right hand
// on the screen (clockwise).
func contour(field []float32, w, h int, level float32) []geom.Px {
	at := func(x, y int) float32 {
		if x < 0 || y < 0 || x >= w || y >= h {
			return 0
		}
		return field[y*w+x]
	}
	// A node is an edge of the grid: horizontal (x,y)-(x+1,y) or vertical (x,y)-(x,y+1), numbered
	// 2·((y+1)·wide + x+1), one more when vertical. next holds the node that follows, 0 none.
	wide := w + 2
	next := make([]int32, 2*wide*(h+2))
	above, below := make([]bool, wide), make([]bool, wide) // which of a row's values lie over the level
	for y := -1; y < h; y++ {
		above, below = below, above
		clear(below)
		if y+1 < h {
			for x, v := range field[(y+1)*w:][:w] {
				below[x+1] = v > level
			}
		}
		for x := range w + 1 { // the square from x−1 to x
			a, b, c, d := above[x], above[x+1], below[x+1], below[x]
			if a == b && b == c && c == d {
				continue
			}
			k := 0
			for i, v := range [4]bool{a, b, c, d} {
				if v {
					k |= 1 << i
				}
			}
			top := int32(2 * ((y+1)*wide + x))
			right, bottom, left := top+3, top+2*int32(wide), top+1
			switch k {
			case 1:
				next[top] = left
			case 2:
				next[right] = top
			case 3:
				next[right] = left
			case 4:
				next[bottom] = right
			case 5:
				next[top], next[bottom] = left, right
			case 6:
				next[bottom] = top
			case 7:
				next[bottom] = left
			case 8:
				next[left] = bottom
			case 9:
				next[top] = bottom
			case 10:
				next[right], next[left] = top, bottom
			case 11:
				next[right] = bottom
			case 12:
				next[left] = right
			case 13:
				next[top] = right
			case 14:
				next[left] = top
			}
		}
	}
	place := func(n int32) geom.Px {
		x, y := int(n/2)%wide-1, int(n/2)/wide-1
		a := float64(at(x, y))
		if n%2 == 0 {
			b := float64(at(x+1, y))
			return geom.Px{X: float64(x) + (float64(level)-a)/(b-a), Y: float64(y)}
		}
		b := float64(at(x, y+1))
		return geom.Px{X: float64(x), Y: float64(y) + (float64(level)-a)/(b-a)}
	}
	var best []geom.Px
	area := 0.0
	for s := range next {
		if next[s] == 0 {
			continue
		}
		var line []geom.Px
		for n := int32(s); next[n] != 0; { // each line is walked once
			line = append(line, place(n))
			n, next[n] = next[n], 0
		}
		if a := geom.Area(line); a > area {
			best, area = line, a
		}
	}
	if len(best) > 2 && geom.SignedArea(best) < 0 {
		for i, j := 0, len(best)-1; i < j; i, j = i+1, j-1 {
			best[i], best[j] = best[j], best[i]
		}
	}
	return best
}

// traceRegion returns the coarse outline of region r, photo px.
func (m *Maps) traceRegion(g *regions, r *region, im Image) []geom.Px {
	own := func(i int) float32 {
		switch l := g.label[i]; {
		case l == r.id:
			if m.Body[i] <= 0.5 { // filled or grown
				return 0.75
			}
			return m.Body[i]
		case l == 0:
			return min(m.Body[i], 0.5)
		default:
			return 0
		}
	}
	return m.traceField(own, func(i int) bool { return g.label[i] == r.id }, r.box, im)
}

// traceField traces the 0.5 line of value around the cells that in selects, all within b, photo px,
// clipped to the photo. Beyond the map the field goes on one cell, so that fruit at the frame reach it.
func (m *Maps) traceField(value func(i int) float32, in func(i int) bool, b box, im Image) []geom.Px {
	x0, y0, x1, y1 := b.x0, b.y0, b.x1, b.y1
	if x1 < x0 {
		return nil
	}
	x0, y0, x1, y1 = x0-2, y0-2, x1+2, y1+2
	w, h := x1-x0+1, y1-y0+1
	f := make([]float32, w*h)
	reach := make([]bool, w*h) // cells of the region and their neighbours: nothing else may join
	for y := range h {
		for x := range w {
			gx, gy := min(max(x+x0, 0), m.W-1), min(max(y+y0, 0), m.H-1)
			f[y*w+x] = value(gy*m.W + gx)
			if in(gy*m.W + gx) {
				for dy := -1; dy <= 1; dy++ {
					for dx := -1; dx <= 1; dx++ {
						if xx, yy := x+dx, y+dy; xx >= 0 && yy >= 0 && xx < w && yy < h {
							reach[yy*w+xx] = true
						}
					}
				}
			}
		}
	}
	for i := range f {
		if !reach[i] {
			f[i] = 0
		}
	}
	line := contour(f, w, h, 0.5)
	if len(line) < 4 {
		return nil
	}
	for i, p := range line {
		line[i] = m.toPhoto(p.X+float64(x0), p.Y+float64(y0))
	}
	line = smoothLine(geom.Resample(line, max(16, int(geom.Perimeter(line)/(0.5*m.Cell)))), 2.5)
	return clipFrame(line, im)
}

// smoothLine averages a closed, evenly spaced line with a Gaussian of sigma points, and puts back
// the area that this takes away.
func smoothLine(line []geom.Px, sigma float64) []geom.Px {
	n, r := len(line), int(math.Ceil(3*sigma))
	if n < 2*r+1 {
		return line
	}
	k := make([]float64, r+1)
	sum := 0.0
	for i := range k {
		k[i] = math.Exp(-float64(i*i) / (2 * sigma * sigma))
		sum += k[i]
		if i > 0 {
			sum += k[i]
		}
	}
	out := make([]geom.Px, n)
	for i := range line {
		p := line[i].Scale(k[0])
		for j := 1; j <= r; j++ {
			p = p.Add(line[(i+j)%n].Add(line[(i-j+n)%n]).Scale(k[j]))
		}
		out[i] = p.Scale(1 / sum)
	}
	grow := (geom.Area(line) - geom.Area(out)) / math.Max(geom.Perimeter(out), 1)
	nor := normals(out)
	for i := range out {
		out[i] = out[i].Add(nor[i].Scale(grow))
	}
	return out
}

// normals returns the unit outward normals of a closed line that turns clockwise on the screen.
func normals(line []geom.Px) []geom.Px {
	n := len(line)
	out := make([]geom.Px, n)
	for i := range line {
		t := line[(i+2)%n].Sub(line[(i-2+n)%n])
		if l := t.Norm(); l > 0 {
			out[i] = geom.Px{X: t.Y / l, Y: -t.X / l}
		}
	}
	return out
}

// clipFrame cuts a closed line at the photo's border (−0.5 … size − 0.5).
func clipFrame(line []geom.Px, im Image) []geom.Px {
	lim := [4]float64{-0.5, float64(im.Width) - 0.5, -0.5, float64(im.Height) - 0.5}
	for side := range 4 {
		dist := func(p geom.Px) float64 {
			v := p.X
			if side > 1 {
				v = p.Y
			}
			if side%2 == 0 {
				return v - lim[side]
			}
			return lim[side] - v
		}
		var out []geom.Px
		for i, p := range line {
			q := line[(i+1)%len(line)]
			dp, dq := dist(p), dist(q)
			if dp >= 0 {
				out = append(out, p)
			}
			if (dp >= 0) != (dq >= 0) {
				out = append(out, p.Add(q.Sub(p).Scale(dp/(dp-dq))))
			}
		}
		line = out
	}
	return line
}
