package body

import (
	"math"

	"offtype/measure/camera"
	"offtype/measure/geom"
)

// plan is an outline laid flat at the height of the body's middle, mm.
type plan struct {
	pts   []geom.Vec3
	mid   geom.Vec3
	axis  float64 // direction of the longer principal axis, rad
	ratio float64 // longer / shorter principal spread
	z     float64
}

// planPoints is how many points of an outline are laid flat: a start needs no more.
const planPoints = 240

// layFlat projects the outline onto the plane at height z and takes its moments.
func layFlat(v *View, z float64) (plan, bool) {
	p := plan{z: z}
	outline := v.Outline
	if len(outline) > planPoints {
		outline = geom.Resample(outline, planPoints)
	}
	for _, o := range outline {
		w, ok := v.Camera.OnPlane(o, z)
		if !ok {
			return p, false
		}
		p.pts = append(p.pts, w)
	}
	// moments of the enclosed area as a fan of triangles about the first point
	o := p.pts[0]
	var a, sx, sy, xx, yy, xy float64
	for i := 1; i+1 < len(p.pts); i++ {
		u, w := p.pts[i].Sub(o), p.pts[i+1].Sub(o)
		t := (u.X*w.Y - u.Y*w.X) / 2
		a += t
		sx += t * (u.X + w.X) / 3
		sy += t * (u.Y + w.Y) / 3
		xx += t * (u.X*u.X + w.X*w.X + u.X*w.X) / 6
		yy += t * (u.Y*u.Y + w.Y*w.Y + u.Y*w.Y) / 6
		xy += t * (2*u.X*u.Y + 2*w.X*w.Y + u.X*w.Y + w.X*u.Y) / 12
	}
	if a == 0 {
		return p, false
	}
	mx, my := sx/a, sy/a
	cxx, cyy, cxy := xx/a-mx*mx, yy/a-my*my, xy/a-mx*my
	p.mid = geom.Vec3{X: o.X + mx, Y: o.Y + my, Z: z}
	p.axis = math.Atan2(2*cxy, cxx-cyy) / 2
	h, d := (cxx+cyy)/2, math.Hypot((cxx-cyy)/2, cxy)
	if h-d <= 0 {
		return p, false
	}
	p.ratio = math.Sqrt((h + d) / (h - d))
	return p, true
}

// extent returns the range of the plan along and across direction psi, from its centre.
func (p *plan) extent(psi float64) (lo, hi, side float64) {
	s, c := math.Sincos(psi)
	lo, hi = math.Inf(1), math.Inf(-1)
	a, b := math.Inf(1), math.Inf(-1)
	for _, q := range p.pts {
		d := q.Sub(p.mid)
		x, y := d.X*c+d.Y*s, -d.X*s+d.Y*c
		lo, hi = math.Min(lo, x), math.Max(hi, x)
		a, b = math.Min(a, y), math.Max(b, y)
	}
	return lo, hi, b - a
}

// flatten lays the outline flat at about half the body's height.
func flatten(v *View) (plan, bool) {
	p, ok := layFlat(v, 0)
	for i := 0; i < 2 && ok; i++ {
		_, _, w := p.extent(p.axis)
		p, ok = layFlat(v, 0.47*w)
	}
	return p, ok
}

// begin makes a first body with its axis along psi.
func (p *plan) begin(psi float64) *model {
	lo, hi, _ := p.extent(psi)
	s, c := math.Sincos(psi)
	l := hi - lo
	half := make([]float64, knots)
	rho0 := 0.0
	at := func(k int) float64 { return math.Min(math.Max(float64(k-1)/(knots-3), 0.03), 0.97) }
	for k := range half {
		half[k] = p.breadth(psi, lo+l*at(k)) / 2
		rho0 = math.Max(rho0, half[k])
	}
	par := make([]float64, pProfile+knots)
	m := (lo + hi) / 2
	par[pX], par[pY], par[pZ] = p.mid.X+m*c, p.mid.Y+m*s, rho0
	par[pYaw], par[pLen] = psi, l
	par[pCap0], par[pCap1] = math.Log(capShare), math.Log(capShare)
	for k := range half {
		a, _, _ := cap2(at(k), capShare)
		b, _, _ := cap2(1-at(k), capShare)
		if half[k] > 0 {
			par[pProfile+k] = math.Log(half[k] / (rho0 * math.Sqrt(a*b)))
		}
	}
	mod := newModel(par, knots, rho0, 0)
	mod.p[pRise] = mod.rest().rise
	mod.update()
	return mod
}

// breadth returns the width of the plan across psi at x along it, mm.
func (p *plan) breadth(psi, x float64) float64 {
	a, b := p.section(psi, x)
	return math.Max(0, b-a)
}

// section returns the least and greatest offset of the plan across psi at x along it, mm; the first
// is the greater when x lies beyond the plan.
func (p *plan) section(psi, x float64) (a, b float64) {
	s, c := math.Sincos(psi)
	a, b = math.Inf(1), math.Inf(-1)
	for i, q := range p.pts {
		r := p.pts[(i+1)%len(p.pts)]
		d, e := q.Sub(p.mid), r.Sub(p.mid)
		x0, x1 := d.X*c+d.Y*s, e.X*c+e.Y*s
		if (x0 > x) == (x1 > x) {
			continue
		}
		f := (x - x0) / (x1 - x0)
		y := (-d.X*s + d.Y*c) + f*((-e.X*s+e.Y*c)-(-d.X*s+d.Y*c))
		a, b = math.Min(a, y), math.Max(b, y)
	}
	return a, b
}

