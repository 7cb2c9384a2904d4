package pipeline

import (
	"math"
	"path"
	"sort"

	"offtype/measure/body"
	"offtype/measure/camera"
	"offtype/measure/geom"
	"offtype/pipeline/record"
)

// seen is one fruit in one photo of a table.
type seen struct {
	part  *Part // slim part of the run
	full  *Part // with outlines
	index int   // into Fruits of both
}

func (s seen) row() *record.Fruit { return &s.full.Fruits[s.index] }

// ownFolder is the table of a run's photo: the photos of a folder show one.
func ownFolder(p *Part) string { return path.Dir(p.Photo.Name) }

// sameTable joins the views of each table: photos for which tableOf gives the same name show one undisturbed
// table, and the card gives them one frame; a photo without a name stands by itself. Fruit are matched by their place
// on the table and one body is fitted to all outlines of a fruit. The rows of the run become one a fruit, under its
// best view.
func sameTable(res *Result, o *Options, tableOf func(*Part) string) error {
	tables := map[string][]*Part{}
	var order []string
	for _, p := range res.Parts {
		if p.Photo.Status != record.StatusOK {
			continue
		}
		dir := tableOf(p)
		if dir == "" {
			continue
		}
		if tables[dir] == nil {
			order = append(order, dir)
		}
		tables[dir] = append(tables[dir], p)
	}
	for _, dir := range order {
		var all []seen
		for _, p := range tables[dir] {
			full, err := p.full(o.Out)
			if err != nil {
				return err
			}
			for i := range full.Fruits {
				all = append(all, seen{p, full, i})
			}
		}
		groups := matchViews(all)
		res.Seen = append(res.Seen, sightings(groups)...)
		joinViews(groups, tables[dir], o)
	}
	return nil
}

// matchViews groups the sightings of each fruit: closest pairs first, at most one sighting a
// photo, no farther apart than 0.6 of the smaller width (fruit cannot lie closer to each other
// than half their widths together).
func matchViews(all []seen) [][]seen {
	type pair struct {
		a, b int
		d    float64
	}
	var ps []pair
	for a := range all {
		for b := a + 1; b < len(all); b++ {
			if all[a].part == all[b].part {
				continue
			}
			fa, fb := all[a].row(), all[b].row()
			d := math.Hypot(fa.TableMM.X-fb.TableMM.X, fa.TableMM.Y-fb.TableMM.Y)
			w := math.Min(widthOr(fa, 100), widthOr(fb, 100))
			if d < 0.6*w {
				ps = append(ps, pair{a, b, d})
			}
		}
	}
	sort.SliceStable(ps, func(i, j int) bool { return ps[i].d < ps[j].d })
	group := make([]int, len(all))
	members := map[int][]int{}
	for i := range all {
		group[i] = i
		members[i] = []int{i}
	}
	for _, p := range ps {
		ga, gb := group[p.a], group[p.b]
		if ga == gb || sharePhoto(all, members[ga], members[gb]) {
			continue
		}
		if gb < ga {
			ga, gb = gb, ga
		}
		members[ga] = append(members[ga], members[gb]...)
		for _, i := range members[gb] {
			group[i] = ga
		}
		delete(members, gb)
	}
	var out [][]seen
	for i := range all {
		if group[i] != i {
			continue
		}
		m := members[i]
		sort.Ints(m)
		var g []seen
		for _, k := range m {
			g = append(g, all[k])
		}
		out = append(out, g)
	}
	return out
}

func widthOr(f *record.Fruit, d float64) float64 {
	if f.Width.Ok() {
		return f.Width.V
	}
	return d
}

func sharePhoto(all []seen, a, b []int) bool {
	for _, i := range a {
		for _, j := range b {
			if all[i].part == all[j].part {
				return true
			}
		}
	}
	return false
}

