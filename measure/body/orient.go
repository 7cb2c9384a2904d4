package body

import (
	"math"

	"offtype/measure/geom"
)

// looksUpright reports whether the stalk's base lies where the top of a standing fruit would be.
func looksUpright(v *View, flat plan) bool {
	if v.Stem == nil || flat.ratio > 1.25 {
		return false
	}
	_, _, w := flat.extent(flat.axis)
	top, ok := v.Camera.OnPlane(*v.Stem, flat.z)
	if !ok {
		return false
	}
	out := top.Sub(flat.mid).Norm() / (w / 2)
	off := func(tall float64) float64 { // from where the top of a body so many times as high as wide is seen
		up := flat.mid
		up.Z = tall * w
		q, ok := v.Camera.OnPlane(v.Camera.Project(up), flat.z)
		if !ok {
			return math.Inf(1)
		}
		return top.Sub(q).Norm() / (w / 2)
	}
	if out < 0.62 && off(0.8) < 0.4 {
		return true
	}
	// seen at a slant the top of a flat one is nearer the rim
	return out < 0.78 && math.Min(off(0.6), off(0.8)) < 0.3
}

// mayStand reports whether a stalk's base lies so far inside a roundish outline that the fruit may stand.
func mayStand(v *View, flat plan) bool {
	if v.Stem == nil || flat.ratio > 1.45 || v.StemBy != 0 && v.StemBy < 0.4 {
		return false
	}
	hull := geom.Hull(v.Outline) // the outline itself runs around a stalk that stands before the rim
	near := math.Inf(1)
	for i, p := range hull {
		d := hull[(i+1)%len(hull)].Sub(p)
		near = math.Min(near, math.Abs(v.Stem.Sub(p).Cross(d))/d.Norm())
	}
	return geom.Contains(hull, *v.Stem) && near > 0.12*smallerSide(v.Outline)
}

// tellStem makes pole 0 the stem end: as a sure mark says, or else by the votes of the unsure marks and
// the shape together (most fruit are slimmer at the stem end).
func (t *task) tellStem(m *model, b *Body) {
	vote, sure := t.vote(m)
	b.StemKnown = sure
	if !sure {
		slim, wide := m.prof.radius(0.2), m.prof.radius(0.8)
		vote = 0.5*vote + 0.6*math.Max(-1, math.Min(1, 2*(wide-slim)/math.Max(wide, slim)))
		if math.Abs(vote) < clearVote {
			b.Notes = append(b.Notes, NoteStem)
		}
	}
	if vote >= 0 {
		return
	}
	m.reverse()
	t.descend(m, 3)
}

// reverse swaps the ends.
func (m *model) reverse() {
	p := m.p
	c := append([]float64(nil), m.prof.c...)
	for k := range c {
		p[pProfile+k] = c[len(c)-1-k]
	}
	if m.bent() {
		h0 := m.mid.h[0]
		bs := append([]float64(nil), m.mid.b...)
		for j := range bs {
			p[pProfile+m.nq+j] = -bs[len(bs)-1-j]
		}
		p[pYaw] += h0
	}
	p[pCap0], p[pCap1] = p[pCap1], p[pCap0]
	p[pYaw] += math.Pi
	p[pRise] = -p[pRise]
	p[pRoll] = -p[pRoll]
	m.update()
}
