package desk

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"offtype/pipeline/picture"
	"offtype/pipeline/record"
	"offtype/pipeline/segment"
)

func (d *Desk) tableRoutes(m *http.ServeMux) {
	m.HandleFunc("GET /h/{id}/table", d.withHarvest(d.firstTable))
	m.HandleFunc("GET /h/{id}/photo/{key}", d.withHarvest(d.tableView))
	m.HandleFunc("GET /h/{id}/photo/{key}/fruit/{n}", d.withHarvest(d.fruitPanel))
	m.HandleFunc("POST /h/{id}/photo/{key}/fix", d.withHarvest(d.fix))
	m.HandleFunc("POST /h/{id}/photo/{key}/number", d.withHarvest(d.plantNumber))
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
	Plant                         string
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
	Also     []alsoOn
}

// alsoOn is another photo of the same table that shows the fruit.
type alsoOn struct {
	Key, File string
	Number    int
}

// alsoOn lists the other photos that show a fruit; the caller holds mu.
func (h *harvest) alsoOn(k record.Key) []alsoOn {
	var out []alsoOn
	best := h.standsFor(k)
	for _, keys := range h.seen {
		if keys[0] != best {
			continue
		}
		for _, x := range keys {
			for i := range h.Photos {
				if p := &h.Photos[i]; x != k && p.File == x.Photo {
					out = append(out, alsoOn{p.Key, p.File, x.Number})
				}
			}
		}
	}
	return out
}

type swatch struct{ Colour, Text string }

func (d *Desk) firstTable(w http.ResponseWriter, r *http.Request, h *harvest) {
	h.mu.Lock()
	key := ""
	if len(h.Photos) > 0 {
		key = h.Photos[0].Key
	}
	for i := range h.Photos {
		l := h.live[h.Photos[i].Key]
		if l.part != nil {
			key = h.Photos[i].Key
			break
		}
		if _, first := h.photo(key); first != nil && first.state == failed { // rather one that is still to come
			key = h.Photos[i].Key
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
	v := tableData{ID: h.ID, Key: key, File: p.File, Message: sentence(l.message), Failed: l.state == failed, Measuring: l.state == waiting || l.state == measuring, Judging: h.settling()}
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
	if fx, err := segment.ReadFixes(h.fixFile(p)); err == nil {
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
		v.Quads = append(v.Quads, picture.SVGPath(q, true))
	}
	v.Text = record.Count(len(l.part.Fruits), "fruit", "fruit") + "."
	if !p.None {
		v.Text += fmt.Sprintf(" %.2f mm a pixel; camera %.0f cm above the table, tilted %.0f°.", ph.MMPerPx, ph.HeightMM/10, ph.TiltDeg)
	}
	if !ph.ColourOK {
		v.Text += " The colours of this photo are doubtful and are not used for verdicts."
	}
	for i := range l.part.Fruits {
		s := h.shape(&l.part.Fruits[i])
		if v.Judging { // what was found before may hold no more
			s.Off, s.Sign, s.Label = false, strings.TrimPrefix(s.Sign, "▲"), strings.Replace(s.Label, ", off-type", "", 1)
		}
		v.Shapes = append(v.Shapes, s)
	}
	return v, true
}

// fixFile is where the corrections of a photo lie; the caller holds mu.
func (h *harvest) fixFile(p *savedPhoto) string {
	dir := ""
	if h.Run != nil {
		dir = h.Run.Fixes
	}
	return segment.FixPath(h.path(p), dir)
}

var fixWords = map[string]string{
	"add": "new outline", "drop": "not a fruit", "split": "cut in two", "merge": "joined", "pose": "how it lies", "stem": "stem end", "plant": "plant", "redraw": "outline drawn again",
}

// shape draws a fruit; the caller holds mu.
func (h *harvest) shape(f *record.Fruit) shape {
	g, v := h.finding(f.Key())
	s := shape{Number: f.Number, Plant: f.Plant, Outline: picture.SVGPath(thin(f.Outline, 0.5), true), Stalk: picture.SVGPath(thin(f.StalkPx, 0.7), true), X: f.X, Y: f.Y}
	s.Colour, s.Dash = record.GroupLook(0)
	if g != nil {
		s.Colour, s.Dash = record.GroupLook(g.Group)
	}
	if f.LengthLine[0] != f.LengthLine[1] {
		s.Length = picture.SVGPath(f.LengthLine[:], false)
	}
	if f.WidthLine[0] != f.WidthLine[1] {
		s.Width = picture.SVGPath(f.WidthLine[:], false)
	}
	s.Middle = picture.SVGPath(thin(f.MidlinePx, 1), false)
	if f.StemPx != nil {
		s.Stem = fmt.Sprintf("%.1f,%.1f", f.StemPx.X+.5, f.StemPx.Y+.5)
	}
	words := []string{fmt.Sprintf("Fruit %d", f.Number)}
	if f.Plant != "" {
		words = append(words, "plant "+f.Plant)
	}
	words = append(words, f.SizeWords())
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
	k = h.standsFor(k)
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
