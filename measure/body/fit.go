package body

import (
	"math"

	"offtype/measure/geom"
)

const knots = 19 // coefficients of the profile

// ray is one outline point.
type ray struct {
	view  int
	o, d  geom.Vec3
	zdir  float64 // cosine between ray and optical axis
	focal float64
	sigma float64 // px
	edge  geom.Edge
	at    geom.Px
	nose  bool    // around a doubtful tip
	stub  bool    // on a stalk's base that the outline took along
	near  float64 // distance where it grazed the body last; NaN: not known
	bow   float64 // second derivative of G along the ray there; 0: not known
	seen  spot    // what it saw there
}

// besidePx is how near a body's rim typically lies to the outline where a neighbour covers it,
// px: the finder's line there may run in the gap, and the body goes on behind what hides it.
const (
	besidePx = 4
	behindPx = 8   // the same where the body goes on behind the neighbour: how far is not seen (8 rendered rows of touching fruit)
	underPx  = 10  // the same under the stalk's base, which covers the end itself
	rimPx    = 1.5 // and when the end faces away (0.1 to 0.3), so that the rim stands before the stalk
)

// free reports whether the ray lies on the fruit's own outline.
func (y *ray) free() bool { return y.edge == geom.EdgeFree }

// task is one fit: rays, ends in the picture, priors.
type task struct {
	views   []View
	eyes    []geom.Vec3 // camera centres
	rays    []ray
	marks   []mark
	strokes []stroke // lines in the skin
	plain   *model   // best body before they counted
	upright bool
	loose   float64   // factor on the wiggle prior: below 1 while the start is rough
	share   float64   // weight of a ray's evidence, for its own noise
	robust  float64   // robust scale, multiples of sigma
	kept    bool      // the rays' spots are those of the model to come
	loss    float64   // robust loss of the outline at the last pass
	under   []float64 // softness of each view's outline under the stalk at the last pass, px
	tips    *tipPrior // of look-alikes
	minima  []*model  // other bodies that the search came by
	eq      *normal   // room of a descent
	buf     []float64
	sorted  []float64
	abs     []float64 // |residual| of the free rays at the last pass, multiples of sigma
}

// visit gives every residual to f; with its row when grad.
func (t *task) visit(m *model, row []float64, grad bool, f sink) {
	t.visitRays(m, row, grad, f)
	t.visitRest(m, row, grad, f)
}

// visitRays gives the outline's residuals to f and sums their robust loss.
func (t *task) visitRays(m *model, row []float64, grad bool, f sink) {
	c := 4 * t.robust
	if t.loose != 1 {
		c = 2.5 * t.robust
	}
	t.loss = 0
	t.soften(m)
	t.abs = t.abs[:0]
	for i := range t.rays {
		y := &t.rays[i]
		if !t.kept {
			y.near, y.bow, y.seen = m.graze(y.o, y.d, y.near, y.bow)
		}
		l, s := y.near, &y.seen
		gn := s.grad.Norm()
		if gn < 1e-9 {
			continue
		}
		k := y.focal / (l * y.zdir) / y.sigma / gn
		r := s.g * k
		switch {
		case y.stub && r > 0:
			continue
		case y.nose && r > 0:
			k *= y.sigma / nosePx
			r *= y.sigma / nosePx
		case y.edge == geom.EdgeFree:
			t.abs = append(t.abs, math.Abs(r))
		case y.edge == geom.EdgeFrame && r <= 0:
			continue
		case y.edge == geom.EdgeContact:
			u := y.sigma / besidePx
			if r < 0 { // the body goes on behind
				u = y.sigma / behindPx
			}
			k *= u
			r *= u
		case y.edge == geom.EdgeStalk:
			if r < 0 && t.under[y.view] == underPx {
				continue // behind the stalk
			}
			u := y.sigma / t.under[y.view]
			if r > 0 { // part of the stalk may have been taken along
				u = y.sigma / underPx
			}
			k *= u
			r *= u
		}
		if grad {
			m.jac(y.o.Add(y.d.Scale(l)), *s, row)
			for j := range row {
				row[j] *= k
			}
		}
		u := r * r / (c * c)
		w := 1 / (1 + u)
		if t.loose == 1 { // Geman–McClure's: whole stretches of the outline may be something else
			t.loss += c * c / 2 * u * w
			w *= w
		} else { // Cauchy's: pulls from afar while the start is rough
			t.loss += c * c / 2 * math.Log1p(u)
		}
		f(row, r, w)
	}
}

// soften sets how softly the outline under the stalk counts in each view.
func (t *task) soften(m *model) {
	t.under = t.under[:0]
	p, out := m.pole(0)
	for v := range t.views {
		facing := out.Dot(t.eyes[v].Sub(p).Unit())
		t.under = append(t.under, rimPx+(underPx-rimPx)*math.Min(1, math.Max(0, 1.5+5*facing)))
	}
}

// visitRest gives the residuals of priors and ends to f.
func (t *task) visitRest(m *model, row []float64, grad bool, f sink) {
	t.priors(m, row, grad, f)
	t.ends(m, row, grad, f)
	t.strokeRows(m, row, grad, f)
}

