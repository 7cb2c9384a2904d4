package desk

import (
	"context"
	"errors"
	"fmt"
	"image"
	"maps"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"offtype/pipeline/book"
	"offtype/pipeline/picture"
	"offtype/pipeline/record"
)

func (d *Desk) groupRoutes(m *http.ServeMux) {
	m.HandleFunc("GET /h/{id}/groups", d.withHarvest(d.groupsView))
	m.HandleFunc("GET /h/{id}/unsure", d.withHarvest(d.unsureView))
	m.HandleFunc("POST /h/{id}/groups/move", d.withHarvest(d.moveFruit))
	m.HandleFunc("POST /h/{id}/groups/merge", d.withHarvest(d.mergeGroups))
	m.HandleFunc("POST /h/{id}/groups/name", d.withHarvest(d.nameGroup))
	m.HandleFunc("GET /h/{id}/cut/{key}/{n}", d.withHarvest(d.cutOut))
}

// cutCard is a fruit among its like.
type cutCard struct {
	Key      string // photo key
	Number   int
	Caption  string
	Size     string
	Alt      string
	ByHand   bool
	Computed int // group that was computed
	Group    int
	Unsure   bool
	Alone    bool
	Member   float64
	Unplaced bool // nothing measured that tells groups apart
	File     string
}

// ID names a fruit in forms: photo key and number.
func (c cutCard) ID() string { return fmt.Sprintf("%s.%d", c.Key, c.Number) }

type groupRow struct {
	Number   int
	Name     string
	Head     string
	Colour   string
	Verdict  string
	Sign     string
	Class    string
	Reasons  []string
	Apart    []string
	Cuts     []cutCard
	HandMade bool

	plants map[string]bool
}

type groupsData struct {
	ID       string
	Rows     []groupRow
	Targets  []target // groups that a fruit can be moved to
	Next     int      // number of a new group
	ScaleBar int      // px of 100 mm, 0: no scale
	Unscaled int      // fruit without a scale
	Moved    int
	Unsure   int
	Judging  bool
	Empty    string
	Notes    []string
	Problem  string
	Moves    []string // what was decided by hand, in words
	Lot      []string
}

type target struct {
	Number int
	Name   string
}

const cutSide = 150 // px that the longest fruit of a harvest takes on the page

// named are the names of a group: more than one where groups that had names became one.
type named []book.Decision

func (n named) words() string {
	var out []string
	for _, x := range n {
		out = append(out, x.Value)
	}
	return strings.Join(out, ", ")
}

// decisions reads what was decided by hand: the group of a fruit, and the names of groups.
func (h *harvest) decisions(ctx context.Context) (groups map[record.Key]book.Decision, names map[int]named, lost []string) {
	groups, names = map[record.Key]book.Decision{}, map[int]named{}
	b, err := h.desk.book.Harvest(ctx, h.Name)
	if err != nil {
		return groups, names, nil
	}
	for _, x := range b.Decisions {
		switch {
		case x.Kind == "group" && x.Lost != "":
			lost = append(lost, fmt.Sprintf("A fruit that you put into group %s is not found any more (%s).", x.Value, x.Lost))
		case x.Kind == "group":
			groups[record.Key{Photo: x.Photo, Number: x.Fruit}] = x
		case x.Kind == "group name":
			n, name, _ := strings.Cut(x.Value, ": ")
			k, err := strconv.Atoi(n)
			if err == nil && x.Lost != "" {
				lost = append(lost, fmt.Sprintf("The group that you named “%s” is not found any more (%s).", name, x.Lost))
			} else if err == nil {
				x.Value = name
				names[k] = append(names[k], x)
			}
		}
	}
	return groups, names, lost
}

