package body

import (
	"math"

	"offtype/measure/camera"
	"offtype/measure/geom"
)

const (
	// sharpen is how much smaller than by the law of propagation the fit's own share of a standard uncertainty
	// is: the priors' spreads leave room for odd fruit. Found on simulated fruit, whose coverage docs/body.md gives.
	sharpen = 0.7
	// obliqueTan is the slant (tangent, 38°) from which on a length is called too oblique: what no view shows is
	// then so much of it that odd tips tell. obliqueDoubt is how its standard deviation / length grows from there.
	obliqueTan   = 0.78
	obliqueDoubt = 0.055
	// roundness is the standard deviation of a diameter around the body / diameter: no fruit is turned on
	// a lathe.
	roundness = 0.003
	// lengthFloor is what small unevenness of the tips does to a length, standard deviation / length.
	lengthFloor = 0.0018
	// ribbedTips is the same for ribs, whose ends are not like those of the model, and nameless where no end has a name.
	ribbedTips = 0.006
	nameless   = 0.0031
	// roughTips is how many times the variance of the outline about the body a length has from its ends, tipsPx what
	// both err by besides, px, bothEnds how much less than two sides they lie off the edge as a whole (variance),
	// bluntDoubt how well is known what a tip is blunted by, and otherMinima the weight, for a length, of other bodies
	// that the outline allows: they are but those that the search came by.
	roughTips   = 0.4
	bothEnds    = 0.7
	tipsPx      = 0.29
	bluntDoubt  = 0.29
	otherMinima = 8.0
	// lengthShare is what the whole U of a length is of what the shares above say, which rough simulated fruit widen: so 94 % of
	// 373 rendered fruit on 33 photos lie within it.
	lengthShare = 0.93
)

// A tip seen at a slant beyond unmarkedTan (tangent) that no sure mark names may carry part of a stalk
// that the outline took along: unmarkedDoubt is what that does, standard deviation / length, and
// unmarkedSlant how it grows with the slant's tangent.
const (
	unmarkedTan   = 0.55
	unmarkedDoubt = 0.007
	unmarkedSlant = 0.02
)

// An outline as a whole may lie off the true edge by offsetPx and offsetShare of its stated noise, standard
// deviations, px: found on rendered fruit.
const (
	offsetPx    = 0.15
	offsetShare = 0.9
)

// offset is the standard uncertainty of where the outline's own edge lies, in the sharpest view, mm.
func (t *task) offset(m *model) float64 {
	best := math.Inf(1)
	for i := range t.views {
		best = math.Min(best, t.mmPerPx(m, i)*math.Hypot(offsetPx, offsetShare*t.views[i].SigmaPx))
	}
	return best
}

// mmPerPx is the size of a px of a view at the body's middle.
func (t *task) mmPerPx(m *model, view int) float64 {
	return m.fr.o.Sub(t.eyes[view]).Norm() / t.views[view].Camera.Focal
}

// sharpest is the size of a px at the body's middle in the view where it is least.
func (t *task) sharpest(m *model) float64 {
	mm := math.Inf(1)
	for i := range t.views {
		mm = math.Min(mm, t.mmPerPx(m, i))
	}
	return mm
}

// blurPx is over how much of its length an outline's points go together, px: a tip of radius of curvature R is
// blunted by blurPx²/2R, or mostBlunt of the length.
const (
	blurPx    = 5
	mostBlunt = 0.03
)

// blunted is the standard uncertainty of how much of a tip the outline cuts off, in the sharpest view, mm.
func (t *task) blunted(m *model, end int) float64 {
	c, l := m.prof.c0, m.mid.L
	if end == 1 {
		c = m.prof.c1
	}
	e, _ := m.prof.smooth(float64(end))
	mm := t.sharpest(m)
	return math.Min(mostBlunt*l, blurPx*blurPx*mm*mm*c*l/(2*e)) // R = e/(c·l)
}

// A tip on the rim is cut by cutShare of what blunted says, mean; that fades out towards cutTan, the tangent of a slant
// from which on the tip itself is not on the outline. Found on rendered roots, whose tips are cones.
const (
	cutShare = 0.6
	cutTan   = 0.45
)

// cutTips is by how much the outline's bluntness makes the body short, mm.
func (t *task) cutTips(m *model) float64 {
	sum := 0.0
	for end := range 2 {
		tan := t.slant(m, end) / cutTan
		sum += cutShare * t.blunted(m, end) * math.Max(0, 1-tan*tan)
	}
	return sum
}

// marked reports whether a sure mark names the end.
func (t *task) marked(m *model, end int) bool {
	for i := range t.marks {
		if k := &t.marks[i]; !k.either && m.nearPole(&t.views[k.view], k.at) == end {
			return true
		}
	}
	return false
}

