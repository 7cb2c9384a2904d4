package body

import (
	"fmt"
	"math"
	"slices"

	"offtype/measure/geom"
)

// Fit finds the body of one fruit from all its views together.
//
// views: one or more; the first with the most free outline starts the fit. Errors: ErrNoOutline,
// ErrCamera, ErrHidden, ErrNoFit, wrapped with the view's number. Cost: about 15 ms a view on
// one core, more for ribbed and standing fruit.
func Fit(views []View, opt Options) (*Body, error) {
	if len(views) == 0 {
		return nil, ErrNoOutline
	}
	views = append([]View(nil), views...)
	stubs := make([]func(geom.Px) bool, len(views))
	for i := range views {
		views[i].Outline, views[i].Edge = cutSpurs(views[i].Outline, views[i].Edge)
		views[i].Edge = toCorners(views[i].Outline, views[i].Edge)
		views[i].Edge = hideBays(&views[i])
		stubs[i] = doubtStub(&views[i])
	}
	t := newTask(views)
	n := opt.Samples
	if n <= 0 {
		n = 140
	}
	free, main, most := 0, 0, -1
	for i := range views {
		v := &views[i]
		if len(v.Outline) < 12 {
			return nil, fmt.Errorf("view %d: %w", i, ErrNoOutline)
		}
		if !finite(v) {
			return nil, fmt.Errorf("view %d: %w", i, ErrNoOutline)
		}
		if z := v.Camera.Centre().Z; !(z > 0) {
			return nil, fmt.Errorf("view %d: %w", i, ErrCamera)
		}
		rs := rays(v, i, n)
		f := 0
		for k := range rs {
			if rs[k].free() {
				f++
			}
			rs[k].stub = stubs[i] != nil && stubs[i](rs[k].at)
		}
		if f > most {
			main, most = i, f
		}
		free += f
		t.rays = append(t.rays, rs...)
	}
	if free < n/8 || free < n/4 && !t.endsFree(main) {
		return nil, ErrHidden
	}
	flat, ok := flatten(&views[main])
	if !ok {
		return nil, fmt.Errorf("view %d: %w", main, ErrCamera)
	}
	b := &Body{views: views, Pose: Side}
	if opt.Pose == Upright || (opt.Pose == "" && looksUpright(&views[main], flat)) {
		b.Pose = Upright
		t.upright = true
	}
	m, err := t.best(main, flat, b, opt)
	if err != nil {
		return nil, err
	}
	b.m = m
	b.task = t
	b.early, b.seen = append([]string(nil), b.Notes...), float64(most)/float64(n)
	t.finish(b, b.seen)
	return b, nil
}

// endsFree reports whether the two outline points farthest from each other in the view lie on the fruit's own outline or
// under its stalk: a slender fruit in a row of its like shows no more than its ends, but all of its length.
func (t *task) endsFree(view int) bool {
	var at [2]int
	most := -1.0
	for i := range t.rays {
		for j := range i {
			a, b := &t.rays[i], &t.rays[j]
			if d := a.at.Sub(b.at).Norm(); a.view == view && b.view == view && d > most {
				at, most = [2]int{i, j}, d
			}
		}
	}
	own := func(e geom.Edge) bool { return e == geom.EdgeFree || e == geom.EdgeStalk }
	return most >= 0 && own(t.rays[at[0]].edge) && own(t.rays[at[1]].edge)
}

// finite reports whether every point of the view is a number.
func finite(v *View) bool {
	for _, p := range v.Outline {
		if math.IsNaN(p.X+p.Y) || math.IsInf(p.X+p.Y, 0) {
			return false
		}
	}
	for _, p := range []*geom.Px{v.Stem, v.Blossom, v.StalkTip} {
		if p != nil && math.IsNaN(p.X+p.Y) {
			return false
		}
	}
	return true
}

func newTask(views []View) *task {
	t := &task{views: views, robust: 1, loose: 1, marks: marks(views)}
	for i := range views {
		t.eyes = append(t.eyes, views[i].Camera.Centre())
	}
	return t
}

// poorStart is the cost of the best start above which headings that no mark speaks for are tried too; by otherGain times
// and otherAxis those must fit better: a rough outline fits badly along any axis, and the marks are worth more than chance.
const (
	poorStart = 60
	otherGain = 1.5
	otherAxis = 15
)

