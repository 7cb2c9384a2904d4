package body

import "math"

// profile is the radius of the body along its middle line as a smooth function with round ends.
//
//	ρ²(t) = ρ0²·4t(1−t)·exp(2·q(v)),  v = arccos(1−2t) ∈ [0, π]
//
// t runs from 0 at the stem end to 1 at the blossom end. q is a uniform cubic B-spline in v, mirrored
// at both ends, so that ρ² is a smooth function of t there and the tips are round; q = 0 everywhere
// is an ellipsoid of greatest radius ρ0. Outside [0, 1] ρ² is continued below zero, so that distances
// stay defined there.
type profile struct {
	rho0 float64   // mm
	c    []float64 // spline coefficients at v = kπ/(len−1)
}

// weights returns the first of four neighbouring knots and the cubic B-spline weights and their
// derivatives (per knot interval) at v.
func (p *profile) weights(v float64) (k int, w, dw [4]float64) {
	n := len(p.c) - 1
	x := v / math.Pi * float64(n)
	k = int(x)
	if k < 0 {
		k = 0
	}
	if k > n-1 {
		k = n - 1
	}
	u := x - float64(k)
	m := 1 - u
	w = [4]float64{m * m * m / 6, (3*u*u*u - 6*u*u + 4) / 6, (3*m*m*m - 6*m*m + 4) / 6, u * u * u / 6}
	dw = [4]float64{-m * m / 2, (3*u*u - 4*u) / 2, -(3*m*m - 4*m) / 2, u * u / 2}
	return k - 1, w, dw
}

// fold maps a knot number beyond the ends onto its mirror image.
func (p *profile) fold(k int) int {
	n := len(p.c) - 1
	if k < 0 {
		k = -k
	}
	if k > n {
		k = 2*n - k
	}
	return k
}

// angle returns v of station t, clamped to [0, π].
func angle(t float64) float64 {
	switch {
	case t <= 0:
		return 0
	case t >= 1:
		return math.Pi
	}
	return math.Acos(1 - 2*t)
}

// r2 returns ρ² in mm² and its derivative by t in mm².
func (p *profile) r2(t float64) (r2, d float64) {
	v := angle(t)
	k, w, dw := p.weights(v)
	q, qv := 0.0, 0.0
	for i := range w {
		c := p.c[p.fold(k+i)]
		q += w[i] * c
		qv += dw[i] * c
	}
	qv *= float64(len(p.c)-1) / math.Pi
	e := p.rho0 * p.rho0 * math.Exp(2*q)
	r2 = 4 * t * (1 - t) * e
	d = 4 * (1 - 2*t) * e
	if t > 0 && t < 1 {
		d += 8 * math.Sqrt(t*(1-t)) * qv * e
	}
	return r2, d
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
	k, w, _ := p.weights(angle(t))
	for i := range w {
		g[p.fold(k+i)] += f * w[i]
	}
}
