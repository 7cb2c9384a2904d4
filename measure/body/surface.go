package body

import (
	"math"
	"sync"

	"offtype/measure/camera"
	"offtype/measure/geom"
)

// Nodes of a grid lie a 64th of the fruit apart, at least leastCell px: between them straight lines are right to a
// 4000th of the radius where the surface faces the camera.
const (
	leastCell = 4
	gridParts = 64
)

// node is a point of the surface seen in a view.
type node struct {
	ok          bool
	steep       bool // seen so obliquely that straight lines between nodes will not do
	s, eta, up  float64
	far         float64 // distance from the camera, mm
	point, norm geom.Vec3
}

// grid tables the surface as one camera sees it.
type grid struct {
	cam    camera.Camera
	once   sync.Once
	x0, y0 int
	w, h   int
	cell   int // px between nodes
	nodes  []node
}

// Surface returns the surface point seen at pixel p of cam: s from 0 at the stem end to 1 at the
// blossom end, theta the angle around the axis (rad, −π…π, 0 across the axis on the right when
// looking from the stem end with up upwards, π/2 on top of a lying fruit), the point and the outward
// unit normal in the table frame, mm. ok is false when the ray misses the body.
//
// cam is one of the fitted views' cameras for the tabled, fast answer (bilinear between nodes a
// 64th of the fruit apart, within 0.3 mm, and ray by ray near the rim); any other camera is answered ray by ray. Safe for concurrent use.
func (b *Body) Surface(cam *camera.Camera, p geom.Px) (s, theta float64, point, normal geom.Vec3, ok bool) {
	for _, g := range b.grids {
		if g.cam == *cam {
			g.once.Do(func() { b.fill(g) })
			return b.fromGrid(g, p)
		}
	}
	n := b.hit(cam, p)
	return n.s, math.Atan2(n.up, n.eta), n.point, n.norm, n.ok
}

// nearSkin is how near a ray comes to the skin from a neighbour's distance, mm.
const nearSkin = 1e-3

// hitBeside is hit where a neighbour that was hit lies at a known distance, mm.
func (b *Body) hitBeside(cam *camera.Camera, p geom.Px, far float64) node {
	o, d := cam.Ray(p)
	if !b.m.bent() {
		r := b.m.line(o, d)
		if s, l, ok := b.m.enter(&r, d, far, nearSkin); ok {
			return nodeOf(o, d, l, &s)
		}
	}
	return b.hit(cam, p)
}

// nodeOf is what the ray from o along unit d sees at distance l, where the body's spot is s.
func nodeOf(o, d geom.Vec3, l float64, s *spot) node {
	norm := s.grad.Unit()
	return node{
		ok: true, steep: norm.Dot(d) > -0.35, s: math.Min(1, math.Max(0, s.t)), eta: s.eta, up: s.up,
		far: l, point: o.Add(d.Scale(l)), norm: norm,
	}
}

// hit intersects the ray of p with the body, from the camera's side.
func (b *Body) hit(cam *camera.Camera, p geom.Px) node {
	o, d := cam.Ray(p)
	l1, _, s := b.m.graze(o, d, math.NaN(), 0)
	if s.g > 0 {
		return node{}
	}
	// from outside towards the deepest point: bisection, then Newton
	reach := math.Hypot(b.m.mid.L/2, b.m.prof.rho0) * 1.5
	l0 := l1 - reach
	// a first step that is surely outside but near, by a short walk back
	step := math.Sqrt(-s.g) + 2
	for l := l1 - step; l > l0; l -= step {
		if b.m.look(o.Add(d.Scale(l)), s.t).g > 0 {
			l0 = l
			break
		}
		l1 = l
	}
	l := (l0 + l1) / 2
	for i := 0; i < 30; i++ {
		s = b.m.look(o.Add(d.Scale(l)), s.t)
		if s.g > 0 {
			l0 = l
		} else {
			l1 = l
		}
		nl := l - s.g/s.grad.Dot(d)
		if !(nl > l0 && nl < l1) {
			nl = (l0 + l1) / 2
		}
		if math.Abs(nl-l) < 1e-4 {
			break
		}
		l = nl
	}
	return nodeOf(o, d, l, &s)
}

