package body

import (
	"math"

	"offtype/measure/geom"
)

// mark is one end of the fruit seen in a view: a stalk base, a blossom scar, or one of the two when
// the finder was not sure which.
type mark struct {
	view   int
	at     geom.Px
	name   int     // 0 named stem end, 1 blossom end
	by     float64 // 0–1, how sure the finder is
	either bool    // the name is not to be trusted
	stalk  bool    // a stalk is clearly seen there: the axis leads to it
	weak   bool    // the finder is not sure of the place
	sigma  float64 // px
	tail   float64 // square of the scale of its heavy tails, standard deviations
}

const (
	baseBefore = 0.04 // how far before the stem end, on the picture of the axis, a stalk's base is seen / greatest radius
	baseSpread = 0.07 // and how that differs between fruit; all views of one share it
	baseBeyond = 0.04 // how far beyond it where the stalk of a lying fruit covers the end (8 rendered fruit, two networks)

	sureEnd   = 0.6  // from here on a named end is believed
	clearVote = 0.25 // vote below which the stem end is called unsure
	oneSpot   = 0.3  // two ends nearer than this share of the outline's size are one and the same
)

// baseShift is how far before the stem end a stalk's base is seen / greatest radius, by the cosine between the stalk
// and the camera: the border on the camera's side; where the stalk covers the end, a place beyond it; where it
// points at the camera, the base itself.
func baseShift(facing float64) float64 {
	at, want := [...]float64{0.4, 0.5, 0.6, 0.65, 0.8}, [...]float64{baseBefore, 0, -baseBeyond, -baseBeyond, 0}
	if facing <= at[0] {
		return want[0]
	}
	for i := 1; i < len(at); i++ {
		if facing < at[i] {
			u := (facing - at[i-1]) / (at[i] - at[i-1])
			return want[i-1]*(1-u) + want[i]*u
		}
	}
	return 0
}

// marks lists the ends of all views. A finder that is not sure of either end often puts both in one
// place: then one mark remains, that may be either. A stalk makes its base sure.
func marks(views []View) []mark {
	var out []mark
	for i := range views {
		v := &views[i]
		size := smallerSide(v.Outline)
		var here []mark
		for name, px := range []*geom.Px{v.Stem, v.Blossom} {
			if px == nil {
				continue
			}
			m := mark{view: i, at: *px, name: name, by: v.StemBy, sigma: v.StemSigmaPx}
			if name == 1 {
				m.by = v.BlossomBy
			}
			m.stalk = name == 0 && v.StalkTip != nil && (m.by == 0 || m.by >= sureEnd)
			m.weak = m.by != 0 && m.by < sureEnd
			if m.sigma <= 0 {
				m.sigma = 4
				if m.by != 0 && m.by < 0.4 {
					m.sigma = 8
				}
			}
			m.tail = 9
			if m.weak {
				m.tail = 3
			}
			if m.by == 0 || name == 0 && v.StalkTip != nil {
				m.by = 1
			}
			m.either = m.by < sureEnd
			here = append(here, m)
		}
		if len(here) == 2 && here[0].at.Sub(here[1].at).Norm() < oneSpot*size {
			keep := 0
			if here[1].by > here[0].by {
				keep = 1
			}
			// the other name at the same place takes away from the vote for this one
			here[keep].by -= here[1-keep].by * 0.999
			here = here[keep : keep+1]
		}
		out = append(out, here...)
	}
	return out
}

// vote returns how much more the marks speak for pole 0 of m being the stem end than for pole 1, as a
// mean over the views, and whether a sure mark is among them: then only the sure ones count.
func (t *task) vote(m *model) (sum float64, sure bool) {
	for _, k := range t.marks {
		sure = sure || !k.either
	}
	for _, k := range t.marks {
		if sure && k.either {
			continue
		}
		if m.nearPole(&t.views[k.view], k.at) == k.name {
			sum += k.by
		} else {
			sum -= k.by
		}
	}
	return sum / float64(len(t.views)), sure
}

// nearPole returns the end of the middle line that lies nearer to p in the view.
func (m *model) nearPole(v *View, p geom.Px) int {
	a, _ := m.pole(0)
	b, _ := m.pole(1)
	if v.Camera.Project(b).Sub(p).Norm() < v.Camera.Project(a).Sub(p).Norm() {
		return 1
	}
	return 0
}