// best tries the possible headings and bends and returns the best body.
func (t *task) best(main int, flat plan, b *Body, opt Options) (*model, error) {
	if t.upright {
		return t.standing(main, opt.Ribs)
	}
	psi := t.headings(&flat, main)
	starts := t.starts(main, flat, psi)
	if len(starts) == 0 {
		return nil, ErrNoFit
	}
	best := starts[0].m
	cost := t.descend(best, 15)
	for _, s := range starts[1:] {
		t.note(s.m)
	}
	if m := t.rivals(b, best, &flat, main, starts[1:], cost); m != best {
		best = m
		t.descend(best, 15)
	}
	if m := t.along(best, &flat, main); m != nil {
		t.note(best)
		t.plain = best
		best = m
		b.rival = rival{} // lines that run along this axis do not run along another
	}
	_, turn := flat.arc(psi[0])
	rough := t.spread()
	bend := func() {
		if opt.Straight || flat.ratio < 1.5 || math.Abs(turn) < 0.09 && rough < 2.5 {
			return
		}
		lines := t.strokes
		t.strokes = nil // they hold straight bodies only
		if m := t.tryBends(flat, psi[0], best); m != nil {
			best, lines = m, nil
		}
		t.strokes = lines
	}
	clear := math.Abs(turn) > clearTurn // bent rather than ribbed: that first
	if clear {
		bend()
	}
	if m := t.tryRibs(best, opt.Ribs); m != nil {
		t.note(best)
		best = m
	}
	if !clear {
		bend()
	}
	if len(t.strokes) == 0 {
		t.doubtStalk(b, best, &flat, main)
	}
	if m := t.hop(best); m != nil {
		t.note(best)
		best = m
	}
	if m := t.doubtTip(best, main); m != nil {
		best = m
	}
	if m := t.reach(best); m != nil {
		t.note(best)
		best = m
	}
	if opt.Pose == "" && len(t.strokes) == 0 && mayStand(&t.views[main], flat) {
		if m := t.rise(b, best, main, opt.Ribs); m != nil {
			b.Pose, b.rival = Upright, rival{}
			return m, nil
		}
	}
	t.tellStem(best, b)
	return best, nil
}

// starts returns the best straight bodies with the axis along psi, along what the other views' plans say and, where all
// of these fit badly, along any other way, best first.
func (t *task) starts(main int, flat plan, psi []float64) []candidate {
	starts := t.straight(flat, psi)
	for i := range t.views { // the other views' plans may lead to a better body
		if i == main {
			continue
		}
		if p, ok := flatten(&t.views[i]); ok {
			starts = append(starts, t.straight(p, t.headings(&p, i))...)
		}
	}
	slices.SortStableFunc(starts, byCost)
	if len(starts) == 0 || starts[0].cost > poorStart && !t.endOn(&flat, main) { // the marks may have led astray
		var other []float64
		for k := 1; k < 4; k++ {
			other = append(other, psi[0]+float64(k)*math.Pi/4)
		}
		for _, c := range t.straight(flat, other) {
			c.cost = otherGain*c.cost + otherAxis
			starts = append(starts, c)
		}
		slices.SortStableFunc(starts, byCost)
	}
	return starts[:min(len(starts), 4)]
}

// finish fills the results.
func (t *task) finish(b *Body, seen float64) {
	m := b.m
	v := m.traits()
	u := t.uncertainty(m, v)
	b.ResidualPx = t.spread() * t.rays[0].sigma
	val := func(i int) Value { return Value{v[i], u[i]} }
	b.Length, b.Width, b.Midline = val(qLength), val(qWidth), val(qMidline)
	b.Bend, b.BroadestAt, b.Volume, b.Height = val(qBend), val(qBroadest), val(qVolume), val(qHeight)
	b.Ratio = val(qRatio)
	b.Bend.V = math.Abs(b.Bend.V)
	if b.Pose == Side {
		cut := t.cutTips(m)
		b.Ratio.V *= (b.Length.V + cut) / b.Length.V
		b.Length.V, b.Midline.V = b.Length.V+cut, b.Midline.V+cut
	}
	b.Profile, b.ProfileU = v[qProfile:], u[qProfile:]
	t.sides(b)
	if more := t.bumps(b); more > 0 && b.Pose == Side { // callipers rest on the bumps
		b.Ratio.V *= b.Width.V / (b.Width.V + more)
		b.Width.V += more
		b.Width.U = math.Hypot(b.Width.U, more)
	}
	if m.ribs > 0 {
		b.Ribs, b.GrooveDepth = m.ribs, m.p[m.pRib()]
	}
	b.RiseDeg = m.p[pRise] * 180 / math.Pi
	if b.Pose == Upright {
		nan := Value{math.NaN(), math.NaN()}
		b.Length, b.Midline, b.BroadestAt, b.Volume, b.Bend, b.Ratio = nan, nan, nan, nan, nan, nan
		b.Notes = append(b.Notes, NoteUpright)
	}
	if b.Pose == Side {
		if math.Max(t.slant(m, 0), t.slant(m, 1)) > obliqueTan {
			b.Notes = append(b.Notes, NoteOblique)
		}
	}
	if b.ResidualPx > 2.5*t.rays[0].sigma && b.ResidualPx > 1.5 {
		b.Notes = append(b.Notes, NoteResidual)
	}
	if b.rival.length > 0 {
		b.Notes = append(b.Notes, NoteEnds)
		for _, u := range []*Value{&b.Length, &b.Midline} {
			u.U = math.Hypot(u.U, b.rival.length) // ± the difference, taken as two standard uncertainties
		}
		b.Width.U = math.Hypot(b.Width.U, b.rival.width)
		b.Ratio.U = math.Hypot(b.Ratio.U, b.rival.ratio)
	}
	if t.small() {
		b.Notes = append(b.Notes, NoteFar)
	}
	if seen < 0.7 {
		b.Notes = append(b.Notes, NoteHidden)
	}
	for i := range t.views {
		b.Views = append(b.Views, m.draw(&t.views[i]))
		b.grids = append(b.grids, &grid{cam: t.views[i].Camera})
	}
}

// fewPx is the extent below which a fruit has too few pixels, px.
const fewPx = 40

// small reports whether every view shows the fruit with few pixels.
func (t *task) small() bool {
	for i := range t.views {
		if smallerSide(t.views[i].Outline) >= fewPx {
			return false
		}
	}
	return true
}
