package desk

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"offtype/pipeline/book"
	"offtype/pipeline/exchange"
	"offtype/pipeline/record"
)

// Entries are what a grower writes into the book by hand: packets and lots, plants, beds … The
// forms follow from the book's own list of fields.

func (d *Desk) entryRoutes(m *http.ServeMux) {
	d.keepsakeRoutes(m)
	m.HandleFunc("GET /book/{kind}", d.entryView)
	m.HandleFunc("POST /book/{kind}", d.saveEntry)
}

// entryWords are the title of a kind, the name of its key, and the door it belongs to.
var entryWords = map[string][3]string{
	"lot":      {"Packets and seed lots", "Your own code for the lot, such as L-2026-1", "sow"},
	"variety":  {"Varieties", "Name", "sow"},
	"bed":      {"Beds", "Name", "bed"},
	"planting": {"Plantings", "Name, such as 2026 squash (as the harvest)", "bed"},
	"plant":    {"Plants", "Planting / number, such as 2026 squash/7", "bed"},
	"grower":   {"Growers", "Name", "sow"},
	"harvest":  {"Harvests in the book", "Name", "table"},
}

// fieldLabels are words for fields whose names do not say enough.
var fieldLabels = map[string]string{
	"supplier_lot": "Supplier's lot number", "packet": "What the packet says", "isolation_m": "Distance, m", "seed_left": "Seed kept back", "fate": "What became of it",
	"kind": "Sort of seed", "protected": "Protected variety", "control": "Control plant", "first_ripe": "First ripe fruit", "flowered": "First flower",
	"fruit_count": "Fruit", "ripe_count": "Ripe fruit", "weight_g": "Weight of all fruit, g", "plants_set": "Plants set out", "mother": "Mother plant", "father": "Father plant",
	"season": "Year",
}

// rareFields are shown folded: most growers leave them empty.
var rareFields = map[string]bool{
	"lot/generation": true, "lot/mother": true, "lot/father": true, "lot/isolation_m": true, "lot/pollination": true, "lot/origin": true, "lot/kind": true,
	"plant/lot": true, "plant/pollination": true, "plant/fruit_count": true, "plant/ripe_count": true, "plant/weight_g": true,
}

// longFields take more than a line.
var longFields = map[string]bool{"note": true, "packet": true}

type entryField struct {
	Name, Label, Value, Help, Type string
	Was                            string // what the book held when the form was first shown
	Kind                           string // of the input: text, date, number, long
	More                           bool
	Choice                         []string
	List                           []string
}

type entryLine struct{ Name, Text string }

type entryData struct {
	Kind    string
	Key     string
	KeyHelp string
	Name    string
	Fields  []entryField
	More    bool // some fields are folded
	Open    bool // … and one of them is filled in
	Entries []entryLine

	Known        bool // it is in the book: notes can be written on it
	Notes        []book.Note
	Pictured     bool // it can have pictures
	Pictures     []book.PictureOf
	PictureKinds []string
}

// wordsOf turns a field name into words.
func wordsOf(name string) string {
	if s, ok := fieldLabels[name]; ok {
		return s
	}
	s := strings.ReplaceAll(name, "_", " ")
	for from, to := range map[string]string{" m": ", m", " g": ", g"} {
		if base, ok := strings.CutSuffix(s, from); ok {
			s = base + to
		}
	}
	return record.Capital(s)
}

// bookTables are all tables of the book, read once for a page.
type bookTables map[string]exchange.Table

func (d *Desk) bookTables(ctx context.Context) (bookTables, error) {
	tables, err := d.book.Tables(ctx, book.ExportOptions{NoOutlines: true})
	if err != nil {
		return nil, err
	}
	out := bookTables{}
	for _, t := range tables {
		out[t.Name] = t
	}
	return out, nil
}

// text is a cell of a row by its column's name, empty when there is none.
func text(t *exchange.Table, row []any, field string) string {
	for i, f := range t.Fields {
		if f.Name == field && i < len(row) && row[i] != nil {
			return fmt.Sprint(row[i])
		}
	}
	return ""
}

// entryTables are the tables of the kinds and the columns that name their entries.
var entryTables = map[string][2]string{
	"lot": {"lots", "code"}, "variety": {"varieties", "name"}, "grower": {"growers", "name"}, "bed": {"beds", "name"}, "planting": {"plantings", "name"},
	"plant": {"plants", "number"}, "harvest": {"harvests", "name"},
}

// names gives the name of each entry of a kind by its row number. A plant is named PLANTING/NUMBER.
func (b bookTables) names(kind string) map[string]string {
	var plantings map[string]string
	if kind == "plant" {
		plantings = b.names("planting")
	}
	out := map[string]string{}
	t := b[entryTables[kind][0]]
	for _, row := range t.Rows {
		name := text(&t, row, entryTables[kind][1])
		if kind == "plant" {
			name = plantings[text(&t, row, "planting_id")] + "/" + name
		}
		out[text(&t, row, "id")] = name
	}
	return out
}

// entries gives the entries of a kind by their names, with their fields as they are named in forms, and the names in
// the order of the book.
func (b bookTables) entries(k book.Kind) (have map[string]map[string]string, order []string) {
	t, own := b[entryTables[k.Name][0]], b.names(k.Name)
	refs := map[string]map[string]string{}
	for _, f := range k.Fields {
		if _, ok := entryTables[f.Type]; ok {
			refs[f.Type] = b.names(f.Type)
		}
	}
	have = map[string]map[string]string{}
	for _, row := range t.Rows {
		name := own[text(&t, row, "id")]
		e := map[string]string{}
		for _, f := range k.Fields {
			v := text(&t, row, f.Name)
			if ids, ok := refs[f.Type]; ok {
				v = ids[text(&t, row, f.Name+"_id")]
			}
			if f.Type == "yes/no" {
				v = map[string]string{"1": "yes", "true": "yes", "0": "no", "false": "no"}[v]
			}
			e[f.Name] = v
		}
		have[name] = e
		order = append(order, name)
	}
	return have, order
}

