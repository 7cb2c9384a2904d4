package body

import "math"

// profile is the radius of the body along its middle line as a smooth function with round tips:
//
//	ρ(t) = ρ0·cap(t/c0)·cap((1−t)/c1)·exp(q(t)),  cap(x) = √(1 − (1−x)²) for x < 1, else 1
//
// t runs from 0 at the stem end to 1 at the blossom end. The tips are rounded, like half an ellipse,
// over the shares c0 and c1 ≤ ½ of the length; q is a uniform cubic B-spline in t. c0 = c1 = ½ and
// q = 0 is an ellipsoid of greatest radius ρ0. Outside [0, 1] ρ² is continued below zero, so that
// distances stay defined there.
type profile struct {
	rho0   float64   // mm
	c      []float64 // spline coefficients; knot k lies at t = (k−1)/(len−3)
	c0, c1 float64   // rounded shares

	part [fine]cubic // ρ0²·exp(2q) between t = i/fine and the next, mm²
	last float64     // the same at t = 1
}

// cubic is a0 + a1·u + a2·u² + a3·u³.
type cubic [4]float64

// at returns the value and the slope at u.
func (a *cubic) at(u float64) (v, d float64) {
	return a[0] + u*(a[1]+u*(a[2]+u*a[3])), a[1] + u*(2*a[2]+3*u*a[3])
}

// hermiteCubic is the cubic from a to b over a unit interval, with slopes da and db there.
func hermiteCubic(a, b, da, db float64) cubic {
	return cubic{a, da, 3*(b-a) - 2*da - db, 2*(a-b) + da + db}
}

const fine = 96 // intervals of the tabled smooth part; Hermite's cubic is right to 1e-5 there

// knotWeights are the spline's weights at a station of the table.
type knotWeights struct {
	k     int
	w, dw [4]float64
}

// tableWeights are those of a profile with knots coefficients at t = i/fine.
var tableWeights = func() (l [fine + 1]knotWeights) {
	p := profile{c: make([]float64, knots)}
	for i := range l {
		l[i].k, l[i].w, l[i].dw = p.weights(float64(i) / fine)
	}
	return l
}()

// build fills the table.
func (p *profile) build() {
	e0, per := p.rho0*p.rho0, 2*float64(len(p.c)-3)/fine
	var was, slope float64
	for i := range tableWeights {
		k := &tableWeights[i]
		c := p.c[k.k : k.k+4]
		q := k.w[0]*c[0] + k.w[1]*c[1] + k.w[2]*c[2] + k.w[3]*c[3]
		qt := k.dw[0]*c[0] + k.dw[1]*c[1] + k.dw[2]*c[2] + k.dw[3]*c[3]
		e := e0 * math.Exp(2*q)
		d := per * qt * e
		if i > 0 {
			p.part[i-1] = hermiteCubic(was, e, slope, d)
		}
		was, slope = e, d
	}
	p.last = was
}

// smooth returns ρ0²·exp(2q) at t and its derivative; constant beyond the ends.
func (p *profile) smooth(t float64) (e, d float64) {
	if !(t > 0) { // NaN too
		return p.part[0][0], 0
	}
	if t >= 1 {
		return p.last, 0
	}
	x := t * fine
	i := int(x)
	e, d = p.part[i].at(x - float64(i))
	return e, d * fine
}

// weights returns the first of four neighbouring knots and the cubic B-spline weights and their
// derivatives (per knot interval) at t, clamped to [0, 1].
func (p *profile) weights(t float64) (k int, w, dw [4]float64) {
	n := len(p.c) - 3
	x := math.Min(math.Max(t, 0), 1) * float64(n)
	if math.IsNaN(x) {
		x = 0
	}
	k = int(x)
	if k > n-1 {
		k = n - 1
	}
	u := x - float64(k)
	m := 1 - u
	w = [4]float64{m * m * m / 6, (3*u*u*u - 6*u*u + 4) / 6, (3*m*m*m - 6*m*m + 4) / 6, u * u * u / 6}
	dw = [4]float64{-m * m / 2, (3*u*u - 4*u) / 2, -(3*m*m - 4*m) / 2, u * u / 2}
	return k, w, dw
}

// cap2 returns cap² at t for a tip rounded over c, its derivative by t, and its logarithm's
// derivative by c times cap².
func cap2(t, c float64) (v, dt, dc float64) {
	if t >= c {
		return 1, 0, 0
	}
	w := 1 - t/c
	return (t / c) * (2 - t/c), 2 * w / c, -2 * w * t / (c * c)
}

// r2 returns ρ² in mm² and its derivative by t in mm².
func (p *profile) r2(t float64) (r2, d float64) {
	if t >= p.c0 && 1-t >= p.c1 { // the rule: no need to look for the ends
		x := t * fine
		i := min(int(x), fine-1)
		r2, d = p.part[i].at(x - float64(i))
		return r2, d * fine
	}
	e, de := p.smooth(t)
	a, da, _ := cap2(t, p.c0)
	b, db, _ := cap2(1-t, p.c1)
	return e * a * b, de*a*b + e*(da*b-a*db)
}

// byCaps returns ∂ρ²/∂c0 and ∂ρ²/∂c1 at t, mm².
func (p *profile) byCaps(t float64) (d0, d1 float64) {
	if t >= p.c0 && 1-t >= p.c1 {
		return 0, 0
	}
	e, _ := p.smooth(t)
	a, _, da := cap2(t, p.c0)
	b, _, db := cap2(1-t, p.c1)
	return e * da * b, e * a * db
}

// radius returns ρ in mm; 0 outside [0, 1].
func (p *profile) radius(t float64) float64 {
	if t <= 0 || t >= 1 {
		return 0
	}
	r2, _ := p.r2(t)
	return math.Sqrt(r2)
}

// addGrad adds f·∂q(t)/∂c to g, one entry a coefficient.
func (p *profile) addGrad(t, f float64, g []float64) {
	k, w, _ := p.weights(t)
	for i := range w {
		g[k+i] += f * w[i]
	}
}