// ends adds the places of the marks. An end that faces the camera must be seen where it was found; one
// that faces away only has to lie behind it, on the same side.
func (t *task) ends(m *model, row []float64, grad bool, f sink) {
	for i := range t.marks {
		k := &t.marks[i]
		v := &t.views[k.view]
		end := k.name
		if k.either {
			end = m.nearPole(v, k.at)
		}
		p, out := m.pole(end)
		facing := out.Dot(t.eyes[k.view].Sub(p).Unit())
		at := v.Camera.Project(p)
		dir := v.Camera.Project(p.Add(out)).Sub(at)
		if l := dir.Norm(); l > 1e-9 {
			dir = dir.Scale(1 / l)
		}
		side := geom.Px{X: -dir.Y, Y: dir.X}
		add := func(u geom.Px, s float64) {
			zero(row)
			r := at.Sub(k.at).Dot(u) / s
			if grad {
				m.centreGrad(float64(end), seenGrad(v, p, u).Scale(1/s), row)
			}
			f(row, r, 1/(1+r*r/k.tail))
		}
		add(side, k.sigma)
		if facing > 0.1 {
			// what is seen of a stalk's base is the border on the camera's side of it
			mm := v.Camera.MMPerPx(p)
			if end == 0 && (!t.upright || facing < 0.5) {
				at = at.Sub(dir.Scale(baseShift(facing) * m.prof.rho0 / mm))
			}
			sd := math.Hypot(k.sigma, baseSpread*m.prof.rho0/mm) * math.Sqrt(float64(len(t.views)))
			add(dir, sd*(1+12*math.Max(0, 0.3-facing))) // less the more it is seen from the side
		}
	}
}

// A stalk that is clearly seen rules out axes more than stalkReach away from it, for an outline less than
// mostFlat times as long as wide: no common fruit is flatter than that.
const (
	stalkReach = 50 * math.Pi / 180
	mostFlat   = 3
)

// stalkAxis returns the direction in the plan from a clearly seen stalk at the rim through the middle.
func (t *task) stalkAxis(p *plan, view int) (dir float64, ok bool) {
	for _, k := range t.marks {
		if k.view != view || !k.stalk {
			continue
		}
		w, on := t.views[view].Camera.OnPlane(k.at, p.z)
		if !on {
			continue
		}
		d := p.mid.Sub(w)
		dir = math.Atan2(d.Y, d.X)
		lo, hi, _ := p.extent(dir)
		return dir, d.Norm() > rimShare*(hi-lo)/2
	}
	return 0, false
}

// rimShare is how far out, of the half extent, a stalk's base must lie to point along the axis.
const rimShare = 0.6

// headings returns the directions that the axis may have in the plan of a view, stem to blossom, best
// first: from the marks, along the longer axis of the outline and, where the outline is nearly round
// and no mark is sure, across it. A stalk clearly seen at the rim leaves only what agrees with it.
func (t *task) headings(p *plan, view int) []float64 {
	var sure bool
	var d geom.Vec3
	var seen []geom.Vec3
	for _, k := range t.marks {
		if k.view != view {
			continue
		}
		w, ok := t.views[view].Camera.OnPlane(k.at, p.z)
		if !ok {
			continue
		}
		sure = sure || !k.weak
		w = w.Sub(p.mid)
		if k.name == 0 {
			w = w.Scale(-1) // towards the blossom end
		}
		seen = append(seen, w)
	}
	for _, w := range seen {
		d = d.Add(w)
	}
	if len(seen) == 2 && seen[0].Dot(seen[1]) < 0 { // both marks on one side
		d = seen[0]
	}
	stalk, clear := t.stalkAxis(p, view)
	clear = clear && p.ratio < mostFlat
	turned := func(x float64) float64 { return math.Abs(math.Remainder(x, math.Pi)) }
	var l []float64
	add := func(h float64) {
		if clear && turned(h-stalk) > stalkReach {
			return
		}
		for _, o := range l {
			if turned(h-o) < 12*math.Pi/180 {
				return
			}
		}
		l = append(l, h)
	}
	along := p.axis
	if d.Norm() > 0 {
		dir := math.Atan2(d.Y, d.X)
		if math.Cos(dir-along) < 0 {
			along += math.Pi
		}
		if p.ratio > 1.15 && turned(dir-along) < 50*math.Pi/180 {
			add(along) // a clear long axis is sharper than a point or two
		}
		add(dir)
	}
	if clear {
		across := along + math.Pi/2
		if math.Cos(across-stalk) < 0 {
			across -= math.Pi
		}
		if p.ratio > 1.15 && turned(across-stalk) < math.Pi/6 {
			l = append([]float64{across}, l...) // flat: the short axis is sharper than one point
		}
		add(stalk)
	}
	if !sure || p.ratio > 1.4 {
		add(along)
	}
	if !sure && p.ratio < 1.25 {
		add(along + math.Pi/2)
	}
	return l
}
