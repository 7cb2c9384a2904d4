package body

import "math"

// Fruit of one variety have like tips. Where one of them shows a tip at a slant, so that its outline leaves open how
// the tip goes on, the tips of others that look alike and show theirs from the side say it.
const (
	alikeTan    = 0.3  // slant, tangent, above which a tip is thought open
	alikeShow   = 0.4  // and below which it shows: where all fruit lie alike, those a little less slanted are all there is
	alikeSure   = 0.05 // U / length up to which a fruit is a pattern for others
	alikeKnots  = 4    // coefficients of the profile from the tip inwards that are taken over
	alikeMiddle = 0.08 // root mean square difference of the middles' logarithms of the radius of look-alikes
	alikeRatio  = 0.25 // and difference of the logarithms of length / width
	alikeLeast  = 2    // patterns needed
	alikePrior  = 2    // fruit that the usual spread between fruit of a variety counts for:
	alikeCap    = 0.18 // of the logarithm of the rounded share
	alikeRadius = 0.09 // of the logarithm of the radius at the tip
)

// tipPrior is what look-alikes say of the tips: the rounded share's logarithm, then the coefficients from the tip
// inwards, mean and standard deviation; sd 0: nothing.
type tipPrior struct{ mean, sd [2][1 + alikeKnots]float64 }

// tipShape returns an end's logarithm of the rounded share and coefficients relative to the greatest radius.
func (m *model) tipShape(end int) (v [1 + alikeKnots]float64) {
	v[0] = m.p[pCap0+end]
	top := m.topLog()
	for k := range alikeKnots {
		v[1+k] = m.prof.c[m.knotFrom(end, k)] - top
	}
	return v
}

// topLog is the logarithm of the greatest radius over the profile's unit.
func (m *model) topLog() float64 {
	r, _ := m.broadest()
	return math.Log(r / m.prof.rho0)
}

// knotFrom is the place of the k-th coefficient from an end.
func (m *model) knotFrom(end, k int) int {
	if end == 1 {
		return m.nq - 1 - k
	}
	return k
}

// looksLike reports whether two bodies are alike where both outlines tell: in the middle of the profile.
func (m *model) looksLike(o *model) bool {
	if m.nq != o.nq || m.bent() != o.bent() {
		return false
	}
	r0, _ := m.broadest()
	r1, _ := o.broadest()
	if math.Abs(math.Log(m.p[pLen]/r0*r1/o.p[pLen])) > alikeRatio {
		return false
	}
	a, b := m.topLog(), o.topLog()
	sum, n := 0.0, 0.0
	for k := alikeKnots + 1; k < m.nq-alikeKnots-1; k++ {
		d := (m.prof.c[k] - a) - (o.prof.c[k] - b)
		sum += d * d
		n++
	}
	return math.Sqrt(sum/n) < alikeMiddle
}

// Alike fits those of a photo's bodies anew whose tips are seen at a slant, with the tips of the others that look
// alike as what is to be expected there. Bodies that no two others are like stay as they are; nil entries are passed over.
// The results are those of the bodies as given, whatever their order.
func Alike(bodies []*Body) {
	type pattern struct {
		m     *model
		lined bool
		shows [2]bool
	}
	var from []pattern
	of := make([]int, len(bodies))
	for i, b := range bodies {
		of[i] = -1
		if b == nil || b.Pose != Side || b.task == nil || b.rival.length > 0 {
			continue
		}
		if b.Length.U < alikeSure*b.Length.V && b.StemKnown {
			of[i] = len(from)
			p := pattern{m: b.m.clone(), lined: b.lined()}
			for end := range p.shows {
				p.shows[end] = b.task.slant(b.m, end) < alikeShow
			}
			from = append(from, p)
		}
	}
	for i, b := range bodies {
		if b == nil || b.Pose != Side || b.task == nil || math.Max(b.task.slant(b.m, 0), b.task.slant(b.m, 1)) < alikeTan {
			continue
		}
		var seen [2][][1 + alikeKnots]float64
		for k, p := range from {
			if k == of[i] || b.lined() != p.lined || !b.m.looksLike(p.m) {
				continue
			}
			for end := range seen {
				if p.shows[end] {
					seen[end] = append(seen[end], p.m.tipShape(end))
				}
			}
		}
		if tips := newTipPrior(b.m, seen); tips != nil {
			b.refit(tips)
		}
	}
}

