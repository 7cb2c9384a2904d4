package desk

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"offtype/cluster/reference"
	"offtype/measure/colour"
	"offtype/pipeline/atomic"
	"offtype/pipeline/judge"
	"offtype/pipeline/record"
)

func (d *Desk) varietyRoutes(m *http.ServeMux) {
	m.HandleFunc("GET /varieties", d.varietiesView)
	m.HandleFunc("GET /varieties/edit", d.varietyForm)
	m.HandleFunc("POST /varieties/edit", d.saveVariety)
	m.HandleFunc("POST /varieties/words", d.varietyFromWords)
	m.HandleFunc("POST /varieties/learn", d.varietyFromHarvest)
	m.HandleFunc("POST /varieties/file", d.varietyFromFile)
	m.HandleFunc("GET /varieties/{name}/file", d.varietyText)
}

// traitField is a trait of the form.
type traitField struct {
	Name, Label, Unit, Help string
	Low, High               string
	Mean                    string // learnt: shown, not edited
}

// traitForm lists the traits of the form with what they mean.
var traitForm = []struct {
	name, label, unit, help string
	at                      func(*reference.Traits) **reference.Range
}{
	{"length", "Length without the stalk", "mm", "", func(t *reference.Traits) **reference.Range { return &t.Length }},
	{"width", "Width", "mm", "at the widest place", func(t *reference.Traits) **reference.Range { return &t.Width }},
	{"ratio", "Length ÷ width", "", "1 is as long as wide", func(t *reference.Traits) **reference.Range { return &t.Ratio }},
	{"broadest", "Widest at", "", "0 stem end, 1 blossom end", func(t *reference.Traits) **reference.Range { return &t.Broadest }},
	{"neck", "Neck", "", "thinnest ÷ widest", func(t *reference.Traits) **reference.Range { return &t.Neck }},
	{"bend", "Bend", "°", "0 is straight", func(t *reference.Traits) **reference.Range { return &t.Bend }},
	{"volume", "Volume", "cm³", "", func(t *reference.Traits) **reference.Range { return &t.Volume }},
	{"ribs", "Ribs", "", "0 is smooth", func(t *reference.Traits) **reference.Range { return &t.Ribs }},
}

var patternWords = []string{"none", "stripes", "bands", "patches", "dots", "mottled"}

type varietyData struct {
	Name     string // of the file; empty: new
	D        *reference.Description
	Traits   []traitField
	Skin     string // #rrggbb
	SkinTol  string
	HasSkin  bool
	Patterns []struct {
		Word string
		On   bool
	}
	Stages   []string
	Shape    string
	Harvests []string
	All      []varietyLine
}

type varietyLine struct{ Name, Title, Text string }

func (d *Desk) readVariety(name string) (*reference.Description, error) {
	if !d.hasVariety(name) {
		return nil, errors.New("there is no such description; choose one from the list")
	}
	b, err := os.ReadFile(filepath.Join(d.varietyDir(), name+".yaml"))
	if err != nil {
		return nil, err
	}
	return reference.Parse(b)
}

func (d *Desk) varietiesView(w http.ResponseWriter, r *http.Request) {
	d.varieties(w, r, http.StatusOK, nil)
}

func (d *Desk) varieties(w http.ResponseWriter, r *http.Request, status int, problem error) {
	v := varietyData{Harvests: d.inBook(r.Context()), Stages: stages}
	for _, n := range d.varietyNames() {
		x, err := d.readVariety(n)
		title, text := n, ""
		if err != nil {
			text = "cannot be read: " + err.Error()
		} else {
			title, text = x.Name, fmt.Sprintf("%s, version %s", x.Species, x.Version)
			if x.Learnt != nil {
				text += fmt.Sprintf(", learnt from %s", record.Count(x.Learnt.Fruits, "fruit", "fruit"))
			}
		}
		v.All = append(v.All, varietyLine{n, title, text})
	}
	p := &page{Title: "What a variety looks like", Door: "sow", Data: v}
	if problem != nil {
		p.Problem = sentence(problem.Error())
	}
	d.showStatus(w, r, status, "varieties", p)
}

var stages = []string{"young", "at harvest", "cured", "stored"}

func (d *Desk) varietyForm(w http.ResponseWriter, r *http.Request) {
	name := r.URL.Query().Get("name")
	x := &reference.Description{Format: reference.Format, Version: "1"}
	if name != "" {
		var err error
		if x, err = d.readVariety(name); err != nil {
			d.varieties(w, r, http.StatusUnprocessableEntity, err)
			return
		}
	}
	d.varietyPage(w, r, http.StatusOK, name, x, nil)
}

