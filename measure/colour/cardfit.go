package colour

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Standard deviations the fit gives its residuals, in ΔE94-like units, and its priors. They are this
// program's own choice: a printed grey is neutral to about 0.7, a nominal colour is off by about 1.5 on a
// well-set printer and is down-weighted by the robust loss when it is off by more.
const (
	sdNeutral  = 0.6
	sdMeasured = 0.7
	sdNominal  = 1.3
	sdTable    = 0.15 // log light: texture of the table
	maxTable   = 25   // independent pieces of table that many samples are worth
)

// Places of the parameters.
const (
	pK = iota
	pGamma
	pBlack
	pM                 // nine numbers
	pFall  = pM + 9    // five numbers
	pTable = pFall + 5 // log luminance of the table
	nParam = pTable + 1
)

// cardFit is the least-squares problem of one photo.
type cardFit struct {
	frame    Frame
	use      []Sample
	u, v     []float64
	weight   []float64
	neutral  int
	scale    [3]float64 // reference white over camera light of the paper, first guess
	ref      []Lab
	leaveOut float64
	tables   int
}

func newCardFit(samples []Sample, f Frame) *cardFit {
	c := &cardFit{frame: f}
	papers := map[int]int{}
	for _, s := range samples {
		if s.Kind == Paper && !clipped(s) {
			papers[s.Card]++
		}
	}
	for _, s := range samples {
		if clipped(s) {
			continue
		}
		w := 1.0
		switch s.Kind {
		case Paper:
			w = math.Sqrt(math.Min(1, 3/float64(papers[s.Card])))
			c.neutral++
		case Neutral:
			c.neutral++
		case Table:
			c.tables++
		}
		u, v := f.norm(s.Place)
		c.use, c.u, c.v, c.ref, c.weight = append(c.use, s), append(c.u, u), append(c.v, v), append(c.ref, s.Ref), append(c.weight, w)
	}
	c.setScale()
	return c
}

// setScale guesses the white from the brightest neutral samples.
func (c *cardFit) setScale() {
	var ratio [3][]float64
	for i, s := range c.use {
		if s.Kind == Paper || (s.Kind == Neutral && c.ref[i].L > 60) {
			l := c.ref[i].RGB()
			for k := range l {
				ratio[k] = append(ratio[k], l[k]/math.Max(1e-3, Linear(s.RGB[k]/255)))
			}
		}
	}
	for k := range c.scale {
		c.scale[k] = median(ratio[k])
		if !(c.scale[k] > 0) {
			c.scale[k] = 1
		}
	}
}

// unpack turns parameters into tone curve, matrix and fall-off. The matrix works on scaled camera light.
func (c *cardFit) unpack(p []float64) (tone, Matrix, falloff) {
	var m Matrix
	for i := 0; i < 3; i++ {
		for j := 0; j < 3; j++ {
			m[i][j] = p[pM+3*i+j] * c.scale[j]
		}
	}
	return tone{math.Max(-0.6, math.Min(0.6, p[pK])), math.Exp(p[pGamma]), p[pBlack]}, m,
		falloff{p[pFall], p[pFall+1], p[pFall+2], p[pFall+3], p[pFall+4]}
}

// light returns the camera's linear light of sample i, fall-off taken out.
func (c *cardFit) light(i int, t tone, f falloff) [3]float64 {
	g := 1 / f.factor(c.u[i], c.v[i])
	var x [3]float64
	for k := range x {
		x[k] = t.linear(c.use[i].RGB[k]/255) * g
	}
	return x
}

// priors: mean and standard deviation of each parameter. Fall-off: lenses darken towards the corners.
func priors() (mu, sd [nParam]float64) {
	for i := range sd {
		sd[i] = math.Inf(1)
	}
	mu[pK], sd[pK] = 0.08, 0.15
	sd[pGamma] = 0.12
	sd[pBlack] = 0.006
	for i := 0; i < 3; i++ {
		for j := 0; j < 3; j++ {
			sd[pM+3*i+j] = 0.10
			if i == j {
				mu[pM+3*i+j], sd[pM+3*i+j] = 1, 0.3
			}
		}
	}
	mu[pFall], sd[pFall] = -0.08, 0.08
	sd[pFall+1], sd[pFall+2] = 0.08, 0.08
	sd[pFall+3], sd[pFall+4] = 0.04, 0.04
	return mu, sd
}

