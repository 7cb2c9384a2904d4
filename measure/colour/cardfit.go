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
	sdPaper    = 0.006 // log light from place to place on a card's paper: print, warp
	maxPaper   = 12    // independent pieces of paper that many samples of one card are worth
)

// Places of the parameters.
const (
	pK = iota
	pGamma
	pBlack
	pM              // nine numbers
	pFall  = pM + 9 // five numbers
	nParam = pFall + nFall
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
	alike    []alike
	origin   [nFall]float64 // fall-off terms at the middle of the cards' paper

	lit   [][3]float64 // linear light of each sample under litBy, fall-off included
	litBy tone
	logs  []float64 // log luminance of each sample, scratch
}

func newCardFit(samples []Sample, f Frame) *cardFit {
	c := &cardFit{frame: f}
	papers, known := map[int]int{}, map[int]bool{}
	for _, s := range samples {
		known[s.Card] = known[s.Card] || s.Known
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
			if guessed(s, known) {
				w = 1e-3 // the card was measured but its paper was not: it only shows how even the light is
			}
			c.neutral++
		case Neutral:
			c.neutral++
		}
		u, v := f.norm(s.Place)
		c.use, c.u, c.v, c.ref, c.weight = append(c.use, s), append(c.u, u), append(c.v, v), append(c.ref, s.Ref), append(c.weight, w)
	}
	c.setScale()
	c.setAlike()
	return c
}

// guessed reports whether s is paper of unmeasured colour on a card of measured patches.
func guessed(s Sample, known map[int]bool) bool { return s.Kind == Paper && !s.Known && known[s.Card] }

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

// plain returns the colour of a sample as the photo shows it, read as sRGB, with the brightness set by the paper.
func (c *cardFit) plain(s Sample) Lab {
	g := RGB(c.scale).XYZ().Y
	return RGB{g * Linear(s.RGB[0]/255), g * Linear(s.RGB[1]/255), g * Linear(s.RGB[2]/255)}.Lab()
}

// alike is a set of samples of one material: their light, fall-off taken out, should be the same.
type alike struct {
	at []int
	sd float64 // of the log light of one of them
}

// setAlike collects the paper of each card, and the middle of the paper.
func (c *cardFit) setAlike() {
	var cards []int
	paper := map[int][]int{}
	n := 0.0
	for i, s := range c.use {
		switch s.Kind {
		case Paper, Neutral:
			for k, v := range terms(c.u[i], c.v[i]) {
				c.origin[k] += v
			}
			n++
			if s.Kind == Neutral {
				break
			}
			if paper[s.Card] == nil {
				cards = append(cards, s.Card)
			}
			paper[s.Card] = append(paper[s.Card], i)
		}
	}
	for k := range c.origin {
		c.origin[k] /= math.Max(1, n)
	}
	for _, k := range cards {
		sd := sdPaper * math.Sqrt(math.Max(1, float64(len(paper[k]))/maxPaper))
		c.alike = append(c.alike, alike{paper[k], sd})
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
		falloff{[nFall]float64(p[pFall : pFall+nFall]), c.origin}
}

// light returns the camera's linear light of sample i, fall-off taken out. Most steps of the fit leave the tone curve
// as it is, so that it is not evaluated again.
func (c *cardFit) light(i int, t tone, f falloff) [3]float64 {
	if c.lit == nil || c.litBy != t {
		if c.lit == nil {
			c.lit = make([][3]float64, len(c.use))
		}
		c.litBy = t
		for j := range c.use {
			for k, v := range c.use[j].RGB {
				c.lit[j][k] = t.linear(v / 255)
			}
		}
	}
	g := 1 / f.factor(c.u[i], c.v[i])
	x := c.lit[i]
	for k := range x {
		x[k] *= g
	}
	return x
}

// priors: mean and standard deviation of each parameter. Fall-off: lenses darken towards the corners.
func (c *cardFit) priors() (mu, sd [nParam]float64) {
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
	wide := c.frame.wide()
	mu[pFall], sd[pFall] = vignette, math.Hypot(0.08, 0.18*wide*wide)
	sd[pFall+1], sd[pFall+2] = 0.25*wide, 0.25*wide
	sd[pFall+3], sd[pFall+4] = 0.1*wide*wide, 0.1*wide*wide
	return mu, sd
}

func (c *cardFit) residuals(p, out []float64) {
	t, m, f := c.unpack(p)
	n := 0
	if c.logs == nil {
		c.logs = make([]float64, len(c.use))
	}
	logs := c.logs
	for i, s := range c.use {
		lin := RGB(m.Mul(c.light(i, t, f)))
		logs[i] = math.Log(math.Max(1e-4, lin.XYZ().Y))
		d := labResidual(lin.Lab(), c.ref[i])
		w := c.weight[i] / c.sdOf(s)
		out[n], out[n+1], out[n+2] = d[0]*w, d[1]*w, d[2]*w
		n += 3
	}
	for _, g := range c.alike {
		mid := 0.0
		for _, i := range g.at {
			mid += logs[i] / float64(len(g.at))
		}
		for _, i := range g.at {
			out[n] = (logs[i] - mid) / g.sd
			n++
		}
	}
	mu, sd := c.priors()
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
	mu, _ := c.priors()
	p := append([]float64(nil), mu[:]...)
	n := nParam
	var robust []bool
	for range c.use {
		n, robust = n+3, append(robust, true, true, true)
	}
	for _, g := range c.alike {
		for range g.at {
			n, robust = n+1, append(robust, true)
		}
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
	out := &Calibration{frame: c.frame, tone: t, lut: t.table(), m: m, fall: f}
	c.leaveOut, out.fallCov = c.spread(r, jac, w)
	return out
}

// spread returns the mean length of the patch residuals, each divided by 1 − leverage (what the patch would be off
// by had it been left out, linearised), and the covariance of the fall-off.
func (c *cardFit) spread(r []float64, jac *mat.Dense, w []float64) (leaveOut float64, cov [nFall][nFall]float64) {
	a, _ := normal(jac, r, w)
	for i := 0; i < nParam; i++ {
		a.SetSym(i, i, a.At(i, i)+1e-9)
	}
	var ch mat.Cholesky
	var inv mat.SymDense
	if !ch.Factorize(a) || ch.InverseTo(&inv) != nil {
		for i := range cov {
			cov[i][i] = 0.02
		}
		return math.NaN(), cov
	}
	for i := range cov {
		for j := range cov {
			cov[i][j] = inv.At(pFall+i, pFall+j)
		}
	}
	sum, cnt, n := 0.0, 0.0, 0
	for i, s := range c.use {
		d := 0.0
		for k := 0; k < 3; k++ {
			row := mat.NewVecDense(nParam, append([]float64(nil), jac.RawRowView(n+k)...))
			h := w[n+k] * mat.Inner(row, &inv, row)
			e := r[n+k] / math.Max(0.1, 1-h)
			d += e * e
		}
		n += 3
		if w2 := c.weight[i] * c.weight[i]; w2 > 1e-5 {
			sum += math.Sqrt(d/w2) * c.sdOf(s) * w2
			cnt += w2
		}
	}
	if cnt == 0 {
		return math.NaN(), cov
	}
	return sum / cnt, cov
}
