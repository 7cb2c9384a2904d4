package desk

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"offtype/pipeline"
	"offtype/pipeline/record"
	"offtype/pipeline/segment"
)

func (d *Desk) tableRoutes(m *http.ServeMux) {
	m.HandleFunc("GET /h/{id}/table", d.withHarvest(d.firstTable))
	m.HandleFunc("GET /h/{id}/photo/{key}", d.withHarvest(d.tableView))
	m.HandleFunc("GET /h/{id}/photo/{key}/fruit/{n}", d.withHarvest(d.fruitPanel))
	m.HandleFunc("POST /h/{id}/photo/{key}/fix", d.withHarvest(d.fix))
	m.HandleFunc("POST /h/{id}/photo/{key}/undo", d.withHarvest(d.undo))
	m.HandleFunc("POST /h/{id}/photo/{key}/spare", d.withHarvest(d.spare))
}

// shape is a fruit drawn on the photo.
type shape struct {
	Number                        int
	Outline, Stalk, Length, Width string
	Middle, Stem, Blossom         string
	Colour, Dash, Sign, Label     string
	X, Y                          float64
	Off                           bool
}

type tableData struct {
	ID, Key, File     string
	W, H              int
	Font              float64
	Shapes            []shape
	Quads             []string
	Message           string
	Text              string
	Fixes             []string
	Prev, Next        string
	Place             string
	Fruit             *fruitData // selected
	Problem           string
	Judging           bool
	Plants            []string
	Failed, Measuring bool
}

// fruitData is the panel of one fruit.
type fruitData struct {
	Number   int
	Head     string
	Size     string
	Verdict  string
	Sign     string
	Class    string
	Reasons  []string
	Numbers  [][2]string
	Swatches []swatch
	Profile  string // SVG path, 0–200 along, 0–100 across
	Notes    []string
	Unsure   bool
	Plant    string
	Pose     string
	Group    string
	Spared   bool // not to be judged
}

type swatch struct{ Colour, Text string }

func (d *Desk) firstTable(w http.ResponseWriter, r *http.Request, h *harvest) {
	h.mu.Lock()
	key := ""
	if len(h.Photos) > 0 {
		key = h.Photos[0].Key
	}
	for i := range h.Photos {
		if l := h.live[h.Photos[i].Key]; l.part != nil {
			key = h.Photos[i].Key
			break
		}
	}
	h.mu.Unlock()
	if key == "" {
		http.Redirect(w, r, "/h/"+h.ID+"/photos", http.StatusSeeOther)
		return
	}
	http.Redirect(w, r, "/h/"+h.ID+"/photo/"+key, http.StatusSeeOther)
}

// tableData describes a photo for its view; false when there is no such photo. The caller holds mu.
func (h *harvest) tableData(key string) (tableData, bool) {
	p, l := h.photo(key)
	if p == nil {
		return tableData{}, false
	}
	v := tableData{ID: h.ID, Key: key, File: p.File, Message: sentence(l.message), Failed: l.state == failed, Measuring: l.state == waiting || l.state == measuring, Judging: h.judging}
	for i := range h.Photos {
		if h.Photos[i].Key == key {
			v.Place = fmt.Sprintf("Photo %d of %d", i+1, len(h.Photos))
			if i > 0 {
				v.Prev = h.Photos[i-1].Key
			}
			if i+1 < len(h.Photos) {
				v.Next = h.Photos[i+1].Key
			}
		}
	}
	if fx, err := segment.ReadFixes(segment.FixPath(h.path(p), "")); err == nil {
		for _, x := range fx.Fixes {
			v.Fixes = append(v.Fixes, fixWords[x.Op])
		}
	} else {
		v.Message = sentence(err.Error())
	}
	if l.part == nil {
		return v, true
	}
	ph := &l.part.Photo
	v.W, v.H, v.Font = ph.Width, ph.Height, float64(max(ph.Width, ph.Height))/48
	for _, q := range ph.Quads {
		v.Quads = append(v.Quads, pathOf(q, true))
	}
	v.Text = count(len(l.part.Fruits), "fruit", "fruit") + "."
	if !p.None {
		v.Text += fmt.Sprintf(" %.2f mm a pixel; camera %.0f cm above the table, tilted %.0f°.", ph.MMPerPx, ph.HeightMM/10, ph.TiltDeg)
	}
	if !ph.ColourOK {
		v.Text += " The colours of this photo are doubtful and are not used for verdicts."
	}
	for i := range l.part.Fruits {
		v.Shapes = append(v.Shapes, h.shape(&l.part.Fruits[i]))
	}
	return v, true
}

