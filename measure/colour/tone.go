package colour

import "math"

// tone is the camera's curve from light to encoded value, the same for the three channels:
//
//	y = e − k·sin(2πe)/2π with e = sRGB(max(0, x+black))^(1/gamma)
//
// k is the contrast of an S-shaped curve (0 none, below 1 it stays monotone), gamma a deviation from
// the sRGB curve, black the light added by flare (below 0: cut off).
type tone struct{ k, gamma, black float64 }

// linear returns the light x of an encoded value y (0–1).
func (t tone) linear(y float64) float64 {
	e := y
	if t.k != 0 {
		y = math.Max(0, math.Min(1, y))
		for i := 0; i < 12; i++ {
			f := e - t.k*math.Sin(2*math.Pi*e)/(2*math.Pi) - y
			d := 1 - t.k*math.Cos(2*math.Pi*e)
			if math.Abs(f) < 1e-9 || d < 1e-3 {
				break
			}
			e -= f / d
			e = math.Max(0, math.Min(1, e))
		}
	}
	x := Linear(e)
	if t.gamma != 1 && x > 0 {
		x = math.Pow(x, t.gamma)
	}
	return x - t.black
}

// lut is the tone curve tabulated for speed; lutN steps over 0–1 leave an error below 1e-6.
type lut []float64

const lutN = 4096

func (t tone) table() lut {
	l := make(lut, lutN+1)
	for i := range l {
		l[i] = t.linear(float64(i) / lutN)
	}
	return l
}

// at returns the linear value of an encoded value 0–255 by linear interpolation.
func (l lut) at(v float64) float64 {
	f := v / 255 * lutN
	if !(f > 0) {
		return l[0]
	}
	if f >= lutN {
		return l[lutN]
	}
	i := int(f)
	return l[i] + (f-float64(i))*(l[i+1]-l[i])
}

// falloff is how the light at the camera varies over the picture, as the logarithm of a factor that is 1 at the
// cards: radial (lens and lamp), linear (a lamp or window to one side) and two more of second order.
type falloff struct{ k, origin [nFall]float64 }

const nFall = 5

// terms returns the five terms at a place in half diagonals from the picture's middle.
func terms(u, v float64) [nFall]float64 { return [nFall]float64{u*u + v*v, u, v, u*u - v*v, u * v} }

func (f *falloff) log(u, v float64) float64 {
	s := 0.0
	for i, t := range terms(u, v) {
		s += f.k[i] * (t - f.origin[i])
	}
	return s
}

func (f *falloff) factor(u, v float64) float64 { return math.Exp(f.log(u, v)) }