// joinViews fits one body a fruit and puts its row under the best view.
func joinViews(groups [][]seen, parts []*Part, o *Options) {
	for _, p := range parts {
		p.Fruits = nil
	}
	for _, j := range fitTable(groups, o) {
		g, best := j.group, j.best
		f := *best.row()
		f.Views = len(g)
		if len(g) > 1 {
			if b := j.body; b != nil {
				f.Notes = dropNotes(f.Notes, body.NoteOblique, body.NoteEnds, body.NoteStem, body.NoteResidual, body.NoteHidden, body.NoteUpright, body.NotePose, "cut", "too-much-hidden", "no-body-fits")
				bodyRow(&f, b)
			} else {
				f.AddNotes("views-do-not-fit")
			}
			takePlant(&f, g)
		}
		best.part.Fruits = append(best.part.Fruits, f)
	}
	for _, p := range parts {
		sort.SliceStable(p.Fruits, func(i, j int) bool { return p.Fruits[i].Number < p.Fruits[j].Number })
		p.Photo.Fruits = len(p.Fruits)
		p.slim()
	}
}

// sightings lists, for each fruit of a table, where it was seen: the row that stands for it first.
func sightings(groups [][]seen) [][]record.Key {
	var out [][]record.Key
	for _, g := range groups {
		best := bestView(g)
		keys := []record.Key{best.row().Key()}
		for _, s := range g {
			if s != best {
				keys = append(keys, s.row().Key())
			}
		}
		out = append(out, keys)
	}
	return out
}

// takePlant uses the plant that most views agree on.
func takePlant(f *record.Fruit, g []seen) {
	n := map[string]int{}
	for _, s := range g {
		if p := s.row().Plant; p != "" {
			n[p]++
			if n[p] > n[f.Plant] || f.Plant == "" {
				f.Plant = p
			}
		}
	}
}

// bestView is the sighting that the length is surest in: whole ones before cut ones, then the
// smaller uncertainty of length and width.
func bestView(g []seen) seen {
	score := func(s seen) float64 {
		f := s.row()
		v := 1.0
		if f.Has("cut") {
			v = 100
		}
		if f.Length.Ok() && f.Length.V > 0 {
			v += f.Length.U / f.Length.V
		} else {
			v += 1
		}
		if f.Width.Ok() && f.Width.V > 0 {
			v += f.Width.U / f.Width.V
		} else {
			v += 1
		}
		return v
	}
	best := g[0]
	for _, s := range g[1:] {
		if score(s) < score(best) {
			best = s
		}
	}
	return best
}

// viewsOf returns the outlines of a fruit with their cameras and the photo of each, the best view first.
func viewsOf(g []seen, best seen) (out []body.View, photo []*Part) {
	add := func(s seen) {
		f := s.row()
		if len(f.Outline) < 12 || s.full.Camera == nil {
			return
		}
		out = append(out, body.View{
			Camera: *s.full.Camera, Outline: f.Outline, Edge: f.Edge, SigmaPx: f.SigmaPx, Stem: f.SegStem, StalkTip: f.SegTip, Blossom: f.BlossomPx,
			StemBy: f.StemBy, BlossomBy: f.BlossomBy, Strokes: f.Strokes,
			Perturbed: append([]camera.Camera(nil), s.full.Modes...),
		})
		photo = append(photo, s.full)
	}
	add(best)
	for _, s := range g {
		if s != best {
			add(s)
		}
	}
	return out, photo
}

func dropNotes(notes []string, codes ...string) []string {
	var out []string
	for _, n := range notes {
		keep := true
		for _, c := range codes {
			keep = keep && n != c
		}
		if keep {
			out = append(out, n)
		}
	}
	return out
}

// middle returns the place of a fruit on the table, mm: its outline's centroid at half its height.
func middle(c *camera.Camera, outline []geom.Px, b *body.Body) geom.Vec3 {
	z := 0.0
	if b != nil && b.Height.V > 0 {
		z = b.Height.V / 2
	}
	w, ok := c.OnPlane(geom.Centroid(outline), z)
	if !ok {
		return geom.Vec3{}
	}
	return w
}