var fixWords = map[string]string{
	"add": "new outline", "drop": "not a fruit", "split": "cut in two", "merge": "joined", "pose": "how it lies", "stem": "stem end", "plant": "plant", "redraw": "outline drawn again",
}

// shape draws a fruit; the caller holds mu.
func (h *harvest) shape(f *record.Fruit) shape {
	g, v := h.finding(f.Key())
	s := shape{Number: f.Number, Outline: pathOf(thin(f.Outline, 240), true), Stalk: pathOf(thin(f.StalkPx, 60), true), X: f.X, Y: f.Y, Colour: groupColours[0]}
	if g != nil {
		k := (g.Group - 1) % len(groupColours)
		s.Colour = groupColours[max(0, k)]
		if k > 0 {
			s.Dash = fmt.Sprintf("%d 4", 6+3*k)
		}
	}
	if f.LengthLine[0] != f.LengthLine[1] {
		s.Length = pathOf(f.LengthLine[:], false)
	}
	if f.WidthLine[0] != f.WidthLine[1] {
		s.Width = pathOf(f.WidthLine[:], false)
	}
	s.Middle = pathOf(thin(f.MidlinePx, 30), false)
	if f.StemPx != nil {
		s.Stem = fmt.Sprintf("%.1f,%.1f", f.StemPx.X+.5, f.StemPx.Y+.5)
	}
	words := []string{fmt.Sprintf("Fruit %d", f.Number)}
	if f.Plant != "" {
		words = append(words, "plant "+f.Plant)
	}
	words = append(words, size(f))
	if g != nil {
		words = append(words, fmt.Sprintf("group %d", g.Group))
	}
	if v != nil && v.Verdict == record.OffType {
		s.Sign, s.Off = "▲", true
		words = append(words, "off-type")
	}
	if f.Unsure {
		s.Sign += "?"
		words = append(words, "outline not sure")
	}
	s.Label = strings.Join(words, ", ")
	return s
}

// finding returns the group and verdict of a fruit as last computed; the caller holds mu.
func (h *harvest) finding(k record.Key) (*record.Membership, *record.FruitVerdict) {
	if h.result == nil {
		return nil, nil
	}
	var m *record.Membership
	for i := range h.result.Groups {
		if h.result.Groups[i].Key == k {
			m = &h.result.Groups[i]
		}
	}
	for i := range h.result.Judgement.Fruits {
		if f := &h.result.Judgement.Fruits[i]; f.Photo == k.Photo && f.Fruit == k.Number {
			return m, f
		}
	}
	return m, nil
}

func (d *Desk) tableView(w http.ResponseWriter, r *http.Request, h *harvest) {
	h.mu.Lock()
	v, ok := h.tableData(r.PathValue("key"))
	if n, err := strconv.Atoi(r.URL.Query().Get("fruit")); ok && err == nil {
		v.Fruit = h.fruitData(v.Key, n)
	}
	if ok && !v.Failed && !v.Measuring {
		p, _ := h.photo(v.Key)
		go h.desk.session.Hold(h.shot(p)) // the first correction shall be quick too; its error is said when one is made
	}
	h.mu.Unlock()
	if !ok {
		d.notFound(w, r)
		return
	}
	d.show(w, r, "photo", h.page(v.File, "table", v))
}

