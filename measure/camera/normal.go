package camera

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"offtype/measure/geom"
)

var viewSteps = [nView]float64{1e-6, 1e-6, 1e-3, 1e-3, 1e-6, 1e-6, 1e-6, 1e-3, 1e-3, 1e-3}
var sheetSteps = [nSheet]float64{1e-6, 1e-3, 1e-3, 1e-3}

// normal returns the weighted normal equations JᵀJ·d = g, priors included, by central differences.
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
	c := p.cams[v]
	var plus, minus [nView]Camera
	for k := range plus {
		var d [nView]float64
		d[k] = viewSteps[k]
		plus[k] = c.moved(d[:])
		d[k] = -viewSteps[k]
		minus[k] = c.moved(d[:])
	}
	w0 := 1 / p.scale[v]
	for i := range p.views[v].Obs {
		o := &p.views[v].Obs[i]
		pose, off := p.poses[o.Sheet], p.off(v, o)
		var idx [nView + nSheet + 1]int
		var jx, jy [nView + nSheet + 1]float64
		m := 0
		put := func(at int, qp, qm geom.Px, h float64) {
			d := qp.Sub(qm).Scale(-1 / (2 * h * o.SD))
			if o.Normal != (geom.Px{}) {
				d = geom.Px{X: d.Dot(o.Normal)}
			}
			idx[m], jx[m], jy[m] = at, d.X, d.Y
			m++
		}
		for k := range plus {
			put(v*nView+k, project(&plus[k], pose, o), project(&minus[k], pose, o), viewSteps[k])
		}
		if o.Sheet > 0 {
			for k, h := range sheetSteps {
				put(s0+nSheet*(o.Sheet-1)+k, project(&c, pose.moved(k, h), o), project(&c, pose.moved(k, -h), o), h)
			}
		}
		if o.Offset > 0 {
			idx[m], jx[m], jy[m] = o0+o.Offset-1, -1/o.SD, 0
			m++
		}
		ra, rb := residual(o, project(&c, pose, o), off)
		_, wa := huber(ra * w0)
		_, wb := huber(rb * w0)
		wa, wb = wa*w0*w0, wb*w0*w0
		for r := 0; r < m; r++ {
			g[idx[r]] -= wa*jx[r]*ra + wb*jy[r]*rb
			for s := 0; s <= r; s++ {
				a.SetSym(idx[r], idx[s], a.At(idx[r], idx[s])+wa*jx[r]*jx[s]+wb*jy[r]*jy[s])
			}
		}
	}
}

func (s SheetPose) moved(k int, h float64) SheetPose {
	switch k {
	case 0:
		s.Turn += h
	case 1:
		s.X += h
	case 2:
		s.Y += h
	default:
		s.Z += h
	}
	return s
}
