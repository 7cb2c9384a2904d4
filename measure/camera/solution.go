package camera

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"

	"offtype/measure/geom"
)

// Solution is what Solve found.
type Solution struct {
	Camera  Camera      // of the first view
	Cameras []Camera    // one a view
	Sheets  []SheetPose // one a sheet; the first is the table frame itself
	Offsets [][]float64 // one list a view, px

	// RMS is the root mean square of the residuals that were not down-weighted to less than half,
	// px; one a view. Used counts those observations.
	RMS  []float64
	Used []int

	// Cov is the covariance of all parameters: ten for each view (ln focal, K1, CX, CY in px, turn
	// about the camera's own x, y, z in radians, camera centre X, Y, Z in mm), then four for each
	// sheet after the first (turn in radians; x, y, z in mm), then the offsets in px.
	Cov *mat.SymDense

	modes [][]float64 // of the first view, largest effect first
}

func (p *problem) solution() (*Solution, error) {
	a, _ := p.normal()
	n := a.SymmetricDim()
	var ch mat.Cholesky
	if !ch.Factorize(a) {
		return nil, ErrDiverged
	}
	var cov mat.SymDense
	if err := ch.InverseTo(&cov); err != nil {
		if _, warn := err.(mat.Condition); !warn {
			return nil, ErrDiverged
		}
	}
	p.unpin(&cov, n)
	s := &Solution{Camera: p.cams[0], Cameras: p.cams, Sheets: p.poses, Offsets: p.offs, Cov: &cov}
	for v := range p.views {
		sum, k := 0.0, 0
		for i := range p.views[v].Obs {
			o := &p.views[v].Obs[i]
			ra, rb := residual(o, project(&p.cams[v], p.poses[o.Sheet], o), p.off(v, o))
			if _, w := huber(math.Hypot(ra, rb) / p.scale[v]); w > 0.5 {
				sum += (ra*ra + rb*rb) * o.SD * o.SD
				k++
			}
		}
		s.RMS = append(s.RMS, math.Sqrt(sum/math.Max(1, float64(k))))
		s.Used = append(s.Used, k)
	}
	for _, c := range s.Cameras {
		if math.IsNaN(c.Focal) || c.Centre().Z <= 0 {
			return nil, ErrDiverged
		}
	}
	s.findModes()
	return s, nil
}

// unpin sets the variance of parameters held fixed to 0.
func (p *problem) unpin(cov *mat.SymDense, n int) {
	_, s0, o0 := p.size()
	zero := func(i int) {
		for j := 0; j < n; j++ {
			cov.SetSym(i, j, 0)
		}
	}
	for v := range p.views {
		l := &p.views[v].Lens
		for k, q := range []Prior{l.Focal, l.K1, l.CX, l.CY} {
			if q.SD == 0 {
				zero(v*nView + k)
			}
		}
		for i, q := range p.views[v].Offsets {
			if q.SD == 0 {
				zero(o0[v] + i)
			}
		}
	}
	for i := 1; i < len(p.sheets); i++ {
		if p.sheets[i].ZSD == 0 {
			zero(s0 + nSheet*(i-1) + 3)
		}
	}
}

// scaleAt returns the logarithm of the mm that a pixel step covers at px on the plane z, along x
// and along y of the picture.
func scaleAt(c *Camera, px geom.Px, z float64) (x, y float64) {
	const h = 2
	a, ok1 := c.OnPlane(px, z)
	b, ok2 := c.OnPlane(px.Add(geom.Px{X: h}), z)
	d, ok3 := c.OnPlane(px.Add(geom.Px{Y: h}), z)
	if !ok1 || !ok2 || !ok3 {
		return math.NaN(), math.NaN()
	}
	return math.Log(b.Sub(a).Norm() / h), math.Log(d.Sub(a).Norm() / h)
}

// findModes turns the covariance of the first view into independent changes of the camera, sorted
// by how much they change lengths over the frame at heights 0 and 60 mm.
func (s *Solution) findModes() {
	sub := mat.NewSymDense(nView, nil)
	for i := 0; i < nView; i++ {
		for j := i; j < nView; j++ {
			sub.SetSym(i, j, s.Cov.At(i, j))
		}
	}
	var eig mat.EigenSym
	// scaled so that no unit dominates
	d := make([]float64, nView)
	for i := range d {
		d[i] = math.Sqrt(math.Max(sub.At(i, i), 1e-30))
	}
	cor := mat.NewSymDense(nView, nil)
	for i := range d {
		for j := i; j < nView; j++ {
			cor.SetSym(i, j, sub.At(i, j)/d[i]/d[j])
		}
	}
	if !eig.Factorize(cor, true) {
		return
	}
	var vec mat.Dense
	eig.VectorsTo(&vec)
	root := mat.NewDense(nView, nView, nil) // root·rootᵀ = covariance
	for k, l := range eig.Values(nil) {
		for i := range d {
			root.Set(i, k, d[i]*vec.At(i, k)*math.Sqrt(math.Max(0, l)))
		}
	}
	// effect of each column of root on the scale over the frame, then its principal directions
	eff := mat.NewDense(2*2*25, nView, nil)
	c0 := s.Camera
	for k := 0; k < nView; k++ {
		move := mat.Col(nil, k, root)
		c1 := c0.moved(move)
		r := 0
		for _, z := range []float64{0, 60} {
			for g := 0; g < 25; g++ {
				p := geom.Px{X: float64(g%5) / 4 * float64(c0.Width-1), Y: float64(g/5) / 4 * float64(c0.Height-1)}
				x0, y0 := scaleAt(&c0, p, z)
				x1, y1 := scaleAt(&c1, p, z)
				for _, e := range []float64{x1 - x0, y1 - y0} {
					if !math.IsNaN(e) && !math.IsInf(e, 0) {
						eff.Set(r, k, e)
					}
					r++
				}
			}
		}
	}
	var svd mat.SVD
	if !svd.Factorize(eff, mat.SVDThin) {
		return
	}
	var v mat.Dense
	svd.VTo(&v)
	var m mat.Dense
	m.Mul(root, &v)
	type mode struct {
		move   []float64
		effect float64
	}
	var ms []mode
	for k, e := range svd.Values(nil) {
		ms = append(ms, mode{mat.Col(nil, k, &m), e})
	}
	sort.SliceStable(ms, func(i, j int) bool { return ms[i].effect > ms[j].effect })
	for _, q := range ms {
		s.modes = append(s.modes, q.move)
	}
}

// Modes returns up to n cameras of the first view, each one standard deviation away from Camera
// in an independent direction, those that change lengths most first. For a quantity m found
// with a camera, Σ (m(mode) − m(Camera))² is its variance from the camera.
func (s *Solution) Modes(n int) []Camera {
	var out []Camera
	for i := 0; i < n && i < len(s.modes); i++ {
		out = append(out, s.Camera.moved(s.modes[i]))
	}
	return out
}

// SD returns the standard deviations of focal length (px), K1 and camera height (mm) of the first view.
func (s *Solution) SD() (focalPx, k1, heightMM float64) {
	r := func(i int) float64 { return math.Sqrt(math.Max(0, s.Cov.At(i, i))) }
	return r(0) * s.Camera.Focal, r(1), r(9)
}