func (d *Desk) fruitPanel(w http.ResponseWriter, r *http.Request, h *harvest) {
	n, _ := strconv.Atoi(r.PathValue("n"))
	h.mu.Lock()
	v, ok := h.tableData(r.PathValue("key"))
	v.Fruit = h.fruitData(r.PathValue("key"), n)
	h.mu.Unlock()
	if !ok || v.Fruit == nil {
		d.notFound(w, r)
		return
	}
	d.piece(w, "photo", "panel", v)
}

// fruitData describes fruit n of a photo, nil when there is none; the caller holds mu.
func (h *harvest) fruitData(key string, n int) *fruitData {
	_, l := h.photo(key)
	if l == nil || l.part == nil {
		return nil
	}
	for i := range l.part.Fruits {
		if f := &l.part.Fruits[i]; f.Number == n {
			return h.describe(f)
		}
	}
	return nil
}

func (h *harvest) describe(f *record.Fruit) *fruitData {
	v := &fruitData{Number: f.Number, Head: fmt.Sprintf("Fruit %d", f.Number), Size: size(f), Unsure: f.Unsure, Plant: f.Plant, Pose: string(f.Pose), Notes: notesInWords(f.Notes)}
	if f.Plant != "" {
		v.Head += " of plant " + f.Plant
	}
	add := func(name, text string) {
		if text != "" {
			v.Numbers = append(v.Numbers, [2]string{name, text})
		}
	}
	add("Length without the stalk", plusMinus(f.Length, 0, "mm"))
	add("Width", plusMinus(f.Width, 0, "mm"))
	add("Length ÷ width", record.Fixed(f.Ratio.V, 2))
	if f.Midline.Ok() && f.Bend.Ok() && f.Bend.V > 8 {
		add("Along the curve", plusMinus(f.Midline, 0, "mm"))
		add("Bend", record.Fixed(f.Bend.V, 0)+"°")
	}
	add("Widest at (0 stem, 1 blossom)", record.Fixed(f.BroadestAt.V, 2))
	add("Volume", plusMinus(f.Volume, 0, "cm³"))
	if f.Ribs > 0 {
		add("Ribs", strconv.Itoa(f.Ribs))
	} else if f.Ribs == 0 {
		add("Ribs", "none")
	}
	add("Pattern", strings.TrimSpace(f.Pattern))
	add("Shape", strings.Join(f.ShapeWords, ", "))
	add("Stalk", plusMinus(f.StalkLength, 0, "mm"))
	if f.Skin != nil {
		v.Swatches = append(v.Swatches, swatch{screen(f.Skin), strings.TrimSpace(f.SkinWords + fmt.Sprintf(" (L %.0f, a %.0f, b %.0f)", f.Skin.L, f.Skin.A, f.Skin.B))})
	}
	if f.Second != nil {
		t := fmt.Sprintf("second colour (L %.0f, a %.0f, b %.0f)", f.Second.L, f.Second.A, f.Second.B)
		if f.SecondShare.Ok() {
			t += fmt.Sprintf(", %.0f %% of the skin", 100*f.SecondShare.V)
		}
		v.Swatches = append(v.Swatches, swatch{screen(f.Second), t})
	}
	v.Profile = profilePath(f)
	v.Spared = slices.Contains(h.Spared, fmt.Sprintf("%s:%d", f.Photo, f.Number))
	g, j := h.finding(f.Key())
	if g != nil {
		v.Group = fmt.Sprintf("Group %d", g.Group)
		if g.Alone {
			v.Group += ", stands alone"
		} else if g.Unsure {
			v.Group += fmt.Sprintf(", not sure (%.0f %%)", 100*g.Membership)
		}
	}
	if j != nil && h.result.Judgement.Variety != nil {
		v.Verdict, v.Reasons = string(j.Verdict), j.Reasons
		v.Sign, v.Class = verdictSign(j.Verdict)
	}
	return v
}

