package body

import "math"

// rival is how much the size would change if the axis lay another way that the outline allows as well.
type rival struct{ length, width, ratio float64 } // mm, mm, length / width

const (
	rivalCost  = 10.0 // how much worse another axis among the starts may fit and still be thought of
	openCost   = 40.0 // the same where hardly an end is seen: bumps of the skin, which neighbouring points share, decide then
	flatBonus  = 5    // how much worse a flattened body may fit than a long one
	rivalRatio = 1.35 // outlines rounder than this are tried across
	endReach   = 30 * math.Pi / 180
	rivalReach = 1.25 // the true axis may lie a little aside of both
	stalkDoubt = 6    // how much better a body across a seen stalk's axis must fit to doubt the stalk
	rivalWorse = 1.35 // how much greater the spread of the outline about the body across may be
)

// rivals looks for other axes that fit about as well. Where no stalk is clearly seen at the rim and the
// outline is nearly round, the axis across is tried by itself: only the outline counts then, as the
// priors of fruit lying this or that way are no evidence.
//
// Between two that fit the same, the flattened fruit is the likelier one (common practice, no source): then
// rivals returns it as the better body, or else best.
func (t *task) rivals(b *Body, best *model, flat *plan, main int, others []candidate, cost float64) *model {
	if t.endOn(flat, main) {
		return best
	}
	limit := rivalCost
	if t.unmarked() {
		limit = openCost
	}
	for _, s := range others {
		if off := math.Remainder(s.m.p[pYaw]-best.p[pYaw], math.Pi); math.Abs(off) > 0.5 && s.cost < cost+limit {
			b.takes(best, s.m)
		}
	}
	if _, clear := t.stalkAxis(flat, main); clear || flat.ratio > rivalRatio || len(t.views) > 1 {
		return best
	}
	w, worse, spread := t.across(best, flat)
	if worse < rivalWorse*math.Max(spread, 0.5) {
		b.takes(best, w)
		if !best.flattened() && w.flattened() {
			if cw, cb := t.compare(w, best); cw < cb+flatBonus {
				return w
			}
		}
	}
	return best
}

// endOn reports whether a stalk clearly seen at the rim lies at an end of a long outline: then both say the same of the axis.
func (t *task) endOn(p *plan, view int) bool {
	dir, clear := t.stalkAxis(p, view)
	return clear && p.ratio > rivalRatio && math.Abs(math.Remainder(dir-p.axis, math.Pi)) < endReach
}

// unmarked reports whether no end is surely seen, and at most one unsurely.
func (t *task) unmarked() bool {
	for _, k := range t.marks {
		if !k.weak {
			return false
		}
	}
	return len(t.marks) < 2
}

// across fits the body lying across best to the outline alone and returns it, the outline's spread about it and
// that about best, multiples of sigma.
func (t *task) across(best *model, flat *plan) (w *model, worse, spread float64) {
	u := *t
	u.marks = nil
	u.abs = nil
	w = flat.begin(best.p[pYaw] + math.Pi/2)
	u.loose = stiff
	u.descend(w, 7)
	u.loose = 1
	u.descend(w, 6)
	worse = u.spread()
	u.compare(best, best)
	return w, worse, u.spread()
}

// doubtStalk looks across the axis to which a clearly seen stalk led in a roundish outline: where a body lying
// across fits the outline clearly better, what was seen may not be the stalk. Then U takes in both.
func (t *task) doubtStalk(b *Body, best *model, flat *plan, main int) {
	if _, clear := t.stalkAxis(flat, main); !clear || flat.ratio > rivalRatio || len(t.views) > 1 || best.ribs > 0 {
		return
	}
	w, _, _ := t.across(best, flat)
	u := *t
	u.marks, u.abs = nil, nil
	if cw, cb := u.compare(w, best); cw < cb-stalkDoubt {
		b.takes(best, w)
	}
}

// takes widens the uncertainty of best by what the size of w differs.
func (b *Body) takes(best, w *model) {
	b.rival.length = math.Max(b.rival.length, rivalReach*math.Abs(w.p[pLen]-best.p[pLen]))
	r, _ := w.broadest()
	r0, _ := best.broadest()
	b.rival.width = math.Max(b.rival.width, rivalReach*2*math.Abs(r-r0))
	b.rival.ratio = math.Max(b.rival.ratio, rivalReach*math.Abs(w.p[pLen]/(2*r)-best.p[pLen]/(2*r0)))
}

// flattened reports whether the body is shorter than wide.
func (m *model) flattened() bool {
	r, _ := m.broadest()
	return m.p[pLen] < 2*r
}
