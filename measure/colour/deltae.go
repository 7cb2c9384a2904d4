package colour

import "math"

// DeltaE76 returns ΔE*ab of 1976, the straight distance in CIELAB.
func DeltaE76(x, y Lab) float64 {
	return math.Sqrt((x.L-y.L)*(x.L-y.L) + (x.A-y.A)*(x.A-y.A) + (x.B-y.B)*(x.B-y.B))
}

// DeltaE2000 returns the CIEDE2000 difference of x and y (no unit, 0 for equal colours).
//
// x and y: CIELAB, L* 0–100, same white point. kL = kC = kH = 1.
// When either chroma is 0 the hue difference is 0. Any NaN gives NaN.
//
// Source: Sharma, Wu, Dalal, Color Res. Appl. 30(1):21–30 (2005); agrees with its Table 1 to half the last
// printed digit.
func DeltaE2000(x, y Lab) float64 {
	const deg = math.Pi / 180
	c1, c2 := x.Chroma(), y.Chroma()
	cm7 := math.Pow((c1+c2)/2, 7)
	g := 0.5 * (1 - math.Sqrt(cm7/(cm7+6103515625))) // 25^7
	a1, a2 := (1+g)*x.A, (1+g)*y.A
	p1, p2 := math.Hypot(a1, x.B), math.Hypot(a2, y.B)
	h1, h2 := hue(a1, x.B), hue(a2, y.B)
	dL, dC := y.L-x.L, p2-p1
	dh, hm := 0.0, h1+h2
	if p1*p2 != 0 {
		dh = h2 - h1
		// Opposite hues differ by exactly π, which rounding must not push over (the source's pair 10).
		const limit = math.Pi + 1e-12
		far := math.Abs(dh) > limit
		switch {
		case dh > limit:
			dh -= 2 * math.Pi
		case dh < -limit:
			dh += 2 * math.Pi
		}
		switch {
		case !far:
			hm /= 2
		case hm < 2*math.Pi:
			hm = (hm + 2*math.Pi) / 2
		default:
			hm = (hm - 2*math.Pi) / 2
		}
	}
	dH := 2 * math.Sqrt(p1*p2) * math.Sin(dh/2)
	lm, pm := (x.L+y.L)/2, (p1+p2)/2
	t := 1 - 0.17*math.Cos(hm-30*deg) + 0.24*math.Cos(2*hm) + 0.32*math.Cos(3*hm+6*deg) - 0.20*math.Cos(4*hm-63*deg)
	dt := 30 * deg * math.Exp(-math.Pow((hm/deg-275)/25, 2))
	pm7 := math.Pow(pm, 7)
	rc := 2 * math.Sqrt(pm7/(pm7+6103515625))
	l50 := (lm - 50) * (lm - 50)
	sL := 1 + 0.015*l50/math.Sqrt(20+l50)
	sC, sH := 1+0.045*pm, 1+0.015*pm*t
	rt := -math.Sin(2*dt) * rc
	u, v, w := dL/sL, dC/sC, dH/sH
	return math.Sqrt(math.Max(0, u*u+v*v+w*w+rt*v*w))
}

// hue returns the angle of (a, b), 0 ≤ h < 2π, 0 at the origin.
func hue(a, b float64) float64 {
	if a == 0 && b == 0 {
		return 0
	}
	h := math.Atan2(b, a)
	if h < 0 {
		h += 2 * math.Pi
	}
	return h
}
