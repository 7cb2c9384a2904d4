package body

import (
	"math"
	"slices"
)

// Other lengths are tried when the axis is slanted by more than reachTan (tangent) in every view.
const reachTan = 0.36

// reachWorse is how much worse a try may fit half of the outline after a few steps and still be followed.
const reachWorse = 1

// reaches are the changes of length that are tried at each end, shares of the length.
var reaches = [...]float64{-0.13, 0.13}

// reach tries other lengths where the tips are seen at a slant: what lies beyond the outline is then nearly free,
// and the minimiser stays where it started. Each end in turn is moved and given the tip of smooth fruit. It
// returns a better body or nil.
func (t *task) reach(m *model) *model {
	if t.upright || t.slant(m, 0) < reachTan {
		return nil
	}
	whole := t.thin()
	ref := t.descend(m.clone(), 2)
	var all []candidate
	for end := 0; end < 2; end++ {
		for _, d := range reaches {
			w := m.stretched(end, d)
			if c := t.descend(w, 6); c < ref+reachWorse {
				all = append(all, candidate{w, c})
			}
		}
	}
	t.rays = whole
	slices.SortFunc(all, byCost)
	var best *model
	for _, a := range all[:min(len(all), 2)] {
		t.descend(a.m, 12)
		t.note(a.m)
		now := best
		if now == nil {
			now = m
		}
		if c, d := t.compare(a.m, now); c < d-0.1 {
			best = a.m
		}
	}
	if best != nil {
		t.descend(best, 8)
	}
	return best
}

// stretched returns the body with one end moved outwards by d of the length and the tip of smooth fruit there;
// the rest stays in place.
func (m *model) stretched(end int, d float64) *model {
	w := m.clone()
	n := m.nq
	l := m.p[pLen]
	old := slices.Clone(m.prof.c)
	at := func(x float64) float64 { // the old coefficient at knot x, counted from the far end
		x = math.Min(math.Max(x, 0), float64(n-1))
		i := min(int(x), n-2)
		u := x - float64(i)
		if end == 0 {
			return old[n-1-i]*(1-u) + old[n-2-i]*u
		}
		return old[i]*(1-u) + old[i+1]*u
	}
	for k := 0; k < n; k++ { // k from the far end
		x := (float64(k-1))*(1+d) + 1
		v := at(math.Min(x, float64(n-1-3)))
		if gone := x - float64(n-1-3); gone > 0 { // towards the tip
			v += (tipMean - v) * math.Min(1, gone/2)
		}
		if end == 0 {
			w.p[pProfile+n-1-k] = v
		} else {
			w.p[pProfile+k] = v
		}
	}
	w.p[pLen] = l * (1 + d)
	dir := 0.5 * d * l
	if end == 0 {
		dir = -dir
	}
	o := m.fr.a.Scale(dir)
	w.p[pX], w.p[pY], w.p[pZ] = w.p[pX]+o.X, w.p[pY]+o.Y, w.p[pZ]+o.Z
	w.p[pCap0+end] = math.Log(capShare)
	w.update()
	return w
}