// groupsData describes the groups with what was decided by hand.
func (h *harvest) groupsData(ctx context.Context) groupsData {
	hand, names, lost := h.decisions(ctx)
	h.mu.Lock()
	defer h.mu.Unlock()
	v := groupsData{ID: h.ID, Judging: h.settling(), Notes: lost}
	if h.result == nil || len(h.result.Fruits) == 0 {
		v.Empty = "There are no fruit to group yet. Bring photos first."
		if v.Judging {
			v.Empty = "The photos are being measured. The groups come after that."
		}
		return v
	}
	if g := h.result.Grouping; g != nil {
		v.Notes = append(v.Notes, g.Notes...)
	}
	for i := range h.result.Fruits {
		if h.result.Fruits[i].Unscaled {
			v.Unscaled++
		}
	}
	v.ScaleBar = int(100*h.pxPerMM() + .5)
	b := groupBuilder{h: h, v: &v, names: names, rows: map[int]*groupRow{}, keys: map[string]string{}, photos: h.result.PhotosMeasured()}
	for i := range h.Photos {
		b.keys[h.Photos[i].File] = h.Photos[i].Key
	}
	for i := range h.result.Judgement.Groups {
		b.computed(&h.result.Judgement.Groups[i])
	}
	member := map[record.Key]*record.Membership{}
	for i := range h.result.Groups {
		member[h.result.Groups[i].Key] = &h.result.Groups[i]
	}
	for i := range h.result.Fruits {
		f := &h.result.Fruits[i]
		if m := member[f.Key()]; m != nil {
			b.fruit(f, m, hand)
		}
	}
	b.finish()
	return v
}

// groupBuilder collects the rows of groups.
type groupBuilder struct {
	h      *harvest
	v      *groupsData
	names  map[int]named
	rows   map[int]*groupRow
	keys   map[string]string // photo file → key
	photos int               // that gave fruit
}

// row returns the row of group n; one that was not computed was made by hand.
func (b *groupBuilder) row(n int) *groupRow {
	if b.rows[n] == nil {
		colour, _ := record.GroupLook(n)
		b.rows[n] = &groupRow{Number: n, HandMade: true, Colour: colour, Name: b.names[n].words(), plants: map[string]bool{}}
	}
	return b.rows[n]
}

// computed fills in what was found of a group.
func (b *groupBuilder) computed(g *record.GroupVerdict) {
	r := b.row(g.Group)
	r.HandMade, r.Reasons, r.Apart = false, g.Reasons, g.Apart
	if g.Verdict != "" && g.Verdict != record.NotJudged {
		r.Verdict = string(g.Verdict)
		r.Sign, r.Class = g.Verdict.Mark()
	}
}

// fruit puts a fruit into its row: the one decided by hand, or the computed one.
func (b *groupBuilder) fruit(f *record.Fruit, m *record.Membership, hand map[record.Key]book.Decision) {
	c := cutCard{Key: b.keys[f.Photo], Number: f.Number, Size: f.SizeWords(), Caption: f.Caption(b.photos), Alt: f.Alt(), Computed: m.Group, Group: m.Group, Unsure: m.Unsure, Alone: m.Alone, Member: m.Membership, Unplaced: m.Unsure && m.Unplaced(b.h.result.GroupCount()), File: f.Photo}
	if x, ok := hand[f.Key()]; ok {
		if n, err := strconv.Atoi(x.Value); err == nil && n > 0 {
			c.Group, c.ByHand = n, true
			b.v.Moved++
			b.v.Moves = append(b.v.Moves, fmt.Sprintf("%s, %s: put into group %d by hand; the program had group %d.", f.Photo, f.Caption(1), n, c.Computed))
		}
	}
	if (c.Unsure || c.Alone) && !c.ByHand {
		b.v.Unsure++
	}
	r := b.row(c.Group)
	r.Cuts = append(r.Cuts, c)
	if f.Plant != "" {
		r.plants[f.Plant] = true
	}
}