func (d *Desk) entryView(w http.ResponseWriter, r *http.Request) {
	d.entryPage(w, r, http.StatusOK, r.URL.Query().Get("name"), nil, nil)
}

// entryPage shows the entries of a kind and the form of one; typed holds what was typed when it could not be saved.
func (d *Desk) entryPage(w http.ResponseWriter, r *http.Request, status int, name string, typed map[string]string, problem error) {
	k, err := book.KindNamed(r.PathValue("kind"))
	words, known := entryWords[k.Name]
	if err != nil || !known {
		d.notFound(w, r)
		return
	}
	tables, err := d.bookTables(r.Context())
	if err != nil {
		d.problem(w, r, http.StatusInternalServerError, err)
		return
	}
	have, order := tables.entries(k)
	v := entryData{Kind: k.Name, Key: k.Key, KeyHelp: words[1], Name: name}
	for _, n := range order {
		var said []string
		for _, f := range k.Fields {
			if s := have[n][f.Name]; s != "" && s != "unknown" && s != "no" && len(said) < 4 {
				said = append(said, strings.ToLower(strings.TrimSuffix(wordsOf(f.Name), ", g"))+": "+s)
			}
		}
		v.Entries = append(v.Entries, entryLine{n, strings.Join(said, "; ")})
	}
	for _, f := range k.Fields {
		e := entryField{Name: f.Name, Label: wordsOf(f.Name), Help: strings.ReplaceAll(f.Help, "PLANTING/NUMBER", "such as 2026 squash/7"), Type: f.Type, Kind: "text", Choice: f.Choice, Value: have[name][f.Name], More: rareFields[k.Name+"/"+f.Name]}
		if strings.EqualFold(e.Help, e.Label) {
			e.Help = ""
		}
		switch {
		case f.Type == "date":
			e.Kind = "date"
		case f.Type == "number" || f.Type == "whole number":
			e.Kind = "number"
		case longFields[f.Name]:
			e.Kind = "long"
		}
		if f.Type == "yes/no" {
			e.Choice = []string{"yes", "no"}
		}
		if other, err := book.KindNamed(f.Type); err == nil && f.Type != "plant" {
			_, e.List = tables.entries(other)
		}
		e.Was = e.Value
		if typed != nil {
			e.Value, e.Was = typed[f.Name], oneLine(r.PostForm.Get("w-"+f.Name), 2000)
		}
		v.More = v.More || e.More
		v.Open = v.Open || e.More && e.Value != "" && e.Value != "unknown"
		v.Fields = append(v.Fields, e)
	}
	if _, v.Known = have[name]; v.Known {
		if err := d.keepsakes(r.Context(), &v); err != nil {
			problem = err
		}
	}
	p := &page{Title: words[0], Door: words[2], Data: v}
	if problem != nil {
		p.Problem = sentence(problem.Error())
	}
	d.showStatus(w, r, status, "entry", p)
}

func (d *Desk) saveEntry(w http.ResponseWriter, r *http.Request) {
	k, err := book.KindNamed(r.PathValue("kind"))
	if _, known := entryWords[k.Name]; err != nil || !known {
		d.notFound(w, r)
		return
	}
	name := oneLine(r.PostForm.Get("key"), 120)
	typed := map[string]string{}
	for _, f := range k.Fields {
		typed[f.Name] = oneLine(r.PostForm.Get("f-"+f.Name), 2000)
	}
	if name == "" {
		d.entryPage(w, r, http.StatusUnprocessableEntity, name, typed, errors.New("give a name first"))
		return
	}
	tables, err := d.bookTables(r.Context())
	if err != nil {
		d.problem(w, r, http.StatusInternalServerError, err)
		return
	}
	have, _ := tables.entries(k)
	changed, err := changedFields(r.PostForm, typed, have[name], wordsOf)
	if err != nil {
		d.entryPage(w, r, http.StatusConflict, name, typed, fmt.Errorf("%w; open %q again before you change it", err, name))
		return
	}
	if err := d.book.Set(r.Context(), k.Name, name, changed); err != nil {
		d.entryPage(w, r, http.StatusUnprocessableEntity, name, typed, err)
		return
	}
	http.Redirect(w, r, "/book/"+k.Name+"?"+url.Values{"said": {"saved"}, "name": {name}}.Encode(), http.StatusSeeOther)
}

var errMeanwhile = errors.New("was written meanwhile")

// changedFields are the fields of a form that somebody changed, against what the form showed. What another tab, a phone
// or a command wrote meanwhile stays, and so does what an entry of that name holds that was there already: a field that
// was left empty takes nothing away. A field that is to become something else than others made of it is an error.
func changedFields(form url.Values, typed, have map[string]string, words func(string) string) (map[string]string, error) {
	changed := map[string]string{}
	for f, v := range typed {
		now := oneLine(have[f], 2000)
		was := now
		if form.Has("w-" + f) {
			was = oneLine(form.Get("w-"+f), 2000)
		}
		switch {
		case v == was || v == now:
		case was != now && now != "":
			return nil, fmt.Errorf("%s: %q %w, so nothing was saved", words(f), now, errMeanwhile)
		default:
			changed[f] = v
		}
	}
	return changed, nil
}