// stationTraits are the places of the profile's diameters among the traits.
var stationTraits = func() []int {
	l := make([]int, profileStations)
	for i := range l {
		l[i] = qProfile + i
	}
	return l
}()

// uncertainty returns the expanded uncertainty (k = 2) of each trait: outline noise and priors by the
// law of propagation (JCGM 100:2008, 5.1.2), the perturbed cameras, unevenness and a stalk taken for a tip.
func (t *task) uncertainty(m *model, v []float64) []float64 {
	n := len(m.p)
	out := make([]float64, len(v))
	inv := t.evidence(m).inverse()
	if inv == nil {
		for j := range out {
			out[j] = math.NaN()
		}
		return out
	}
	jac := make([][]float64, n)
	w := m.clone()
	for i := range jac {
		h := 1e-4
		w.p[i] = m.p[i] + h
		w.update()
		d := w.traits()
		w.p[i] = m.p[i]
		for j := range d {
			d[j] = (d[j] - v[j]) / h
		}
		jac[i] = d
	}
	row := make([]float64, n)
	for j := range out {
		for a := range row {
			row[a] = jac[a][j]
		}
		out[j] = quad(inv, row) * sharpen * sharpen
	}
	for j, d := range t.cameras(m, inv, jac, v) {
		out[j] += d
	}
	for j, d := range t.alternatives(m, v) {
		out[j] += d
	}
	tips := t.tipDoubt(m, v[qLength])
	edge := 2 * math.Pow(t.offset(m), 2) // two sides
	tips += bothEnds * edge
	if t.upright {
		edge += math.Pow(t.ringShare(m)*v[qWidth], 2)
	}
	for _, j := range append([]int{qWidth}, stationTraits...) {
		out[j] += math.Pow(roundness*v[qWidth], 2) + edge
	}
	out[qRatio] += v[qRatio] * v[qRatio] * (tips/(v[qLength]*v[qLength]) + (math.Pow(roundness*v[qWidth], 2)+edge)/(v[qWidth]*v[qWidth]))
	out[qVolume] += math.Pow(2*roundness*v[qVolume], 2)
	out[qLength] += tips
	out[qMidline] += tips
	for _, j := range [...]int{qLength, qMidline} {
		out[j] *= lengthShare * lengthShare
	}
	for j := range out {
		out[j] = 2 * math.Sqrt(out[j])
	}
	return out
}

// tipDoubt is the variance of a length from what the normal equations do not hold: uneven tips, an outline that is rough
// at them, tips that it blunts, ends that nothing names or that point at the camera, and ribs that run into them, mm².
func (t *task) tipDoubt(m *model, length float64) float64 {
	share := lengthFloor * lengthFloor
	tan := math.Max(t.slant(m, 0), t.slant(m, 1))
	if !t.marked(m, 0) && !t.marked(m, 1) {
		share += nameless * nameless
		if tan > unmarkedTan {
			share += math.Pow(unmarkedDoubt+unmarkedSlant*(tan-unmarkedTan), 2)
		}
	}
	if over := tan - obliqueTan; over > 0 {
		share += math.Pow(obliqueDoubt*over, 2)
	}
	if m.ribs > 0 {
		share += ribbedTips * ribbedTips / float64(len(t.views))
	}
	px := roughTips*math.Pow(t.spread()*t.rays[0].sigma, 2) + tipsPx*tipsPx
	sum := share*length*length + px*math.Pow(t.sharpest(m), 2)
	for end := range 2 {
		sum += math.Pow(bluntDoubt*t.blunted(m, end), 2) + math.Pow(coveredDoubt*t.covered(m, end), 2)
	}
	return sum
}

// coveredDoubt is the standard deviation of how far a body goes on behind a neighbour that lies over its end, as a share of
// how much of the outline about the end is the neighbour's.
const coveredDoubt = 0.25

// covered is the length of outline that is a neighbour's edge about an end, mm, in the view where it is least; 0 where the
// end itself is free.
func (t *task) covered(m *model, end int) float64 {
	pole, _ := m.pole(end)
	least := math.Inf(1)
	for v := range t.views {
		at := t.views[v].Camera.Project(pole)
		var of []*ray // of this view, around the outline
		near := 0
		for i := range t.rays {
			if y := &t.rays[i]; y.view == v {
				if of = append(of, y); y.at.Sub(at).Norm() < of[near].at.Sub(at).Norm() {
					near = len(of) - 1
				}
			}
		}
		px := 0.0
		if len(of) > 0 && of[near].edge == geom.EdgeContact {
			for _, step := range [...]int{1, len(of) - 1} {
				for k, n := near, 0; n < len(of)/2 && of[k].edge == geom.EdgeContact; n++ {
					next := (k + step) % len(of)
					px += of[next].at.Sub(of[k].at).Norm()
					k = next
				}
			}
		}
		least = math.Min(least, px*t.mmPerPx(m, v))
	}
	return least
}

