package desk

import (
	"context"
	"errors"
	"fmt"
	"image"
	"math"
	"net/http"
	"sort"
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
}

type groupsData struct {
	ID       string
	Rows     []groupRow
	Targets  []target // groups that a fruit can be moved to
	Next     int      // number of a new group
	ScaleBar int      // px of 100 mm, 0: no scale
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

// decisions reads what was decided by hand: the group of a fruit, and the names of groups.
func (h *harvest) decisions(ctx context.Context) (groups map[record.Key]book.Decision, names map[int]book.Decision, lost []string) {
	groups, names = map[record.Key]book.Decision{}, map[int]book.Decision{}
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
			n, name, ok := strings.Cut(x.Value, ": ")
			if k, err := strconv.Atoi(n); ok && err == nil {
				x.Value = name
				names[k] = x
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
	keys := map[string]string{}
	for i := range h.Photos {
		keys[h.Photos[i].File] = h.Photos[i].Key
	}
	ppm := h.pxPerMM()
	v.ScaleBar = int(100*ppm + .5)
	rows := map[int]*groupRow{}
	row := func(n int) *groupRow {
		if rows[n] == nil {
			rows[n] = &groupRow{Number: n, HandMade: true, Colour: groupColours[(n-1)%len(groupColours)]}
			if x, ok := names[n]; ok {
				rows[n].Name = x.Value
			}
		}
		return rows[n]
	}
	for _, g := range h.result.Judgement.Groups {
		r := row(g.Group)
		r.HandMade, r.Reasons, r.Apart = false, g.Reasons, g.Apart
		if g.Verdict != "" && g.Verdict != record.NotJudged {
			r.Verdict = string(g.Verdict)
			r.Sign, r.Class = g.Verdict.Mark()
		}
	}
	member := map[record.Key]*record.Membership{}
	for i := range h.result.Groups {
		member[h.result.Groups[i].Key] = &h.result.Groups[i]
	}
	for i := range h.result.Fruits {
		f := &h.result.Fruits[i]
		m := member[f.Key()]
		if m == nil {
			continue
		}
		c := cutCard{Key: keys[f.Photo], Number: f.Number, Size: size(f), Computed: m.Group, Group: m.Group, Unsure: m.Unsure, Alone: m.Alone, Member: m.Membership, File: f.Photo}
		c.Caption = fmt.Sprintf("no. %d", f.Number)
		if f.Plant != "" {
			c.Caption = "plant " + f.Plant + ", " + c.Caption
		}
		c.Alt = fmt.Sprintf("Fruit %d of %s, %s", f.Number, f.Photo, c.Size)
		if x, ok := hand[f.Key()]; ok {
			if n, err := strconv.Atoi(x.Value); err == nil && n > 0 {
				c.Group, c.ByHand = n, true
				v.Moved++
				v.Moves = append(v.Moves, fmt.Sprintf("%s, %s: put into group %d by hand; the program had group %d.", f.Photo, c.Caption, n, c.Computed))
			}
		}
		if (c.Unsure || c.Alone) && !c.ByHand {
			v.Unsure++
		}
		r := row(c.Group)
		r.Cuts = append(r.Cuts, c)
	}
	for n := range rows {
		v.Next = max(v.Next, n)
	}
	v.Next++
	for _, r := range rows {
		plants := map[string]bool{}
		for _, c := range r.Cuts {
			if f := h.fruit(c.File, c.Number); f != nil && f.Plant != "" {
				plants[f.Plant] = true
			}
		}
		r.Head = record.Count(len(r.Cuts), "fruit", "fruit")
		if len(plants) > 0 {
			r.Head += " of " + record.Count(len(plants), "plant", "plants")
		}
		v.Rows = append(v.Rows, *r)
		v.Targets = append(v.Targets, target{r.Number, r.Name})
	}
	sort.Slice(v.Rows, func(i, j int) bool { return v.Rows[i].Number < v.Rows[j].Number })
	sort.Slice(v.Targets, func(i, j int) bool { return v.Targets[i].Number < v.Targets[j].Number })
	return v
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

// pxPerMM is the one scale of all cut-outs; the caller holds mu and there is a result.
func (h *harvest) pxPerMM() float64 {
	long := 0.0
	for i := range h.result.Fruits {
		f := &h.result.Fruits[i]
		for _, v := range []record.Value{f.Length, f.Width} {
			if v.Ok() {
				long = math.Max(long, v.V)
			}
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

// keyed reads the fruit of a form: photo key and number.
func (h *harvest) keyed(s string) (record.Key, error) {
	key, n, ok := strings.Cut(s, ".")
	num, err := strconv.Atoi(n)
	h.mu.Lock()
	defer h.mu.Unlock()
	p, _ := h.photo(key)
	if !ok || err != nil || p == nil || h.result == nil || h.fruit(p.File, num) == nil {
		return record.Key{}, errors.New("there is no such fruit; load the page again")
	}
	return record.Key{Photo: p.File, Number: num}, nil
}

// put decides the group of a fruit by hand; the computed group takes the decision back.
func (d *Desk) put(ctx context.Context, h *harvest, k record.Key, to int) error {
	if to < 1 || to > 999 {
		return errors.New("choose a group from the list")
	}
	hand, _, _ := h.decisions(ctx)
	h.mu.Lock()
	m, _ := h.finding(k)
	h.mu.Unlock()
	old, had := hand[k]
	if m == nil || m.Group != to || m.Unsure || m.Alone {
		if had && old.Value == strconv.Itoa(to) {
			return nil
		}
		if err := d.book.AddDecision(ctx, h.Name, book.Subject{Photo: k.Photo, Fruit: k.Number}, "group", strconv.Itoa(to), "", ""); err != nil {
			return err
		}
	}
	if had {
		return d.book.Remove(ctx, "decision", old.ID)
	}
	return nil
}

func (d *Desk) moveFruit(w http.ResponseWriter, r *http.Request, h *harvest) {
	if err := form(w, r); err != nil {
		d.problem(w, r, http.StatusBadRequest, err)
		return
	}
	to, _ := strconv.Atoi(r.PostForm.Get("to"))
	fruits := r.PostForm["fruit"]
	var err error
	if len(fruits) == 0 {
		err = errors.New("tick the fruit to move first")
	}
	for _, s := range fruits {
		var k record.Key
		if k, err = h.keyed(s); err != nil {
			break
		}
		if err = d.put(r.Context(), h, k, to); err != nil {
			break
		}
	}
	if r.PostForm.Get("back") == "unsure" && err == nil {
		http.Redirect(w, r, "/h/"+h.ID+"/unsure?said=saved", http.StatusSeeOther)
		return
	}
	d.afterGroups(w, r, h, err)
}

// afterGroups answers with the rows.
func (d *Desk) afterGroups(w http.ResponseWriter, r *http.Request, h *harvest, err error) {
	if r.Header.Get("HX-Request") == "" && err == nil {
		http.Redirect(w, r, "/h/"+h.ID+"/groups?said=saved", http.StatusSeeOther)
		return
	}
	v := h.groupsData(r.Context())
	if err != nil {
		v.Problem = sentence(err.Error())
	}
	if r.Header.Get("HX-Request") == "" {
		d.showStatus(w, r, http.StatusUnprocessableEntity, "groups", h.page("Groups", "groups", v))
		return
	}
	d.piece(w, "groups", "rows", v)
}

// mergeGroups puts all fruit of a group into another.
func (d *Desk) mergeGroups(w http.ResponseWriter, r *http.Request, h *harvest) {
	if err := form(w, r); err != nil {
		d.problem(w, r, http.StatusBadRequest, err)
		return
	}
	from, _ := strconv.Atoi(r.PostForm.Get("group"))
	to, _ := strconv.Atoi(r.PostForm.Get("to"))
	var err error
	if from == to {
		err = errors.New("choose another group to join it with")
	}
	for _, row := range h.groupsData(r.Context()).Rows {
		if row.Number != from || err != nil {
			continue
		}
		for _, c := range row.Cuts {
			if err = d.put(r.Context(), h, record.Key{Photo: c.File, Number: c.Number}, to); err != nil {
				break
			}
		}
	}
	d.afterGroups(w, r, h, err)
}

func (d *Desk) nameGroup(w http.ResponseWriter, r *http.Request, h *harvest) {
	if err := form(w, r); err != nil {
		d.problem(w, r, http.StatusBadRequest, err)
		return
	}
	n, err := strconv.Atoi(r.PostForm.Get("group"))
	name := oneLine(r.PostForm.Get("name"), 60)
	if err != nil || n < 1 || n > 999 {
		d.afterGroups(w, r, h, errors.New("there is no such group; load the page again"))
		return
	}
	_, names, _ := h.decisions(r.Context())
	old, had := names[n]
	if name != "" && name != old.Value {
		err = d.book.AddDecision(r.Context(), h.Name, book.Subject{}, "group name", fmt.Sprintf("%d: %s", n, name), "", "")
	}
	if err == nil && had && name != old.Value {
		err = d.book.Remove(r.Context(), "decision", old.ID)
	}
	d.afterGroups(w, r, h, err)
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
	pic, scale, err := h.openPreview(part)
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
	if c.Image.Rect.Dx() < 2 {
		return nil, errors.New("no outline")
	}
	return picture.JPEG(c.Image, 82)
}
