package camera

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"offtype/measure/geom"
)

// normal returns the weighted normal equations JᵀJ·d = g, priors included.
func (p *problem) normal() (*mat.SymDense, []float64) {
	n, s0, o0 := p.size()
	a := mat.NewSymDense(n, nil)
	g := make([]float64, n)
	for v := range p.views {
		p.viewNormal(v, s0, o0[v], a, g)
		l, c := &p.views[v].Lens, &p.cams[v]
		b := v * nView
		addPrior(a, g, b, logz(c.Focal, l.Focal), l.Focal.SD/math.Max(l.Focal.Mean, 1e-9))
		addPrior(a, g, b+1, zscore(c.K1, l.K1), l.K1.SD)
		addPrior(a, g, b+2, zscore(c.CX, l.CX), l.CX.SD)
		addPrior(a, g, b+3, zscore(c.CY, l.CY), l.CY.SD)
		for i, q := range p.views[v].Offsets {
			addPrior(a, g, o0[v]+i, zscore(p.offs[v][i], q), q.SD)
		}
	}
	for i := 1; i < len(p.sheets); i++ {
		b := s0 + nSheet*(i-1)
		addPrior(a, g, b+3, zscore(p.poses[i].Z, Prior{0, p.sheets[i].ZSD}), p.sheets[i].ZSD)
	}
	return a, g
}

// addPrior adds (z)² with dz/dx = 1/sd; sd 0 pins the parameter.
func addPrior(a *mat.SymDense, g []float64, i int, z, sd float64) {
	if sd == 0 {
		for j := range g {
			a.SetSym(i, j, 0)
		}
		a.SetSym(i, i, 1)
		g[i] = 0
		return
	}
	a.SetSym(i, i, a.At(i, i)+1/(sd*sd))
	g[i] -= z / sd
}

func (p *problem) viewNormal(v, s0, o0 int, a *mat.SymDense, g []float64) {
	c := &p.cams[v]
	w0 := 1 / p.scale[v]
	raw := a.RawSymmetric()
	turns := p.turns()
	var j jacobian
	for i := range p.views[v].Obs {
		o := &p.views[v].Obs[i]
		q := j.fill(c, &turns[o.Sheet], o, v*nView, s0)
		if o.Offset > 0 {
			j.put(o0+o.Offset-1, -1/o.SD, 0)
		}
		ra, rb := residual(o, q, p.off(v, o))
		_, wa := huber(ra * w0)
		_, wb := huber(rb * w0)
		wa, wb = wa*w0*w0, wb*w0*w0
		for r := 0; r < j.m; r++ {
			x, y := wa*j.x[r], wb*j.y[r]
			at := j.at[r]
			g[at] -= x*ra + y*rb
			for s := 0; s <= r; s++ { // the places rise: this is the upper triangle
				raw.Data[j.at[s]*raw.Stride+at] += x*j.x[s] + y*j.y[s]
			}
		}
	}
}

// turned is a sheet's pose with the sine and cosine of its turn.
type turned struct {
	SheetPose
	cos, sin float64
}

func (s *turned) toTable(x, y float64) geom.Vec3 {
	return geom.Vec3{X: s.X + s.cos*x - s.sin*y, Y: s.Y + s.sin*x + s.cos*y, Z: s.Z}
}

func (p *problem) turns() []turned {
	out := make([]turned, len(p.poses))
	for i, s := range p.poses {
		out[i] = turned{s, math.Cos(s.Turn), math.Sin(s.Turn)}
	}
	return out
}

// jacobian holds how the residuals of one observation change with the parameters at the places `at`, which rise.
type jacobian struct {
	at   [nView + nSheet + 1]int
	x, y [nView + nSheet + 1]float64
	m    int
}

func (j *jacobian) put(at int, x, y float64) {
	j.at[j.m], j.x[j.m], j.y[j.m] = at, x, y
	j.m++
}

// fill sets j to the derivatives of o's residuals with respect to camera c (places from view on, in the order of
// Solution.Cov) and its sheet (places from sheets on), and returns o's pixel.
//
// With q = R·(P − C): turning the camera moves q by w × q, moving its centre by −R·dC, moving P by R·dP.
func (j *jacobian) fill(c *Camera, s *turned, o *Obs, view, sheets int) geom.Px {
	j.m = 0
	q := c.ToCamera(s.toTable(o.X, o.Y))
	if q.Z <= 0 {
		nan := math.NaN()
		for k := 0; k < nView; k++ {
			j.put(view+k, nan, nan)
		}
		return geom.Px{X: nan, Y: nan}
	}
	x, y := q.X/q.Z, q.Y/q.Z
	r2 := x*x + y*y
	k := 1 + r2*(c.K1+r2*c.K2)
	dk := 2 * (c.K1 + 2*r2*c.K2)
	uu, uv, vv := c.Focal*(k+x*x*dk), c.Focal*x*y*dk, c.Focal*(k+y*y*dk)
	put := func(at int, du, dv float64) {
		if o.Normal != (geom.Px{}) {
			du, dv = du*o.Normal.X+dv*o.Normal.Y, 0
		}
		j.put(at, -du/o.SD, -dv/o.SD)
	}
	move := func(at int, dx, dy, dz float64) { // a change of q
		px, py := (dx-x*dz)/q.Z, (dy-y*dz)/q.Z
		put(at, uu*px+uv*py, uv*px+vv*py)
	}
	put(view, c.Focal*x*k, c.Focal*y*k)
	put(view+1, c.Focal*x*r2, c.Focal*y*r2)
	put(view+2, 1, 0)
	put(view+3, 0, 1)
	move(view+4, 0, -q.Z, q.Y)
	move(view+5, q.Z, 0, -q.X)
	move(view+6, -q.Y, q.X, 0)
	r := &c.R
	for i := 0; i < 3; i++ {
		move(view+7+i, -r[0][i], -r[1][i], -r[2][i])
	}
	if o.Sheet > 0 {
		at := sheets + nSheet*(o.Sheet-1)
		tx, ty := -s.sin*o.X-s.cos*o.Y, s.cos*o.X-s.sin*o.Y
		move(at, r[0][0]*tx+r[0][1]*ty, r[1][0]*tx+r[1][1]*ty, r[2][0]*tx+r[2][1]*ty)
		for i := 0; i < 3; i++ {
			move(at+1+i, r[0][i], r[1][i], r[2][i])
		}
	}
	return geom.Px{X: c.Focal*x*k + c.CX, Y: c.Focal*y*k + c.CY}
}