func (d *Desk) varietyPage(w http.ResponseWriter, r *http.Request, status int, name string, x *reference.Description, problem error) {
	v := varietyData{Name: name, D: x, Stages: stages, Shape: strings.Join(x.Shape, ", ")}
	for _, t := range traitForm {
		f := traitField{Name: t.name, Label: t.label, Unit: t.unit, Help: t.help}
		if g := *t.at(&x.Traits); g != nil {
			f.Low, f.High = numText(g.Low), numText(g.High)
			if g.Mean != nil {
				f.Mean = "mean " + numText(g.Mean)
			}
		}
		v.Traits = append(v.Traits, f)
	}
	if x.Skin != nil && len(x.Skin.Lab) == 3 {
		v.HasSkin = true
		v.Skin = record.Lab{L: x.Skin.Lab[0], A: x.Skin.Lab[1], B: x.Skin.Lab[2]}.Hex()
		v.SkinTol = numText(x.Skin.Tolerance)
	}
	for _, p := range patternWords {
		on := false
		for _, q := range x.Pattern {
			on = on || p == q
		}
		v.Patterns = append(v.Patterns, struct {
			Word string
			On   bool
		}{p, on})
	}
	p := &page{Title: "Describe a variety", Door: "sow", Data: v}
	if problem != nil {
		p.Problem = sentence(problem.Error())
	}
	d.showStatus(w, r, status, "variety", p)
}

func numText(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'f', -1, 64)
}

// formDescription puts the form over the description that was there.
func formDescription(old *reference.Description, f url.Values) (*reference.Description, error) {
	x := *old
	x.Format = reference.Format
	x.Name, x.Species, x.Crop = oneLine(f.Get("name"), 80), oneLine(f.Get("species"), 80), oneLine(f.Get("crop"), 40)
	x.Version, x.Stage, x.Source = oneLine(f.Get("version"), 40), f.Get("stage"), oneLine(f.Get("source"), 200)
	for _, t := range traitForm {
		at := t.at(&x.Traits)
		low, err1 := optional(f.Get("low-" + t.name))
		high, err2 := optional(f.Get("high-" + t.name))
		if err1 != nil || err2 != nil {
			return &x, fmt.Errorf("%s: write a number, such as 180", strings.ToLower(t.label))
		}
		if low != nil && high != nil && *low > *high {
			return &x, fmt.Errorf("%s: the smaller number comes first", strings.ToLower(t.label))
		}
		same := *at != nil && numText((*at).Low) == numText(low) && numText((*at).High) == numText(high)
		switch {
		case same:
		case low == nil && high == nil:
			*at = nil
		default:
			*at = &reference.Range{Unit: t.unit, Low: low, High: high}
		}
	}
	if old.Format == 0 { // a new one: what was made of the packet's words stands in the form only
		x.Notes = nil
		for _, n := range f["note"] {
			if n = oneLine(n, 4000); n != "" && len(x.Notes) < 20 {
				x.Notes = append(x.Notes, n)
			}
		}
	}
	if err := formColour(&x, f); err != nil {
		return &x, err
	}
	x.Pattern = nil
	for _, p := range patternWords {
		for _, q := range f["pattern"] {
			if p == q {
				x.Pattern = append(x.Pattern, p)
			}
		}
	}
	x.Shape = nil
	for _, s := range strings.Split(f.Get("shape"), ",") {
		if s = oneLine(s, 40); s != "" {
			x.Shape = append(x.Shape, s)
		}
	}
	return &x, nil
}

// formColour takes the colour of the form, unless it is the one on the screen already.
func formColour(x *reference.Description, f url.Values) error {
	if f.Get("hasskin") != "1" {
		x.Skin = nil
		return nil
	}
	tol, err := optional(f.Get("tolerance"))
	if err != nil {
		return errors.New("the colour difference is a number, such as 8")
	}
	var c record.Lab
	if x.Skin != nil && len(x.Skin.Lab) == 3 {
		c = record.Lab{L: x.Skin.Lab[0], A: x.Skin.Lab[1], B: x.Skin.Lab[2]}
	}
	if x.Skin == nil || c.Hex() != f.Get("skin") {
		n, err := strconv.ParseUint(strings.TrimPrefix(f.Get("skin"), "#"), 16, 32)
		if err != nil || len(f.Get("skin")) != 7 {
			return errors.New("choose a colour from the field")
		}
		l := colour.SRGB255(float64(n>>16), float64(n>>8&255), float64(n&255))
		off := false
		x.Skin = &reference.Colour{Lab: []float64{round1(l.L), round1s(l.A), round1s(l.B)}, Measured: &off}
	}
	skin := *x.Skin // the description that was there stays as it is
	if skin.Tolerance = tol; tol == nil && len(skin.Spread) == 0 {
		t := 10.0
		skin.Tolerance = &t
	}
	x.Skin = &skin
	return nil
}

