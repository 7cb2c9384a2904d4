// Package colour turns the pixels of a phone photo into CIELAB colours that a second camera, lamp
// and year would agree with.
//
// Colours. Lab is CIELAB with L* from 0 to 100, white D65, observer 2°, unless a name says D50. XYZ has
// Y = 1 for the perfect white. RGB is linear sRGB (IEC 61966-2-1 primaries), 1 for white; encoded values
// are the 0–255 numbers of the photo. A colour here is the reflectance colour of a matt surface as an
// instrument would read it, not the colour of the light that reached the camera.
//
// What it does not do: find the card, know files, or judge fruit.
package colour

import "math"

// Lab is a CIELAB colour: L* 0–100, a* and b* about −128 to 128.
type Lab struct{ L, A, B float64 }

// XYZ is a tristimulus value with Y = 1 for the perfect diffuser.
type XYZ struct{ X, Y, Z float64 }

// RGB is linear sRGB: 0 black, 1 white; out-of-gamut values may be negative or above 1.
type RGB [3]float64

// D65 and D50 are the white points, observer 2°, Y = 1.
// Source: ASTM E308 as quoted by common colour libraries (from memory: CIE 15 rounds to 95.04 100 108.88 and
// 96.42 100 82.51; the difference is below 0.01 in Lab).
var (
	D65 = XYZ{0.95047, 1, 1.08883}
	D50 = XYZ{0.96422, 1, 0.82521}
)

// Matrix is a 3×3 matrix, row by row.
type Matrix [3][3]float64

// Mul returns m·v.
func (m Matrix) Mul(v [3]float64) [3]float64 {
	var o [3]float64
	for i := range o {
		o[i] = m[i][0]*v[0] + m[i][1]*v[1] + m[i][2]*v[2]
	}
	return o
}

// rgbToXYZ is the matrix of IEC 61966-2-1:1999, four decimals; xyzToRGB is its inverse to ten.
var (
	rgbToXYZ = Matrix{{0.4124, 0.3576, 0.1805}, {0.2126, 0.7152, 0.0722}, {0.0193, 0.1192, 0.9505}}
	xyzToRGB = Matrix{
		{3.2406254773, -1.5372079722, -0.4986285987},
		{-0.9689307147, 1.8757560609, 0.0415175238},
		{0.0557101204, -0.2040210506, 1.0569959423},
	}
	bradford    = Matrix{{0.8951, 0.2664, -0.1614}, {-0.7502, 1.7135, 0.0367}, {0.0389, -0.0685, 1.0296}}
	bradfordInv = Matrix{
		{0.9869929055, -0.1470542564, 0.1599626517},
		{0.4323052697, 0.5183602715, 0.0492912282},
		{-0.0085286646, 0.0400428217, 0.9684866958},
	}
)