// arc fits a parabola y = k0 + k1·x + k2·x² to the middle of the plan along psi, mm, and returns it
// with the turn it makes from end to end, rad.
func (p *plan) arc(psi float64) (arc [3]float64, turn float64) {
	lo, hi, _ := p.extent(psi)
	var a [3][4]float64
	const n = 30
	for i := 0; i < n; i++ {
		x := lo + (hi-lo)*(0.06+0.88*float64(i)/(n-1))
		y0, y1 := p.section(psi, x)
		if y1 < y0 {
			continue
		}
		u := [3]float64{1, x, x * x}
		for r := range u {
			for c := range u {
				a[r][c] += u[r] * u[c]
			}
			a[r][3] += u[r] * (y0 + y1) / 2
		}
	}
	k, ok := solve3(a)
	if !ok {
		return k, 0
	}
	return k, math.Atan(k[1]+2*k[2]*hi) - math.Atan(k[1]+2*k[2]*lo)
}

// solve3 solves a positive definite 3×3 system by Gauss–Jordan elimination; the fourth column is the
// right side.
func solve3(a [3][4]float64) (x [3]float64, ok bool) {
	for c := 0; c < 3; c++ {
		if math.Abs(a[c][c]) < 1e-12 {
			return x, false
		}
		for r := 0; r < 3; r++ {
			if r == c {
				continue
			}
			f := a[r][c] / a[c][c]
			for j := c; j < 4; j++ {
				a[r][j] -= f * a[c][j]
			}
		}
	}
	for r := range x {
		x[r] = a[r][3] / a[r][r]
	}
	return x, true
}

// beginBent makes a first bent body from the arc along psi; share says how the turn is spread over
// the hats.
func (p *plan) beginBent(psi float64, share [bends]float64) *model {
	k, turn := p.arc(psi)
	lo, hi, _ := p.extent(psi)
	base := p.begin(psi)
	s, c := math.Sincos(psi)
	x := (lo + hi) / 2
	y := k[0] + k[1]*x + k[2]*x*x
	par := base.p
	par[pX], par[pY] = p.mid.X+x*c-y*s, p.mid.Y+x*s+y*c
	par[pYaw] = psi + math.Atan(k[1]+2*k[2]*hi)
	par[pLen] *= 1 + turn*turn/24 // arc over chord
	for _, f := range share {
		par = append(par, f*turn)
	}
	return newModel(par, base.nq, base.prof.rho0, 0)
}

// The noise of an outline that is believed lies in these bounds, px: fruit are not turned on a lathe and
// neighbouring points err together.
const (
	leastSigma = 0.5
	mostSigma  = 2
)

// rays turns a view's outline into at most n viewing rays. Each is the mean of its neighbourhood
// along the outline, so that no measured point is lost.
func rays(v *View, view, n int) []ray {
	pts := geom.Resample(v.Outline, 4*n)
	edge := nearestEdges(v, pts)
	sigma := v.SigmaPx
	if sigma <= 0 {
		sigma = 0.5
	}
	sigma = math.Min(math.Max(sigma, leastSigma), mostSigma)
	out := make([]ray, 0, n)
	base := besideStalk(v, pts, edge)
	for i := 0; i < n; i++ {
		at := smoothed(pts, 4*i)
		e := edge[4*i]
		r := newRay(&v.Camera, at)
		r.view, r.sigma, r.edge = view, sigma, e
		if e == geom.EdgeFree {
			r.sigma = math.Hypot(sigma, baseNoisePx*base[4*i])
		}
		out = append(out, r)
	}
	return out
}

// Beside a stalk's base the outline turns into the stalk's own: within baseReachPx of it every point errs by
// baseNoisePx more.
const (
	baseReachPx = 24
	baseNoisePx = 1.5
)

// besideStalk returns for each point of a closed outline how near the stalk's base is: 1 beside it, 0 at baseReachPx and beyond.
func besideStalk(v *View, pts []geom.Px, edge []geom.Edge) []float64 {
	n := len(pts)
	out := make([]float64, n)
	step := geom.Perimeter(pts) / float64(n)
	if step <= 0 {
		return out
	}
	for i, e := range edge {
		if e != geom.EdgeStalk {
			continue
		}
		for k := -int(baseReachPx / step); k <= int(baseReachPx/step); k++ {
			j := ((i+k)%n + n) % n
			out[j] = math.Max(out[j], 1-math.Abs(float64(k))*step/baseReachPx)
		}
	}
	return out
}

func newRay(c *camera.Camera, at geom.Px) ray {
	o, d := c.Ray(at)
	fwd := geom.Vec3{X: c.R[2][0], Y: c.R[2][1], Z: c.R[2][2]}
	return ray{o: o, d: d, zdir: d.Dot(fwd), focal: c.Focal, at: at, near: math.NaN()}
}

// smoothed is the mean of five neighbouring points with binomial weights.
func smoothed(p []geom.Px, i int) geom.Px {
	n := len(p)
	var s geom.Px
	for k, w := range [5]float64{1, 4, 6, 4, 1} {
		s = s.Add(p[(i+k-2+n)%n].Scale(w / 16))
	}
	return s
}

// nearestEdges gives each resampled point the edge of its nearest outline point.
func nearestEdges(v *View, pts []geom.Px) []geom.Edge {
	out := make([]geom.Edge, len(pts))
	if len(v.Edge) != len(v.Outline) {
		return out
	}
	j := 0
	n := len(v.Outline)
	for i, p := range pts {
		// both run along the outline in step: look a little ahead of the last match
		best, bj := math.Inf(1), j
		for k := 0; k < 40+n/len(pts); k++ {
			q := v.Outline[(j+k)%n].Sub(p)
			if d := q.Dot(q); d < best {
				best, bj = d, j+k
			}
		}
		j = bj
		out[i] = v.Edge[j%n]
	}
	return out
}