// fill computes the nodes over the view's outline and around it.
func (b *Body) fill(g *grid) {
	var outline []geom.Px
	for i := range b.views {
		if b.views[i].Camera == g.cam {
			outline = b.views[i].Outline
		}
	}
	lo, hi := geom.Bounds(outline)
	cell := max(leastCell, int(math.Max(hi.X-lo.X, hi.Y-lo.Y))/gridParts)
	g.cell = cell
	g.x0, g.y0 = int(math.Floor(lo.X))-cell, int(math.Floor(lo.Y))-cell
	g.w, g.h = int(hi.X-lo.X)/cell+4, int(hi.Y-lo.Y)/cell+4
	g.nodes = make([]node, g.w*g.h)
	spans := make([][]float64, g.h+2) // of the outline, from a row above
	for j := range spans {
		spans[j] = geom.Crossings(nil, outline, float64(g.y0+(j-1)*cell))
	}
	for j := range g.h {
		last := math.NaN()
		for i := range g.w {
			p := geom.Px{X: float64(g.x0 + i*cell), Y: float64(g.y0 + j*cell)}
			if !within(spans[j:j+3], p.X, float64(cell)) {
				continue // its neighbours are beside the fruit too
			}
			n := &g.nodes[j*g.w+i]
			if above := max(0, j-1)*g.w + i; math.IsNaN(last) && g.nodes[above].ok {
				last = g.nodes[above].far
			}
			if math.IsNaN(last) {
				*n = b.hit(&g.cam, p)
			} else {
				*n = b.hitBeside(&g.cam, p, last)
			}
			if last = math.NaN(); n.ok {
				last = n.far
			}
		}
	}
}

// within reports whether x lies in one of the rows' spans or within reach of its ends.
func within(rows [][]float64, x, reach float64) bool {
	for _, r := range rows {
		for i := 0; i+1 < len(r); i += 2 {
			if x >= r[i]-reach && x <= r[i+1]+reach {
				return true
			}
		}
	}
	return false
}

func (b *Body) fromGrid(g *grid, p geom.Px) (s, theta float64, point, normal geom.Vec3, ok bool) {
	fx, fy := (p.X-float64(g.x0))/float64(g.cell), (p.Y-float64(g.y0))/float64(g.cell)
	i, j := int(math.Floor(fx)), int(math.Floor(fy))
	if i < 0 || j < 0 || i+1 >= g.w || j+1 >= g.h {
		n := b.hit(&g.cam, p)
		return n.s, math.Atan2(n.up, n.eta), n.point, n.norm, n.ok
	}
	a, c := &g.nodes[j*g.w+i], &g.nodes[(j+1)*g.w+i]
	e, f := &g.nodes[j*g.w+i+1], &g.nodes[(j+1)*g.w+i+1]
	if !a.ok || !c.ok || !e.ok || !f.ok || a.steep || c.steep || e.steep || f.steep {
		n := b.hit(&g.cam, p)
		return n.s, math.Atan2(n.up, n.eta), n.point, n.norm, n.ok
	}
	u, v := fx-float64(i), fy-float64(j)
	wa, we, wc, wf := (1-u)*(1-v), u*(1-v), (1-u)*v, u*v
	mix := func(x func(*node) float64) float64 { return wa*x(a) + we*x(e) + wc*x(c) + wf*x(f) }
	s = wa*a.s + we*e.s + wc*c.s + wf*f.s
	eta := mix(func(n *node) float64 { return n.eta })
	up := mix(func(n *node) float64 { return n.up })
	point = a.point.Scale(wa).Add(e.point.Scale(we)).Add(c.point.Scale(wc)).Add(f.point.Scale(wf))
	normal = a.norm.Scale(wa).Add(e.norm.Scale(we)).Add(c.norm.Scale(wc)).Add(f.norm.Scale(wf)).Unit()
	return s, math.Atan2(up, eta), point, normal, true
}
