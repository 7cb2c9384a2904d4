package body

import "math"

// lowest returns the height of the body's lowest point above the table, mm, and its station.
func (m *model) lowest() (z, t float64) {
	f := m.lowestAt
	if !m.bent() { // the line rises evenly
		z0, slope, flat := m.fr.o.Z, m.fr.a.Z*m.mid.L, math.Sqrt(math.Max(0, 1-m.fr.a.Z*m.fr.a.Z))
		f = func(t float64) float64 { return z0 + slope*(t-0.5) - m.prof.radius(t)*flat }
	}
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

// support is how a lying body rests: the rise that its lower hull has about the centroid, whose place is known to
// centroidShare of the length only.
type support struct {
	rise  float64   // mean rise of the blossom end over where the centroid may be, rad
	sd    float64   // its standard deviation there, rad
	bulge float64   // curvature of the lower hull there × length of the body: 0 flat, 2 and more round
	span  float64   // width of the range, mm
	ends  [2]onHull // the hull at either end of the range
}

// onHull is a point of the lower hull between two stations.
type onHull struct {
	t   [2]float64
	rho [2]float64
	w   [2]float64 // weights of the two
}

const restStations = 60

// restAt are the stations at which the lower hull is taken, denser at the tips.
var restAt = func() (t [restStations + 1]float64) {
	for i := range t {
		t[i] = 0.5 - 0.5*math.Cos(math.Pi*float64(i)/restStations)
	}
	return t
}()

// solidNeck is how far the centroid is drawn from the shell's towards the middle of the length: the flesh of a neck
// is solid, that of a belly is not.
const solidNeck = 0.5

// rest finds how the body lies: a pear lies on its belly and its neck, so that its axis is tilted. The slope of the
// lower hull is averaged over where the centroid may be.
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
	g += solidNeck * ((x[0]+x[n])/2 - g)
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
	half := math.Sqrt(3) * centroidShare * m.mid.L
	lo, hi := g-half, g+half
	var s support
	mean, square := 0.0, 0.0
	for k := 0; k+1 < len(hull); k++ {
		i, j := hull[k], hull[k+1]
		a, b := math.Max(lo, x[i]), math.Min(hi, x[j])
		if a >= b {
			continue
		}
		slope := (z[j] - z[i]) / (x[j] - x[i])
		mean += slope * (b - a)
		square += slope * slope * (b - a)
		for e, at := range [2]float64{lo, hi} {
			if x[i] <= at && at < x[j] {
				u := (at - x[i]) / (x[j] - x[i])
				s.ends[e] = onHull{t: [2]float64{t[i], t[j]}, rho: [2]float64{-z[i], -z[j]}, w: [2]float64{1 - u, u}}
			}
		}
	}
	if s.span = hi - lo; !(s.span > 0) {
		return support{}
	}
	mean, square = mean/s.span, square/s.span
	s.rise = -math.Atan(mean)
	s.sd = math.Sqrt(math.Max(0, square-mean*mean))
	s.bulge = (hullSlope(hull, x[:], z[:], g+bulgeReach*m.mid.L) - hullSlope(hull, x[:], z[:], g-bulgeReach*m.mid.L)) / (2 * bulgeReach)
	return s
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