// finish puts the rows in order.
func (b *groupBuilder) finish() {
	for _, n := range slices.Sorted(maps.Keys(b.rows)) {
		r := b.rows[n]
		not := 0
		if b.v.Moved == 0 { // the verdict is on the fruit shown
			not = b.h.result.Judgement.NotJudged(n)
		}
		r.Head = record.FruitJudged(len(r.Cuts), not)
		if len(r.plants) > 0 {
			if not > 0 {
				r.Head += ","
			}
			r.Head += " of " + record.Count(len(r.plants), "plant", "plants")
		}
		b.v.Rows = append(b.v.Rows, *r)
		b.v.Targets = append(b.v.Targets, target{r.Number, r.Name})
		b.v.Next = n
	}
	b.v.Next++
}

// fruit returns the fruit of the result; the caller holds mu.
func (h *harvest) fruit(file string, n int) *record.Fruit {
	for i := range h.result.Fruits {
		if f := &h.result.Fruits[i]; f.Number == n && f.Photo == file {
			return f
		}
	}
	return nil
}

// pxPerMM is the one scale of all cut-outs of fruit that have one, 0 when none has; the caller holds mu and there is a
// result.
func (h *harvest) pxPerMM() float64 {
	long := 0.0
	for i := range h.result.Fruits {
		if f := &h.result.Fruits[i]; !f.Unscaled { // its lengths mean nothing beside those of others
			long = math.Max(long, f.LongestMM())
		}
	}
	if long == 0 {
		return 0
	}
	return cutSide / long
}

func (d *Desk) groupsView(w http.ResponseWriter, r *http.Request, h *harvest) {
	d.show(w, r, "groups", h.page("Groups", "groups", h.groupsData(r.Context())))
}

// cutOut serves the cut-out of a fruit at the harvest's scale, twice as fine as shown.
func (d *Desk) cutOut(w http.ResponseWriter, r *http.Request, h *harvest) {
	n, err := strconv.Atoi(strings.TrimSuffix(r.PathValue("n"), ".jpg"))
	if err != nil {
		d.notFound(w, r)
		return
	}
	b, err := h.cut(r.PathValue("key"), n)
	if err != nil {
		d.notFound(w, r)
		return
	}
	w.Header().Set("Content-Type", "image/jpeg")
	w.Header().Set("Cache-Control", "private, no-cache")
	w.Write(b)
}

// cut makes the cut-outs of a photo at the first use and keeps them until the result changes.
func (h *harvest) cut(key string, n int) ([]byte, error) {
	h.cutting.Lock()
	defer h.cutting.Unlock()
	h.mu.Lock()
	name := fmt.Sprintf("%s.%d", key, n)
	b, ok := h.cutouts[name]
	_, l := h.photo(key)
	if ok || l == nil || l.part == nil || h.result == nil {
		h.mu.Unlock()
		if ok {
			return b, nil
		}
		return nil, errors.New("not measured")
	}
	part, ppm, result := l.part, h.pxPerMM(), h.result
	h.mu.Unlock()
	pic, scale, err := part.Preview(h.resultDir())
	if err != nil {
		return nil, err
	}
	made := map[string][]byte{}
	for i := range part.Fruits {
		f := &part.Fruits[i]
		if b, err := cutJPEG(pic, scale, f, 2*ppm); err == nil {
			made[fmt.Sprintf("%s.%d", key, f.Number)] = b
		}
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.result == result {
		if h.cutouts == nil {
			h.cutouts = map[string][]byte{}
		}
		for k, b := range made {
			h.cutouts[k] = b
		}
	}
	if b, ok := made[name]; ok {
		return b, nil
	}
	return nil, errors.New("no such fruit")
}

func cutJPEG(pic image.Image, scale float64, f *record.Fruit, ppm float64) ([]byte, error) {
	c := picture.CutOut(pic, scale, f, ppm)
	if f.Unscaled { // as high as every other without a scale
		c = picture.CutHigh(pic, scale, f, 1.6*cutSide)
	}
	if c.Image.Rect.Dx() < 2 {
		return nil, errors.New("no outline")
	}
	return picture.JPEG(c.Image, 82)
}