func (c *cardFit) residuals(p, out []float64) {
	t, m, f := c.unpack(p)
	n := 0
	tw := 0.0
	if c.tables > 0 {
		tw = math.Sqrt(math.Min(1, maxTable/float64(c.tables))) / sdTable
	}
	for i, s := range c.use {
		lin := RGB(m.Mul(c.light(i, t, f)))
		if s.Kind == Table {
			out[n] = (math.Log(math.Max(1e-4, lin.XYZ().Y)) - p[pTable]) * tw
			n++
			continue
		}
		d := labResidual(lin.Lab(), c.ref[i])
		w := c.weight[i] / c.sdOf(s)
		out[n], out[n+1], out[n+2] = d[0]*w, d[1]*w, d[2]*w
		n += 3
	}
	mu, sd := priors()
	for i := 0; i < nParam; i++ {
		out[n] = 0
		if !math.IsInf(sd[i], 1) {
			out[n] = (p[i] - mu[i]) / sd[i]
		}
		n++
	}
}

func (c *cardFit) sdOf(s Sample) float64 {
	switch {
	case s.Known:
		return sdMeasured
	case s.Kind == Chroma:
		return sdNominal
	}
	return sdNeutral
}

// labResidual returns the differences of got from want in lightness, chroma and hue, weighted as in ΔE94
// so that their length is near ΔE00.
func labResidual(got, want Lab) [3]float64 {
	c := want.Chroma()
	dL, da, db := got.L-want.L, got.A-want.A, got.B-want.B
	if c < 1e-6 {
		return [3]float64{dL, da, db}
	}
	ca, cb := want.A/c, want.B/c
	return [3]float64{dL, (da*ca + db*cb) / (1 + 0.045*c), (db*ca - da*cb) / (1 + 0.015*c)}
}

// run fits and returns the calibration without its report.
func (c *cardFit) run() *Calibration {
	mu, _ := priors()
	p := append([]float64(nil), mu[:]...)
	p[pTable] = c.tableStart()
	n := nParam
	var robust []bool
	for _, s := range c.use {
		if s.Kind == Table {
			n, robust = n+1, append(robust, true)
			continue
		}
		n, robust = n+3, append(robust, true, true, true)
	}
	for i := 0; i < nParam; i++ {
		robust = append(robust, false)
	}
	step := make([]float64, nParam)
	for i := range step {
		step[i] = 1e-5
	}
	q := &problem{residuals: c.residuals, n: n, robust: robust, step: step}
	x, r, jac, w := q.solve(p)
	t, m, f := c.unpack(x)
	c.leaveOut = c.looResidual(r, jac, w)
	return &Calibration{frame: c.frame, tone: t, lut: t.table(), m: m, fall: f}
}

func (c *cardFit) tableStart() float64 {
	var v []float64
	for _, s := range c.use {
		if s.Kind == Table {
			y := RGB{Linear(s.RGB[0]/255) * c.scale[0], Linear(s.RGB[1]/255) * c.scale[1], Linear(s.RGB[2]/255) * c.scale[2]}
			v = append(v, math.Log(math.Max(1e-4, y.XYZ().Y)))
		}
	}
	if len(v) == 0 {
		return 0
	}
	return median(v)
}

// looResidual returns the mean length of the patch residuals, each divided by 1 − leverage: what the patch
// would be off by if it had been left out (linearised).
func (c *cardFit) looResidual(r []float64, jac *mat.Dense, w []float64) float64 {
	a, _ := normal(jac, r, w)
	for i := 0; i < nParam; i++ {
		a.SetSym(i, i, a.At(i, i)+1e-9)
	}
	var ch mat.Cholesky
	if !ch.Factorize(a) {
		return math.NaN()
	}
	sum, cnt, n := 0.0, 0, 0
	for _, s := range c.use {
		if s.Kind == Table {
			n++
			continue
		}
		d := 0.0
		for k := 0; k < 3; k++ {
			row := mat.NewVecDense(nParam, append([]float64(nil), jac.RawRowView(n+k)...))
			var z mat.VecDense
			_ = ch.SolveVecTo(&z, row) // a condition warning only blurs this figure
			h := w[n+k] * mat.Dot(row, &z)
			e := r[n+k] / math.Max(0.1, 1-h)
			d += e * e
		}
		n += 3
		sum += math.Sqrt(d) * c.sdOf(s)
		cnt++
	}
	if cnt == 0 {
		return math.NaN()
	}
	return sum / float64(cnt)
}

// roots returns the root-polynomial terms of degree 2: √rg, √gb, √rb.
func roots(x [3]float64) [3]float64 {
	s := func(a, b float64) float64 { return math.Sqrt(math.Max(0, a) * math.Max(0, b)) }
	return [3]float64{s(x[0], x[1]), s(x[1], x[2]), s(x[0], x[2])}
}
