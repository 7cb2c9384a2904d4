package colour

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"offtype/measure/geom"
)

// Spot is the light found at one place of the picture on something of constant colour.
type Spot struct {
	Place geom.Px
	LogY  float64 // log luminance as calibrated; its level does not matter within a group
}

// Refine returns c with the fall-off of light improved by groups of places that should look alike, such as fruit
// of one colour; sd is how much one of them differs by itself (log light). Weighed against what the card and the
// table said; c is not changed. The white at the card stays as it is.
func (c *Calibration) Refine(groups [][]Spot, sd float64) *Calibration {
	if !c.Corrected {
		return c
	}
	prec, ok := c.fallPrecision()
	if !ok {
		return c
	}
	delta := make([]float64, nFall)
	var ch mat.Cholesky
	var inv mat.SymDense
	for it := 0; it < 5; it++ {
		a := mat.NewSymDense(nFall, nil)
		a.CopySym(prec)
		g := make([]float64, nFall)
		for _, spots := range groups {
			c.addGroup(spots, sd, delta, a, g)
		}
		if !ch.Factorize(a) || ch.InverseTo(&inv) != nil {
			return c
		}
		for i := range delta {
			delta[i] = 0
			for j := range g {
				delta[i] += inv.At(i, j) * g[j]
			}
		}
	}
	return c.moved(delta, &inv)
}

// fallPrecision is the inverse of the covariance of the fall-off's numbers.
func (c *Calibration) fallPrecision() (prec *mat.SymDense, ok bool) {
	cov := mat.NewSymDense(nFall, nil)
	for i := range c.fallCov {
		for j := i; j < nFall; j++ {
			cov.SetSym(i, j, c.fallCov[i][j])
		}
	}
	var ch mat.Cholesky
	prec = mat.NewSymDense(nFall, nil)
	return prec, ch.Factorize(cov) && ch.InverseTo(prec) == nil
}

// moved returns c with the fall-off's numbers changed by delta and their covariance.
func (c *Calibration) moved(delta []float64, cov *mat.SymDense) *Calibration {
	out := *c
	for i := range delta {
		out.fall.k[i] += delta[i]
		for j := range delta {
			out.fallCov[i][j] = cov.At(i, j)
		}
	}
	return &out
}

// addGroup adds the normal equations of one group, its level taken out, with Huber weights about delta.
func (c *Calibration) addGroup(spots []Spot, sd float64, delta []float64, a *mat.SymDense, g []float64) {
	if len(spots) < 2 {
		return
	}
	t := make([][nFall]float64, len(spots))
	res := make([]float64, len(spots))
	for i, s := range spots {
		u, v := c.frame.norm(s.Place)
		t[i] = terms(u, v)
		res[i] = s.LogY
		for k := range delta {
			res[i] -= delta[k] * t[i][k]
		}
	}
	m := median(res)
	w := make([]float64, len(spots))
	sum := 0.0
	for i := range w {
		w[i] = 1
		if r := math.Abs(res[i]-m) / sd; r > huber {
			w[i] = huber / r
		}
		sum += w[i]
	}
	var mt [nFall]float64
	my := 0.0
	for i := range spots {
		for k := range mt {
			mt[k] += w[i] * t[i][k] / sum
		}
		my += w[i] * spots[i].LogY / sum
	}
	for i := range spots {
		for k := 0; k < nFall; k++ {
			g[k] += w[i] * (t[i][k] - mt[k]) * (spots[i].LogY - my) / (sd * sd)
			for l := k; l < nFall; l++ {
				a.SetSym(k, l, a.At(k, l)+w[i]*(t[i][k]-mt[k])*(t[i][l]-mt[l])/(sd*sd))
			}
		}
	}
}

// FallU returns the expanded uncertainty (k = 2) of the log light at place p relative to the card.
func (c *Calibration) FallU(p geom.Px) float64 {
	u, v := c.frame.norm(p)
	t := terms(u, v)
	s := 0.0
	for i := range t {
		for j := range t {
			s += (t[i] - c.fall.origin[i]) * c.fallCov[i][j] * (t[j] - c.fall.origin[j])
		}
	}
	away := math.Min(1, math.Hypot(u-c.fall.origin[1], v-c.fall.origin[2]))
	return 2 * math.Sqrt(math.Max(0, s)+c.apart*c.apart*away*away)
}

// Gain returns the factor that turns reflectances given by c at place p into those given by d, when d came from
// c.Refine.
func (c *Calibration) Gain(d *Calibration, p geom.Px) float64 {
	u, v := c.frame.norm(p)
	return math.Exp(c.fall.log(u, v) - d.fall.log(u, v))
}

// Slope returns how steeply the light falls off across the middle of the picture, log light per px: what a lamp or a
// window near one side does, and neither sky nor sun. What falls off evenly from the middle (lenses) is not counted.
func (c *Calibration) Slope() float64 {
	d := math.Hypot(float64(c.frame.Width-1), float64(c.frame.Height-1)) / 2
	if !(d > 0) {
		return 0
	}
	return math.Hypot(c.fall.k[1], c.fall.k[2]) / d
}

// Expect returns c with the fall-off drawn towards an expected one: spots give the log light at places relative to the
// cards, all of them together good to sd; apart is what stays unsure half a diagonal away from the cards whatever they
// say. c is not changed, and is returned when nothing can be learnt.
func (c *Calibration) Expect(spots []Spot, sd, apart float64) *Calibration {
	sd *= math.Sqrt(float64(len(spots)))
	prec, ok := c.fallPrecision()
	if !c.Corrected || !ok {
		return c
	}
	g := mat.NewVecDense(nFall, nil)
	for _, s := range spots {
		u, v := c.frame.norm(s.Place)
		t := terms(u, v)
		y := s.LogY - c.fall.log(u, v)
		for i := range t {
			t[i] -= c.fall.origin[i]
		}
		for i := range t {
			g.SetVec(i, g.AtVec(i)+t[i]*y/(sd*sd))
			for j := i; j < nFall; j++ {
				prec.SetSym(i, j, prec.At(i, j)+t[i]*t[j]/(sd*sd))
			}
		}
	}
	var ch mat.Cholesky
	var delta mat.VecDense
	var cov mat.SymDense
	if !ch.Factorize(prec) || ch.SolveVecTo(&delta, g) != nil || ch.InverseTo(&cov) != nil {
		return c
	}
	out := c.moved(delta.RawVector().Data, &cov)
	out.apart = apart
	return out
}

// Vignette returns the log light that a lens is expected to lose at place p against the cards.
func (c *Calibration) Vignette(p geom.Px) float64 {
	u, v := c.frame.norm(p)
	return vignette * (terms(u, v)[0] - c.fall.origin[0])
}

// vignette is the log light lost at the corners.
const vignette = -0.10
