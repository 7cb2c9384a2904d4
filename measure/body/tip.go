package body

import "math"

const (
	noseReach = 0.16 // how far to either side of a doubtful tip its outline is doubted / width
	nosePx    = 6    // how near the body's rim lies to the outline there, px
)

// doubtTip fits again without much trust in the outline around a tip that faces away, where no stalk is seen
// anywhere: a stalk's base that the outline took along looks like a pointed tip there, and a pointed tip at
// a slant is a far longer body. It returns nil when no tip is in doubt. The rays stay marked.
func (t *task) doubtTip(m *model, view int) *model {
	for i := range t.marks {
		if k := &t.marks[i]; k.name == 0 && !k.either {
			return nil // the stalk is seen elsewhere: a blossom end has none
		}
	}
	v := &t.views[view]
	doubt := false
	for end := 0; end < 2; end++ {
		p, out := m.pole(end)
		facing := out.Dot(t.eyes[view].Sub(p).Unit())
		if t.slant(m, end) < unmarkedTan || facing > 0 || t.marked(m, end) {
			continue
		}
		r, _ := m.broadest()
		at := v.Camera.Project(p)
		reach := noseReach * 2 * r * v.Camera.Focal / p.Sub(t.eyes[view]).Norm()
		dir := v.Camera.Project(p.Add(out)).Sub(at)
		dir = dir.Scale(1 / math.Max(dir.Norm(), 1e-9))
		for i := range t.rays {
			y := &t.rays[i]
			d := y.at.Sub(at)
			if y.view == view && y.free() && d.Dot(dir) > -2*reach && math.Abs(d.Cross(dir)) < reach {
				y.nose = true
				doubt = true
			}
		}
	}
	if !doubt {
		return nil
	}
	w := m.clone()
	t.descend(w, 15)
	if h := t.hop(w); h != nil {
		return h
	}
	return w
}
