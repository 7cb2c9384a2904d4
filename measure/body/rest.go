package body

import "math"

// lowest returns the height of the body's lowest point above the table, mm, and its station.
func (m *model) lowest() (z, t float64) {
	f := m.lowestAt
	z = math.Inf(1)
	const n = 40
	for i := 0; i <= n; i++ {
		if v := f(float64(i) / n); v < z {
			z, t = v, float64(i)/n
		}
	}
	step := 1.0 / n
	for k := 0; k < 3; k++ { // parabola through three points, three times finer each
		a, b, c := f(t-step), f(t), f(t+step)
		if den := a - 2*b + c; den > 0 {
			if u := (a - c) / (2 * den); math.Abs(u) <= 1 {
				t += u * step
			}
		}
		step /= 4
	}
	if v := f(t); v < z {
		z = v
	}
	return z, t
}

// lowestAt returns the height of the lowest point of the ring at t, mm.
func (m *model) lowestAt(t float64) float64 {
	c, tan := m.centre(t)
	return c.Z - m.prof.radius(t)*math.Sqrt(math.Max(0, 1-tan.Z*tan.Z))
}

// support is the edge of the lower hull that a lying body rests on.
type support struct {
	rise   float64 // rise of the blossom end at rest, rad
	span   float64 // length of the edge / length of the body
	t1, t2 float64
	x1, x2 float64
	rho    [2]float64
	bulge  float64 // curvature of the lower hull there × length of the body: 0 flat, 2 and more round
}

const restStations = 60

// restAt are the stations at which the lower hull is taken, denser at the tips.
var restAt = func() (t [restStations + 1]float64) {
	for i := range t {
		t[i] = 0.5 - 0.5*math.Cos(math.Pi*float64(i)/restStations)
	}
	return t
}()

// rest finds the edge of the lower hull under the body's centroid: a pear lies on its belly and its
// neck, so that its axis is tilted. The centroid is that of the shell (squash are hollow, melons
// are not: a little to one side of the truth for either).
func (m *model) rest() support {
	const n = restStations
	t := &restAt
	var x, z [n + 1]float64
	sum, wsum := 0.0, 0.0
	for i := 0; i <= n; i++ {
		x[i], _, _, _ = m.mid.at(t[i])
		z[i] = -m.prof.radius(t[i])
		if i > 0 {
			dt, dz := t[i]-t[i-1], (z[i]-z[i-1])/m.mid.L
			w := -(z[i] + z[i-1]) * math.Sqrt(dt*dt+dz*dz)
			sum += w * (x[i] + x[i-1]) / 2
			wsum += w
		}
	}
	g := sum / wsum
	var room [n + 1]int
	hull := room[:0]
	for i := 0; i <= n; i++ {
		for len(hull) > 1 {
			p, q := hull[len(hull)-2], hull[len(hull)-1]
			if (x[q]-x[p])*(z[i]-z[p])-(z[q]-z[p])*(x[i]-x[p]) > 0 {
				break
			}
			hull = hull[:len(hull)-1]
		}
		hull = append(hull, i)
	}
	for k := 0; k+1 < len(hull); k++ {
		i, j := hull[k], hull[k+1]
		if x[i] <= g && g <= x[j] && x[j] > x[i] {
			s := support{t1: t[i], t2: t[j], x1: x[i], x2: x[j], rho: [2]float64{-z[i], -z[j]}}
			s.span = (x[j] - x[i]) / m.mid.L
			s.bulge = (hullSlope(hull, x[:], z[:], g+bulgeReach*m.mid.L) - hullSlope(hull, x[:], z[:], g-bulgeReach*m.mid.L)) / (2 * bulgeReach)
			s.rise = math.Atan((s.rho[1] - s.rho[0]) / (x[j] - x[i]))
			if s.span < 0.12 { // smooth underside: the slope under the centroid itself
				s.rise = -math.Atan(slopeAt(x[:], z[:], g))
			}
			return s
		}
	}
	return support{}
}

// bulgeReach is how far to either side of the centroid the hull's curvature is taken, share of length.
const bulgeReach = 0.1

// hullSlope returns the slope of the hull's edge at x; beyond the hull that of its last edge.
func hullSlope(hull []int, x, z []float64, at float64) float64 {
	k := 0
	for k+2 < len(hull) && x[hull[k+1]] < at {
		k++
	}
	i, j := hull[k], hull[k+1]
	if x[j] == x[i] {
		return 0
	}
	return (z[j] - z[i]) / (x[j] - x[i])
}

// slopeAt returns dz/dx at g from a parabola through the nearest three of the tabled points.
func slopeAt(x, z []float64, g float64) float64 {
	k := 1
	for k < len(x)-2 && math.Abs(x[k+1]-g) < math.Abs(x[k]-g) {
		k++
	}
	x0, x1, x2 := x[k-1], x[k], x[k+1]
	if x1 == x0 || x2 == x1 || x2 == x0 {
		return 0
	}
	d01, d12 := (z[k]-z[k-1])/(x1-x0), (z[k+1]-z[k])/(x2-x1)
	return d01 + (d12-d01)/(x2-x0)*(2*g-x0-x1)
}