// profilePath draws the fitted body from the side, stem end left, in a box 200 wide.
func profilePath(f *record.Fruit) string {
	n := len(f.Profile)
	long := f.Midline.V
	if !f.Midline.Ok() {
		long = f.Length.V
	}
	if n < 3 || !(long > 0) {
		return ""
	}
	k := 190 / long
	for _, v := range f.Profile {
		k = min(k, 110/max(v, 1))
	}
	var b strings.Builder
	x0 := 100 - long*k/2
	for i := range 2 * n {
		j, s := i, -1.0
		if i >= n {
			j, s = 2*n-1-i, 1
		}
		c := byte('L')
		if i == 0 {
			c = 'M'
		}
		fmt.Fprintf(&b, "%c%.1f %.1f", c, x0+k*long*float64(j)/float64(n-1), 60+s*k*f.Profile[j]/2)
	}
	return b.String() + "Z"
}

// fix takes one correction: it is measured first, then saved, then shown.
func (d *Desk) fix(w http.ResponseWriter, r *http.Request, h *harvest) {
	if err := form(w, r); err != nil {
		d.problem(w, r, http.StatusBadRequest, err)
		return
	}
	f := r.PostForm
	n, _ := strconv.Atoi(f.Get("fruit"))
	err := h.correct(r.PathValue("key"), func(part *pipeline.Part, fx *segment.Fixes) error {
		more, err := fixFrom(part, n, f)
		if err != nil {
			return err
		}
		fx.Fixes = append(fx.Fixes, more)
		return nil
	})
	d.afterFix(w, r, h, n, err)
}

// spare takes a fruit out of the judging, or back in: sick, damaged or unripe fruit say nothing of
// the variety. It is still measured.
func (d *Desk) spare(w http.ResponseWriter, r *http.Request, h *harvest) {
	if err := form(w, r); err != nil {
		d.problem(w, r, http.StatusBadRequest, err)
		return
	}
	n, _ := strconv.Atoi(r.PostForm.Get("fruit"))
	h.mu.Lock()
	p, _ := h.photo(r.PathValue("key"))
	known := p != nil && h.fruitData(p.Key, n) != nil
	h.mu.Unlock()
	err := errors.New("choose a fruit first")
	if known {
		err = h.change(func(s *saved) error {
			name := fmt.Sprintf("%s:%d", p.File, n)
			s.Spared = slices.DeleteFunc(slices.Clone(s.Spared), func(x string) bool { return x == name })
			if r.PostForm.Get("on") == "1" {
				s.Spared = append(s.Spared, name)
			}
			return nil
		})
	}
	if err == nil {
		h.mu.Lock()
		h.stale = true
		h.refresh()
		h.mu.Unlock()
	}
	d.afterFix(w, r, h, n, err)
}

func (d *Desk) undo(w http.ResponseWriter, r *http.Request, h *harvest) {
	if err := form(w, r); err != nil {
		d.problem(w, r, http.StatusBadRequest, err)
		return
	}
	n, _ := strconv.Atoi(r.PostForm.Get("fruit"))
	err := h.correct(r.PathValue("key"), func(_ *pipeline.Part, fx *segment.Fixes) error {
		if len(fx.Fixes) == 0 {
			return errors.New("there is nothing to take back on this photo")
		}
		fx.Fixes = fx.Fixes[:len(fx.Fixes)-1]
		return nil
	})
	d.afterFix(w, r, h, n, err)
}

// afterFix answers with the drawing and the panel, and with what went wrong.
func (d *Desk) afterFix(w http.ResponseWriter, r *http.Request, h *harvest, n int, err error) {
	h.mu.Lock()
	v, ok := h.tableData(r.PathValue("key"))
	v.Fruit = h.fruitData(v.Key, n)
	h.mu.Unlock()
	if !ok {
		d.notFound(w, r)
		return
	}
	if err != nil {
		v.Problem = sentence(err.Error())
	}
	if r.Header.Get("HX-Request") == "" {
		d.show(w, r, "photo", h.page(v.File, "table", v))
		return
	}
	d.piece(w, "photo", "sheet", v)
}

