package camera

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"

	"offtype/measure/geom"
)

// Homography is a projective map of the plane, row by row, last entry 1 where that is possible.
type Homography [9]float64

// Apply maps (x, y).
func (h *Homography) Apply(x, y float64) (u, v float64) {
	w := h[6]*x + h[7]*y + h[8]
	return (h[0]*x + h[1]*y + h[2]) / w, (h[3]*x + h[4]*y + h[5]) / w
}

// FitHomography returns the map from the plane points to the pixels that is best in the sense of
// the normalised direct linear transform. n ≥ 4 points, no three of four on a line, else ok is false.
//
// Source: Hartley, Zisserman, Multiple View Geometry (2004), algorithm 4.2.
func FitHomography(plane [][2]float64, px []geom.Px) (h Homography, ok bool) {
	if len(plane) < 4 || len(plane) != len(px) {
		return h, false
	}
	img := make([][2]float64, len(px))
	for i, p := range px {
		img[i] = [2]float64{p.X, p.Y}
	}
	sa, ca := spread(plane)
	sb, cb := spread(img)
	if sa == 0 || sb == 0 {
		return h, false
	}
	m := mat.NewDense(2*len(px), 9, nil)
	for i := range plane {
		x, y := (plane[i][0]-ca[0])/sa, (plane[i][1]-ca[1])/sa
		u, v := (img[i][0]-cb[0])/sb, (img[i][1]-cb[1])/sb
		m.SetRow(2*i, []float64{x, y, 1, 0, 0, 0, -u * x, -u * y, -u})
		m.SetRow(2*i+1, []float64{0, 0, 0, x, y, 1, -v * x, -v * y, -v})
	}
	var mtm mat.SymDense
	mtm.SymOuterK(1, m.T())
	var eig mat.EigenSym
	if !eig.Factorize(&mtm, true) {
		return h, false
	}
	ev := eig.Values(nil)
	if ev[1] < 1e-10*ev[8] {
		return h, false // two null directions: points on a line
	}
	var vec mat.Dense
	eig.VectorsTo(&vec)
	n := mat.NewDense(3, 3, nil)
	for i := 0; i < 9; i++ {
		n.Set(i/3, i%3, vec.At(i, 0))
	}
	ta := mat.NewDense(3, 3, []float64{1 / sa, 0, -ca[0] / sa, 0, 1 / sa, -ca[1] / sa, 0, 0, 1})
	tb := mat.NewDense(3, 3, []float64{sb, 0, cb[0], 0, sb, cb[1], 0, 0, 1})
	var r mat.Dense
	r.Product(tb, n, ta)
	d := r.At(2, 2)
	if math.Abs(d) < 1e-14 {
		d = 1
	}
	for i := range h {
		h[i] = r.At(i/3, i%3) / d
	}
	return h, true
}

// spread returns the centroid and the mean distance from it over √2.
func spread(p [][2]float64) (s float64, c [2]float64) {
	n := float64(len(p))
	for _, q := range p {
		c[0] += q[0] / n
		c[1] += q[1] / n
	}
	for _, q := range p {
		s += math.Hypot(q[0]-c[0], q[1]-c[1]) / n / math.Sqrt2
	}
	return s, c
}

// FromHomography returns the undistorted camera with the given focal length and principal point
// that sees the table plane through h; ok is false when h shows the plane from behind.
func FromHomography(h Homography, focal, cx, cy float64) (c Camera, ok bool) {
	col := func(j int) geom.Vec3 {
		return geom.Vec3{X: (h[j] - cx*h[6+j]) / focal, Y: (h[3+j] - cy*h[6+j]) / focal, Z: h[6+j]}
	}
	a, b, t := col(0), col(1), col(2)
	k := 2 / (a.Norm() + b.Norm())
	if t.Z < 0 {
		k = -k
	}
	a, b, t = a.Scale(k), b.Scale(k), t.Scale(k)
	// the nearest pair of perpendicular unit vectors, symmetrically in a and b
	s, d := a.Add(b), a.Sub(b)
	n := a.Cross(b).Unit()
	s = s.Unit()
	d = d.Sub(s.Scale(d.Dot(s))).Unit()
	r1, r2 := s.Add(d).Unit(), s.Sub(d).Unit()
	c = Camera{Focal: focal, CX: cx, CY: cy, T: t}
	for i, r := range [3]geom.Vec3{r1, r2, n} {
		c.R[0][i], c.R[1][i], c.R[2][i] = r.X, r.Y, r.Z
	}
	return c, t.Z > 0 && c.Centre().Z > 0
}

// mirrored returns the second camera that shows a small flat card nearly alike: the card's normal
// is mirrored about the line of sight to table point p.
func (c Camera) mirrored(p geom.Vec3) Camera {
	q := c.ToCamera(p)
	v := q.Unit()
	n := geom.Vec3{X: c.R[0][2], Y: c.R[1][2], Z: c.R[2][2]}
	ax := n.Cross(v.Scale(2 * n.Dot(v)).Sub(n))
	sin := ax.Norm()
	cos := 2*sq(n.Dot(v)) - 1
	if sin < 1e-9 {
		return c
	}
	ax = ax.Scale(math.Atan2(sin, cos) / sin)
	c.R = mul(expRot(ax.X, ax.Y, ax.Z), c.R)
	c.T = geom.Vec3{}
	c.T = q.Sub(c.ToCamera(p))
	return c
}