// lined reports whether ribs or lines run along the fruit.
func (b *Body) lined() bool { return b.m.ribs > 0 || len(b.task.strokes) > 0 }

// newTipPrior returns what patterns say of the tips of m, nil when they are too few at both ends.
func newTipPrior(m *model, seen [2][][1 + alikeKnots]float64) *tipPrior {
	var p tipPrior
	some := false
	for end, l := range seen {
		n := float64(len(l))
		if len(l) < alikeLeast {
			continue
		}
		some = true
		for j := range p.mean[end] {
			sum, square := 0.0, 0.0
			for _, v := range l {
				sum += v[j]
			}
			for _, v := range l {
				square += (v[j] - sum/n) * (v[j] - sum/n)
			}
			usual := alikeRadius
			if j == 0 {
				usual = alikeCap
			} else {
				p.mean[end][j] = m.topLog()
			}
			p.mean[end][j] += sum / n
			p.sd[end][j] = math.Sqrt((alikePrior*usual*usual + square) / (alikePrior + n - 1) * (1 + 1/n))
		}
	}
	if !some {
		return nil
	}
	return &p
}

// refit fits a body anew with what is expected of its tips.
func (b *Body) refit(tips *tipPrior) {
	t := b.task
	t.tips = tips
	for i := range t.minima { // they were found without
		t.descend(t.minima[i], 6)
	}
	t.descend(b.m, 15)
	if b.m.ribs > 0 && b.m.turnRibs() {
		t.descend(b.m, 15)
	}
	if tips.far(b.m) > farTip { // its own tip may hold it
		for _, move := range tipMoves {
			w := tips.put(b.m, move)
			t.descend(w, 15)
			if c, now := t.compare(w, b.m); c < now {
				b.m = w
			}
		}
	}
	b.Notes = append([]string(nil), b.early...)
	b.Views, b.grids = nil, nil
	b.Lopsided, b.Roughness = 0, 0
	t.finish(b, b.seen)
}

// A tip that still lies farTip standard deviations from those of look-alikes is given theirs for a new start, its end moved
// outwards by tipMoves of the length.
const farTip = 2

var tipMoves = [...]float64{-0.04, 0}

// far is by how many standard deviations a body's tips differ most from those of look-alikes.
func (p *tipPrior) far(m *model) (most float64) {
	for end := range p.mean {
		v := m.tipShape(end)
		top := m.topLog()
		for j, sd := range p.sd[end] {
			if j > 0 {
				v[j] += top
			}
			if sd > 0 {
				most = math.Max(most, math.Abs(v[j]-p.mean[end][j])/sd)
			}
		}
	}
	return most
}

// put returns the body with the tips of look-alikes in place of its own.
func (p *tipPrior) put(m *model, move float64) *model {
	w := m
	for end := range p.mean {
		if p.sd[end][0] == 0 {
			continue
		}
		w = w.stretched(end, move)
		w.p[pCap0+end] = p.mean[end][0]
		for k := range alikeKnots {
			w.p[pProfile+m.knotFrom(end, k)] = p.mean[end][1+k]
		}
	}
	w.update()
	return w
}

// tipRows holds the tips to those of look-alikes, with heavy tails: one fruit may differ.
func (t *task) tipRows(m *model, row []float64, f sink) {
	for end := range t.tips.mean {
		for j, sd := range t.tips.sd[end] {
			if sd == 0 {
				continue
			}
			at := pCap0 + end
			if j > 0 {
				at = pProfile + m.knotFrom(end, j-1)
			}
			zero(row)
			row[at] = 1 / sd
			r := (m.p[at] - t.tips.mean[end][j]) / sd
			f(row, r, heavy(r, tailTip))
		}
	}
}

// open reports whether look-alikes say nothing of an end, so that all fruit speak.
func (t *task) open(end int) bool { return t.tips == nil || t.tips.sd[end][0] == 0 }
