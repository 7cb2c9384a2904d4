package geom

import (
	"math"
	"slices"
	"sort"
)

// Area returns the area enclosed by the closed outline, px², always ≥ 0 (shoelace formula).
// outline: n ≥ 3 points, first point not repeated; fewer give 0.
func Area(outline []Px) float64 { return math.Abs(SignedArea(outline)) }

// SignedArea is positive when the outline turns from +x towards +y (clockwise on the screen).
func SignedArea(outline []Px) float64 {
	s := 0.0
	for i, p := range outline {
		s += p.Cross(outline[(i+1)%len(outline)])
	}
	return s / 2
}

// Perimeter returns the length of the closed outline, px.
func Perimeter(outline []Px) float64 {
	s := 0.0
	for i, p := range outline {
		s += outline[(i+1)%len(outline)].Sub(p).Norm()
	}
	return s
}

// Centroid returns the centre of the enclosed area, px; the mean of the points when the area is 0.
func Centroid(outline []Px) Px {
	var c Px
	a := 0.0
	for i, p := range outline {
		q := outline[(i+1)%len(outline)]
		w := p.Cross(q)
		a += w
		c = c.Add(p.Add(q).Scale(w))
	}
	if math.Abs(a) < 1e-12 {
		var m Px
		for _, p := range outline {
			m = m.Add(p)
		}
		return m.Scale(1 / math.Max(1, float64(len(outline))))
	}
	return c.Scale(1 / (3 * a))
}

// Contains reports whether p lies inside the closed outline (even-odd rule).
func Contains(outline []Px, p Px) bool {
	in := false
	for i, j := 0, len(outline)-1; i < len(outline); j, i = i, i+1 {
		a, b := outline[i], outline[j]
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X < (b.X-a.X)*(p.Y-a.Y)/(b.Y-a.Y)+a.X {
			in = !in
		}
	}
	return in
}

// Hull returns the convex hull of pts (monotone chain), turning from +x towards +y, first point
// not repeated. Collinear points are dropped.
func Hull(pts []Px) []Px {
	p := append([]Px(nil), pts...)
	sort.Slice(p, func(i, j int) bool { return p[i].X < p[j].X || (p[i].X == p[j].X && p[i].Y < p[j].Y) })
	if len(p) < 3 {
		return p
	}
	half := func(p []Px) []Px {
		var h []Px
		for _, q := range p {
			for len(h) > 1 && h[len(h)-1].Sub(h[len(h)-2]).Cross(q.Sub(h[len(h)-2])) <= 0 {
				h = h[:len(h)-1]
			}
			h = append(h, q)
		}
		return h[:len(h)-1]
	}
	lo := half(p)
	for i, j := 0, len(p)-1; i < j; i, j = i+1, j-1 {
		p[i], p[j] = p[j], p[i]
	}
	return append(lo, half(p)...)
}

// Resample returns n points evenly spaced along the closed outline, starting at its first point.
func Resample(outline []Px, n int) []Px {
	if len(outline) < 2 || n < 1 {
		return append([]Px(nil), outline...)
	}
	step := Perimeter(outline) / float64(n)
	out := make([]Px, 0, n)
	pos, next := 0.0, 0.0
	for i := 0; i < len(outline) && len(out) < n; i++ {
		a, b := outline[i], outline[(i+1)%len(outline)]
		l := b.Sub(a).Norm()
		for len(out) < n && next <= pos+l && l > 0 {
			out = append(out, a.Add(b.Sub(a).Scale((next-pos)/l)))
			next += step
		}
		pos += l
	}
	for len(out) < n {
		out = append(out, outline[len(outline)-1])
	}
	return out
}

// Bounds returns the smallest and greatest x and y of pts, px.
func Bounds(pts []Px) (lo, hi Px) {
	lo, hi = Px{math.Inf(1), math.Inf(1)}, Px{math.Inf(-1), math.Inf(-1)}
	for _, p := range pts {
		lo = Px{math.Min(lo.X, p.X), math.Min(lo.Y, p.Y)}
		hi = Px{math.Max(hi.X, p.X), math.Max(hi.Y, p.Y)}
	}
	return lo, hi
}

// Crossings appends the sorted places, px, at which the closed outline crosses row y: its inside lies between the first
// and the second, the third and the fourth, and so on.
func Crossings(v []float64, o []Px, y float64) []float64 {
	n := len(v)
	for k, a := range o {
		b := o[(k+1)%len(o)]
		if (a.Y > y) != (b.Y > y) {
			v = append(v, a.X+(b.X-a.X)*(y-a.Y)/(b.Y-a.Y))
		}
	}
	slices.Sort(v[n:])
	return v
}