// begin sets the starting values: camera of each view from the first sheet's homography (the better
// of the two flat-card solutions after a short descent on that sheet), then the other sheets.
func (p *problem) begin(start []Camera) error {
	if err := p.check(); err != nil {
		return err
	}
	p.poses = make([]SheetPose, len(p.sheets))
	p.scale = make([]float64, len(p.views))
	for v := range p.views {
		p.scale[v] = 1
		offs := make([]float64, len(p.views[v].Offsets))
		for i, q := range p.views[v].Offsets {
			offs[i] = q.Mean
		}
		p.offs = append(p.offs, offs)
	}
	if len(start) == len(p.views) {
		p.cams = append([]Camera(nil), start...)
	} else {
		for v := range p.views {
			c, err := startCamera(&p.views[v])
			if err != nil {
				return err
			}
			p.cams = append(p.cams, c)
		}
	}
	for s := 1; s < len(p.sheets); s++ {
		if !p.startSheet(s) {
			return ErrFewPoints
		}
	}
	return nil
}

func startCamera(v *View) (Camera, error) {
	var plane [][2]float64
	var px []geom.Px
	only := View{Width: v.Width, Height: v.Height, Lens: v.Lens, Offsets: v.Offsets}
	var mid geom.Vec3
	for _, o := range v.Obs {
		if o.Sheet == 0 {
			only.Obs = append(only.Obs, o)
			plane = append(plane, [2]float64{o.X, o.Y})
			px = append(px, o.Px)
			mid = mid.Add(geom.Vec3{X: o.X, Y: o.Y})
		}
	}
	if len(px) < 4 {
		return Camera{}, ErrFewPoints
	}
	mid = mid.Scale(1 / float64(len(px)))
	h, ok := FitHomography(plane, px)
	if !ok {
		return Camera{}, ErrFewPoints
	}
	type try struct {
		p    *problem
		cost float64
	}
	var tries []try
	for _, k := range []float64{1, 0.8, 1.3} {
		if k != 1 && v.Lens.Focal.SD < 0.05*v.Lens.Focal.Mean {
			continue
		}
		c, ok := FromHomography(h, k*v.Lens.Focal.Mean, v.Lens.CX.Mean, v.Lens.CY.Mean)
		if !ok {
			continue
		}
		c.Width, c.Height, c.K1, c.K2 = v.Width, v.Height, v.Lens.K1.Mean, v.Lens.K2
		for _, c := range []Camera{c, c.mirrored(mid)} {
			p := &problem{views: []View{only}, sheets: []Sheet{{}}}
			if err := p.begin([]Camera{c}); err != nil {
				return Camera{}, err
			}
			if p.descend(10, 1e-4) == nil {
				tries = append(tries, try{p, p.cost()})
			}
		}
	}
	sort.SliceStable(tries, func(i, j int) bool { return tries[i].cost < tries[j].cost })
	best, bestCost := Camera{}, math.Inf(1)
	for i, t := range tries {
		if i > 2 && !math.IsInf(bestCost, 1) {
			break // the best three after ten steps go on
		}
		if t.p.descend(20, 1e-6) != nil {
			continue
		}
		if s := t.p.cost(); s < bestCost && t.p.cams[0].Centre().Z > 0 {
			best, bestCost = t.p.cams[0], s
		}
	}
	if math.IsInf(bestCost, 1) {
		return Camera{}, ErrDiverged
	}
	return best, nil
}

// startSheet lays sheet s on the plane by the rigid fit of its points' rays, from the first view
// that shows enough of it.
func (p *problem) startSheet(s int) bool {
	for v := range p.views {
		var a, b [][2]float64
		for _, o := range p.views[v].Obs {
			if o.Sheet != s {
				continue
			}
			if w, ok := p.cams[v].OnPlane(o.Px, 0); ok {
				a = append(a, [2]float64{o.X, o.Y})
				b = append(b, [2]float64{w.X, w.Y})
			}
		}
		if len(a) < 3 {
			continue
		}
		_, ca := spread(a)
		_, cb := spread(b)
		var re, im float64
		for i := range a {
			x, y := a[i][0]-ca[0], a[i][1]-ca[1]
			u, w := b[i][0]-cb[0], b[i][1]-cb[1]
			re += x*u + y*w
			im += x*w - y*u
		}
		t := math.Atan2(im, re)
		cs, sn := math.Cos(t), math.Sin(t)
		p.poses[s] = SheetPose{Turn: t, X: cb[0] - cs*ca[0] + sn*ca[1], Y: cb[1] - sn*ca[0] - cs*ca[1]}
		return true
	}
	return false
}