// quad returns xᵀ·A·x for a full square matrix.
func quad(a, x []float64) float64 {
	n := len(x)
	s := 0.0
	for i := range x {
		for j := range x {
			s += x[i] * a[i*n+j] * x[j]
		}
	}
	return s
}

// slant returns the tangent of the angle by which an end's axis leaves the plane across the line of sight, in
// the view where it is least.
func (t *task) slant(m *model, end int) float64 {
	p, out := m.pole(end)
	tan := math.Inf(1)
	for i := range t.views {
		see := t.eyes[i].Sub(p).Unit()
		sin := math.Abs(out.Dot(see))
		tan = math.Min(tan, sin/math.Sqrt(math.Max(1e-9, 1-sin*sin)))
	}
	return tan
}

// smallStep is the share of a perturbed camera's move that is tried, so that the body answers in proportion.
const smallStep = 0.2

// farShift is by how many sigma an outline has to move with a camera, in the mean, for the body to be fitted anew.
const farShift = 2

// cameras returns the variance of each trait from the caller's perturbed cameras: with each of them the body moves
// by one step of Gauss and Newton's method, inv the inverse normal equations, jac the derivatives by the parameters
// of the traits v; with one that is far off, such as an assumed lens gives, it is fitted anew.
func (t *task) cameras(m *model, inv []float64, jac [][]float64, v []float64) []float64 {
	np, n := len(m.p), len(v)
	var cams, whole []camera.Camera
	first := make([]int, len(t.views)+1)
	for i := range t.views {
		for k := range t.views[i].Perturbed {
			whole = append(whole, t.views[i].Perturbed[k])
			cams = append(cams, camera.Mix(t.views[i].Camera, t.views[i].Perturbed[k:k+1], []float64{smallStep}))
		}
		first[i+1] = len(cams)
	}
	pull := make([]float64, np*len(cams)) // the gradient's change by each camera
	row := make([]float64, np)
	shift, rays := make([]float64, len(cams)), make([]float64, len(cams))
	c := 4 * t.robust
	for i := range t.rays {
		y := t.rays[i]
		if !y.free() || y.nose || y.stub {
			continue
		}
		r, ok := t.distance(m, &y, row)
		if !ok {
			continue
		}
		u := 1 / (1 + r*r/(c*c))
		for k := first[y.view]; k < first[y.view+1]; k++ {
			z := newRay(&cams[k], y.at)
			z.sigma, z.near, z.bow = y.sigma, y.near, y.bow
			if q, ok := t.distance(m, &z, nil); ok {
				shift[k] += math.Abs(q-r) / smallStep
				rays[k]++
				w := t.share * u * u * (q - r)
				for a, x := range row {
					pull[k*np+a] += w * x
				}
			}
		}
	}
	out := make([]float64, n)
	for k := range cams {
		change := make([]float64, n)
		if shift[k] > farShift*rays[k] {
			view := 0
			for first[view+1] <= k {
				view++
			}
			w := m.clone()
			t.seenBy(view, &whole[k]).descend(w, 3)
			for j, x := range w.traits() {
				out[j] += (x - v[j]) * (x - v[j])
			}
			continue
		}
		for a := 0; a < np; a++ {
			step := 0.0
			for b := 0; b < np; b++ {
				step -= inv[a*np+b] * pull[k*np+b]
			}
			for j := range change {
				change[j] += step * jac[a][j]
			}
		}
		for j, d := range change {
			out[j] += d * d / (smallStep * smallStep)
		}
	}
	return out
}

// seenBy returns the task with another camera for view i.
func (t *task) seenBy(i int, cam *camera.Camera) *task {
	u := *t
	u.rays = append([]ray(nil), t.rays...)
	u.views = append([]View(nil), t.views...)
	u.views[i].Camera = *cam
	u.eyes = append([]geom.Vec3(nil), t.eyes...)
	u.eyes[i] = cam.Centre()
	u.abs, u.kept = nil, false
	for k := range u.rays {
		if y := &u.rays[k]; y.view == i {
			r := newRay(cam, y.at)
			r.view, r.sigma, r.edge, r.nose, r.stub = y.view, y.sigma, y.edge, y.nose, y.stub
			u.rays[k] = r
		}
	}
	return &u
}