// Linear returns the linear value of an encoded sRGB value v (0–1); negative values mirror.
//
// Source: IEC 61966-2-1:1999, piecewise curve.
func Linear(v float64) float64 {
	if v < 0 {
		return -Linear(-v)
	}
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

// Encode is the inverse of Linear.
func Encode(v float64) float64 {
	if v < 0 {
		return -Encode(-v)
	}
	if v <= 0.0031308 {
		return 12.92 * v
	}
	return 1.055*math.Pow(v, 1/2.4) - 0.055
}

// XYZ returns the tristimulus value of linear sRGB c, white D65.
func (c RGB) XYZ() XYZ {
	v := rgbToXYZ.Mul(c)
	return XYZ{v[0], v[1], v[2]}
}

// RGB returns linear sRGB of x (white D65); not limited to the gamut.
func (x XYZ) RGB() RGB { return xyzToRGB.Mul([3]float64{x.X, x.Y, x.Z}) }

// cubeRoots tabulates the cube root from 0 to 1.25 in steps of 1/2048.
var cubeRoots = func() (c [2562]float64) {
	for i := range c {
		c[i] = math.Cbrt(float64(i) / 2048)
	}
	return c
}()

// cbrt is the cube root for values above 0.008: the table and one step of Halley's method, right to 1e-12.
func cbrt(t float64) float64 {
	u := t * 2048
	if u >= float64(len(cubeRoots)-1) {
		return math.Cbrt(t)
	}
	i := int(u)
	y := cubeRoots[i] + (u-float64(i))*(cubeRoots[i+1]-cubeRoots[i])
	y3 := y * y * y
	return y * (y3 + 2*t) / (2*y3 + t)
}

func labF(t float64) float64 {
	if t > 216.0/24389 {
		return cbrt(t)
	}
	return t*24389/27/116 + 16.0/116
}

func labFInv(f float64) float64 {
	if f > 6.0/29 {
		return f * f * f
	}
	return (f - 16.0/116) * 116 * 27 / 24389
}

// Lab returns the CIELAB colour of x under the white point w.
//
// Formula: L = 116 f(Y/Yw) − 16, a = 500 (f(X/Xw) − f(Y/Yw)), b = 200 (f(Y/Yw) − f(Z/Zw)).
// Source: ISO/CIE 11664-4.
func (x XYZ) Lab(w XYZ) Lab {
	fx, fy, fz := labF(x.X/w.X), labF(x.Y/w.Y), labF(x.Z/w.Z)
	return Lab{116*fy - 16, 500 * (fx - fy), 200 * (fy - fz)}
}

// XYZ is the inverse of XYZ.Lab.
func (l Lab) XYZ(w XYZ) XYZ {
	fy := (l.L + 16) / 116
	return XYZ{w.X * labFInv(fy+l.A/500), w.Y * labFInv(fy), w.Z * labFInv(fy-l.B/200)}
}

// Lab returns the CIELAB colour (D65) of linear sRGB c.
func (c RGB) Lab() Lab { return c.XYZ().Lab(D65) }

// RGB returns linear sRGB of a D65 colour, not limited to the gamut.
func (l Lab) RGB() RGB { return l.XYZ(D65).RGB() }

// SRGB255 returns the CIELAB colour (D65) of encoded sRGB values 0–255.
func SRGB255(r, g, b float64) Lab {
	return RGB{Linear(r / 255), Linear(g / 255), Linear(b / 255)}.Lab()
}

// Bytes returns the encoded sRGB of a D65 colour, cut to the gamut: for swatches only.
func (l Lab) Bytes() [3]uint8 {
	var o [3]uint8
	for i, v := range l.RGB() {
		o[i] = uint8(math.Round(255 * math.Max(0, math.Min(1, Encode(v)))))
	}
	return o
}

// Adapt moves x from white point from to white point to by the linear Bradford transform.
//
// Source: Lam 1985 as used by ICC.1; checked against published matrices in the tests.
func (x XYZ) Adapt(from, to XYZ) XYZ {
	c := bradford.Mul([3]float64{x.X, x.Y, x.Z})
	f := bradford.Mul([3]float64{from.X, from.Y, from.Z})
	t := bradford.Mul([3]float64{to.X, to.Y, to.Z})
	for i := range c {
		c[i] *= t[i] / f[i]
	}
	o := bradfordInv.Mul(c)
	return XYZ{o[0], o[1], o[2]}
}

// D50ToD65 and D65ToD50 convert CIELAB colours between the two white points (Bradford).
func D50ToD65(l Lab) Lab { return l.XYZ(D50).Adapt(D50, D65).Lab(D65) }

// D65ToD50 is the inverse of D50ToD65.
func D65ToD50(l Lab) Lab { return l.XYZ(D65).Adapt(D65, D50).Lab(D50) }

// Chroma returns C*ab.
func (l Lab) Chroma() float64 { return math.Hypot(l.A, l.B) }

// HueDeg returns h_ab in degrees, 0 along +a*, turning towards +b*, 0 ≤ h < 360; 0 for a grey.
func (l Lab) HueDeg() float64 {
	h := math.Atan2(l.B, l.A) * 180 / math.Pi
	if h < 0 {
		h += 360
	}
	return h
}
