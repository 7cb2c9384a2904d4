package body

import (
	"math"
	"slices"

	"offtype/measure/geom"
)

// A standing fruit's height shows only through its stalk's place and its slanted outline: height / width is
// thought log-normal with this median and standard deviation of the logarithm (common practice, no source).
const (
	tallShare  = 0.75
	tallSpread = 0.4
	standGain  = 10   // how much better a standing body must fit than a lying one to be believed
	ringDoubt  = 0.12 // standard uncertainty of the height of a standing fruit's greatest ring / its height
)

// rise fits the fruit standing and returns the body when it fits clearly better than the lying one; the
// task is then one of a standing fruit.
func (t *task) rise(b *Body, lying *model, main, ribs int) *model {
	_, cost := t.compare(lying, lying)
	u := *t
	u.marks = append([]mark(nil), t.marks...)
	u.upright, u.abs = true, nil
	m, err := u.standing(main, ribs)
	if err != nil {
		return nil
	}
	if c, _ := u.compare(m, m); c > cost-standGain {
		if c < cost+standGain {
			b.Notes = append(b.Notes, NotePose)
		}
		return nil
	}
	*t = u
	return m
}

// ringShare is the standard uncertainty that the height of a standing fruit's greatest ring gives its width / width.
func (t *task) ringShare(m *model) float64 {
	far := math.Inf(1)
	for _, e := range t.eyes {
		far = math.Min(far, m.fr.o.Sub(e).Norm())
	}
	return ringDoubt * m.p[pLen] / far
}

// standing fits an upright body, its stem end up, from several heights. View main begins it, with the outline that runs
// straight past the stalk: a bay around it would shift the middle and pass for ribs.
func (t *task) standing(main, ribs int) (*model, error) {
	flat, ok := flatten(pastStalk(&t.views[main]))
	if !ok {
		return nil, ErrNoFit
	}
	for i := range t.marks {
		k := &t.marks[i]
		k.either = false // the lower end is out of sight
		k.name = 0
		k.tail = 9
	}
	var all []candidate
	for _, tall := range talls {
		m := flat.stand()
		m.stretch(t.eyes[0], tall*2*m.prof.rho0)
		if c := t.descend(m, 12); !math.IsNaN(c) {
			all = append(all, candidate{m, c})
		}
	}
	if len(all) == 0 {
		return nil, ErrNoFit
	}
	best := slices.MinFunc(all, byCost).m
	t.descend(best, 25)
	if m := t.standingRibs(&flat, best, main, ribs); m != nil { // ribs tell the height
		best = m
	}
	return best, nil
}

// pastStalk returns the view with the outline that leaves out what runs along the stalk.
func pastStalk(v *View) *View {
	if len(v.Edge) != len(v.Outline) {
		return v
	}
	w := *v
	w.Outline, w.Edge = nil, nil
	for i, p := range v.Outline {
		if v.Edge[i] != geom.EdgeStalk {
			w.Outline = append(w.Outline, p)
		}
	}
	if 2*len(w.Outline) < len(v.Outline) {
		return v
	}
	return &w
}