// forget makes the next pass search every ray's grazing point afresh.
func (t *task) forget() {
	for i := range t.rays {
		t.rays[i].near, t.rays[i].bow = math.NaN(), 0
	}
	t.kept = false
}

// cost is the robust loss of the outline and the priors' cost.
func (t *task) cost(m *model, row []float64) float64 {
	return t.outlineCost(m, row) + t.restCost(m, row)
}

// outlineCost is the robust loss of the outline.
func (t *task) outlineCost(m *model, row []float64) float64 {
	t.visitRays(m, row, false, func([]float64, float64, float64) {})
	return t.loss
}

// restCost is the cost of priors, ends and lines, whatever the robust scale: c²/2·log(1 + r²/c²) with c from the
// weight w = 1/(1 + r²/c²) where they have heavy tails.
func (t *task) restCost(m *model, row []float64) (sum float64) {
	t.visitRest(m, row, false, func(_ []float64, r, w float64) {
		if u := 1/w - 1; u > 1e-12 {
			sum += r * r / 2 * math.Log1p(u) / u
		} else {
			sum += r * r / 2
		}
	})
	return sum
}

// spread returns the median absolute outline residual of the last pass as a standard deviation,
// multiples of sigma.
func (t *task) spread() float64 {
	if len(t.abs) == 0 {
		return 1
	}
	t.sorted = append(t.sorted[:0], t.abs...)
	return 1.4826 * upperMedian(t.sorted)
}

// upperMedian returns the middle one of v by size, the upper of two, by quickselect; v is reordered.
func upperMedian(v []float64) float64 {
	k := len(v) / 2
	for lo, hi := 0, len(v)-1; lo < hi; {
		pivot := v[k]
		i, j := lo, hi
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for pivot < v[j] {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i, j = i+1, j-1
			}
		}
		if j < k {
			lo = i
		}
		if k < i {
			hi = j
		}
	}
	return v[k]
}

// level fills the normal equations at m; parameters without evidence stay where they are.
func (t *task) level(m *model, eq *normal, row []float64) {
	eq.reset()
	t.visit(m, row, true, eq.add)
	t.kept = false
	eq.prop()
}

// room returns the buffers of a descent over n parameters; the next one takes the same.
func (t *task) room(n int) (row, x, work []float64, eq *normal) {
	if t.eq == nil || t.eq.n != n {
		t.eq, t.buf = newNormal(n), make([]float64, n*(n+2))
	}
	return t.buf[:n:n], t.buf[n : 2*n : 2*n], t.buf[2*n:], t.eq
}

// descend minimises from m, in place, by Levenberg and Marquardt's method and returns the cost.
func (t *task) descend(m *model, iterations int) float64 {
	n := len(m.p)
	row, x, work, eq := t.room(n)
	lambda := 1e-3
	t.forget()
	t.robust = 1
	t.outlineCost(m, row)
	t.robust = math.Max(1, t.spread())
	t.kept = true
	rest := t.restCost(m, row)
	cost := t.outlineCost(m, row) + rest
	trial := m.clone()
	for it := 0; it < iterations; it++ {
		if it == 6 {
			t.forget()
			cost = t.outlineCost(m, row) + rest
			t.kept = true
		}
		t.level(m, eq, row)
		now := t.spread()
		gain := -1.0
		for tries := 0; tries < 7; tries++ {
			ok := eq.step(lambda, x, work)
			if ok && eq.promise(lambda, x) < leastGain/2*(1+cost) {
				break
			}
			if ok && t.sane(m, x) {
				for i := range x {
					trial.p[i] = m.p[i] + x[i]
				}
				trial.update()
				c, r := t.outlineCost(trial, row), 0.0
				if c < cost { // what the rest costs is positive
					r = t.restCost(trial, row)
				}
				if c += r; c < cost {
					gain = cost - c
					*m, *trial = *trial, *m
					cost, rest = c, r
					if tries == 0 {
						lambda = math.Max(lambda/8, 1e-7)
					}
					now = t.spread()
					t.kept = true
					break
				}
			}
			lambda *= 10
		}
		if gain < leastGain*(1+cost) && it > 0 {
			break
		}
		if r := math.Max(1, now); math.Abs(r-t.robust) > 0.05*t.robust {
			t.robust = r
			cost = t.outlineCost(m, row) + rest
		}
	}
	t.kept = false
	return cost
}

// leastGain is the gain of a step, relative to 1 + cost, below which a descent ends.
const leastGain = 1e-3

// sane refuses steps that leave the realm of fruit.
func (t *task) sane(m *model, x []float64) bool {
	for i, v := range x {
		if math.IsNaN(v) {
			return false
		}
		if i >= pCap0 && math.Abs(v) > 1.5 {
			return false
		}
	}
	l := m.p[pLen] + x[pLen]
	for _, i := range [...]int{pCap0, pCap1} {
		if c := m.p[i] + x[i]; c < math.Log(0.03) || c > math.Log(0.7) {
			x[i] = math.Min(math.Max(c, math.Log(0.03)), math.Log(0.7)) - m.p[i]
		}
	}
	return l > 5 && l > 0.3*m.p[pLen] && l < 3*m.p[pLen] &&
		math.Abs(x[pYaw]) < 1 && math.Abs(x[pRise]) < 0.6
}