func round1s(v float64) float64 {
	if v < 0 {
		return -round1(-v)
	}
	return round1(v)
}

// optional reads a number that may be missing.
func optional(s string) (*float64, error) {
	if strings.TrimSpace(s) == "" {
		return nil, nil
	}
	v, err := number(s)
	if err != nil {
		return nil, err
	}
	return &v, nil
}

func (d *Desk) saveVariety(w http.ResponseWriter, r *http.Request) {
	name := r.PostForm.Get("file")
	old := &reference.Description{}
	if name != "" {
		var err error
		if old, err = d.readVariety(name); err != nil {
			d.varieties(w, r, http.StatusUnprocessableEntity, err)
			return
		}
	}
	x, err := formDescription(old, r.PostForm)
	if err == nil {
		err = d.keepVariety(name, old, x)
	}
	if err != nil {
		d.varietyPage(w, r, http.StatusUnprocessableEntity, name, x, err)
		return
	}
	http.Redirect(w, r, "/varieties?said=saved", http.StatusSeeOther)
}

// keepVariety checks and writes a description; harvests that use it are judged again.
func (d *Desk) keepVariety(name string, old, x *reference.Description) error {
	if x.Name == "" || x.Species == "" {
		return errors.New("the description needs a name and a species")
	}
	text, err := x.Text()
	if err != nil {
		return err
	}
	if _, err := reference.Parse([]byte(text)); err != nil {
		return err
	}
	if name != "" {
		was, err := old.Text()
		if err == nil && was != text && old.Version == x.Version {
			return fmt.Errorf("give the changed description a new version, for a verdict names the version it used (now %s)", old.Version)
		}
	} else {
		name = slug(x.Name)
		for k := 2; d.hasVariety(name); k++ {
			name = fmt.Sprintf("%s-%d", slug(x.Name), k)
		}
	}
	if err := atomic.WriteBytes(filepath.Join(d.varietyDir(), name+".yaml"), []byte(text)); err != nil {
		return err
	}
	for _, h := range d.list() {
		h.mu.Lock()
		if h.Variety == name && h.woken {
			h.stale = true
			h.refresh()
		}
		h.mu.Unlock()
	}
	return nil
}

func head(f url.Values) reference.Head {
	return reference.Head{Name: oneLine(f.Get("name"), 80), Species: oneLine(f.Get("species"), 80), Crop: oneLine(f.Get("crop"), 40), Version: "1", Stage: f.Get("stage")}
}

// varietyFromWords makes a description from what the packet says and shows it for looking over.
func (d *Desk) varietyFromWords(w http.ResponseWriter, r *http.Request) {
	h := head(r.PostForm)
	if h.Name == "" || h.Species == "" {
		d.varieties(w, r, http.StatusUnprocessableEntity, errors.New("give the name and the species first"))
		return
	}
	x, err := reference.FromWords(oneLine(r.PostForm.Get("words"), 2000), h)
	if err != nil {
		d.varieties(w, r, http.StatusUnprocessableEntity, err)
		return
	}
	d.varietyPage(w, r, http.StatusOK, "", x, nil)
}

// varietyFromHarvest learns a description from fruit of the book that are true to type, and keeps it.
func (d *Desk) varietyFromHarvest(w http.ResponseWriter, r *http.Request) {
	h := head(r.PostForm)
	h.Harvest = oneLine(r.PostForm.Get("harvest"), 60)
	run, err := d.book.LoadRun(r.Context(), h.Harvest)
	var x *reference.Description
	if err == nil {
		if h.Name == "" || h.Species == "" {
			err = errors.New("give the name and the species first")
		}
	}
	if err == nil {
		plants := strings.FieldsFunc(r.PostForm.Get("plants"), func(c rune) bool { return c == ',' || c == ' ' })
		x, err = judge.Learn(run.Fruits, run.Photos, plants, h)
	}
	if err == nil {
		err = d.keepVariety("", nil, x)
	}
	if err != nil {
		d.varieties(w, r, http.StatusUnprocessableEntity, err)
		return
	}
	http.Redirect(w, r, "/varieties?said=made", http.StatusSeeOther)
}

// varietyText gives the description's file away, for the command line.
func (d *Desk) varietyText(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	if !d.hasVariety(name) {
		d.notFound(w, r)
		return
	}
	b, err := os.ReadFile(filepath.Join(d.varietyDir(), name+".yaml"))
	if err != nil {
		d.notFound(w, r)
		return
	}
	w.Header().Set("Content-Type", "application/yaml")
	w.Header().Set("Content-Disposition", `attachment; filename="`+name+`.yaml"`)
	w.Write(b)
}