// correct changes the corrections of a photo and measures it again. Nothing is saved when the
// change cannot be applied.
func (h *harvest) correct(key string, change func(*pipeline.Part, *segment.Fixes) error) error {
	h.fixing.Lock() // corrections of a harvest come one after the other
	defer h.fixing.Unlock()
	h.mu.Lock()
	p, l := h.photo(key)
	if p == nil || l.part == nil {
		h.mu.Unlock()
		return errors.New("this photo is not measured yet; wait until it is, or load the page again")
	}
	old, x := l.part, h.shot(p)
	h.mu.Unlock()
	file := segment.FixPath(x.Path, "")
	fx, err := segment.ReadFixes(file)
	if err != nil {
		return fmt.Errorf("the corrections of this photo cannot be read (%w); move its .fix.json file away", err)
	}
	if err := change(old, fx); err != nil {
		return err
	}
	part, err := h.desk.session.Correct(x, fx)
	if err != nil {
		return err
	}
	if err := fx.Write(file); err != nil {
		return fmt.Errorf("the correction could not be saved (%w)", err)
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if p, l = h.photo(key); p != nil {
		h.measured(l, part)
		h.refresh()
	}
	return nil
}

// fixFrom reads a correction from a form: fruit numbers become points inside them.
func fixFrom(part *pipeline.Part, n int, f url.Values) (segment.Fix, error) {
	x := segment.Fix{Op: f.Get("op")}
	at := func(n int) (*segment.Point, error) {
		for i := range part.Fruits {
			if g := &part.Fruits[i]; g.Number == n {
				c := inside(g)
				return &segment.Point{round1(c.X), round1(c.Y)}, nil
			}
		}
		return nil, errors.New("choose a fruit first")
	}
	pts, err := points(f.Get("points"))
	if err != nil {
		return x, err
	}
	if x.Op != "add" {
		if x.At, err = at(n); err != nil {
			return x, err
		}
	}
	switch x.Op {
	case "add", "redraw":
		if len(pts) < 3 {
			return x, errors.New("draw the outline with at least three points around the fruit")
		}
		x.Outline = pts
	case "split":
		if len(pts) != 2 {
			return x, errors.New("mark the two ends of the cut")
		}
		x.Line = pts
	case "merge":
		with, _ := strconv.Atoi(f.Get("with"))
		if with == n {
			return x, errors.New("choose another fruit to join it with")
		}
		if x.With, err = at(with); err != nil {
			return x, errors.New("choose the other half")
		}
	case "stem":
		if len(pts) != 1 {
			return x, errors.New("mark the place of the stem end")
		}
		x.Stem = &pts[0]
	case "pose":
		x.Pose = f.Get("pose")
	case "plant":
		x.Plant = strings.TrimSpace(f.Get("plant"))
		if x.Plant == "" {
			x.Plant = "0"
		}
	case "drop":
	default:
		return x, errors.New("this correction is not known; load the page again")
	}
	return x, nil
}

func round1(v float64) float64 { return float64(int(v*10+.5)) / 10 }

// points reads "x,y x,y …" in px of the photo.
func points(s string) ([]segment.Point, error) {
	var out []segment.Point
	for _, w := range strings.Fields(s) {
		a, b, ok := strings.Cut(w, ",")
		x, err1 := strconv.ParseFloat(a, 64)
		y, err2 := strconv.ParseFloat(b, 64)
		if !ok || err1 != nil || err2 != nil || len(out) > 20_000 {
			return nil, errors.New("the points of the drawing cannot be read; draw it again")
		}
		out = append(out, segment.Point{x, y})
	}
	return out, nil
}
