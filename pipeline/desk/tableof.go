package desk

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"sort"

	"offtype/pipeline/record"
)

// Several photos of one undisturbed table: their fruit are counted once, and measured from all sides
// that were photographed.

func (d *Desk) tableOfRoutes(m *http.ServeMux) {
	m.HandleFunc("GET /h/{id}/same", d.withHarvest(d.sameView))
	m.HandleFunc("POST /h/{id}/same", d.withHarvest(d.sameTable))
}

// badFit is the relative uncertainty of a length from several photos above which they are doubted (own choice; fruit
// that were not moved come out at 1 to 4 %).
const badFit = 0.08

type samePhoto struct {
	Key, File string
	Ready     bool
}

// sameFruit is a fruit with its cut-outs from all photos that show it.
type sameFruit struct {
	Name, Size, Note string
	Cuts             []cutCard
}

type sameTableData struct {
	Name   string
	Photos []samePhoto
	Fruits []sameFruit
	Once   int // fruit that one photo alone shows
	Doubt  int // fruit that the photos disagree on
}

type sameData struct {
	ID      string
	Single  []samePhoto // photos that stand by themselves
	Tables  []sameTableData
	Judging bool
	Problem string
}

func (h *harvest) sameData() sameData {
	h.mu.Lock()
	defer h.mu.Unlock()
	v := sameData{ID: h.ID, Judging: h.settling()}
	tables := map[string]*sameTableData{}
	of := map[string]string{} // file → table
	keys := map[string]string{}
	var names []string
	for i := range h.Photos {
		p := &h.Photos[i]
		x := samePhoto{p.Key, p.File, h.live[p.Key].part != nil}
		of[p.File], keys[p.File] = p.Table, p.Key
		if p.Table == "" {
			v.Single = append(v.Single, x)
			continue
		}
		if tables[p.Table] == nil {
			tables[p.Table] = &sameTableData{Name: p.Table}
			names = append(names, p.Table)
		}
		tables[p.Table].Photos = append(tables[p.Table].Photos, x)
	}
	if h.result != nil {
		for _, sight := range h.seen {
			t := tables[of[sight[0].Photo]]
			f := h.fruit(sight[0].Photo, sight[0].Number)
			if t == nil || f == nil {
				continue
			}
			x := h.sameFruit(f, sight, keys)
			t.Fruits = append(t.Fruits, x)
			switch {
			case len(sight) == 1:
				t.Once++
			case x.Note != "":
				t.Doubt++
			}
		}
	}
	sort.Strings(names)
	for _, n := range names {
		v.Tables = append(v.Tables, *tables[n])
	}
	return v
}

func (h *harvest) sameFruit(f *record.Fruit, sight []record.Key, keys map[string]string) sameFruit {
	x := sameFruit{Name: fmt.Sprintf("%s no. %d", stem(f.Photo), f.Number), Size: f.SizeWords()}
	if f.Plant != "" {
		x.Name = "plant " + f.Plant + ", " + x.Name
	}
	if f.Length.Ok() && f.Length.U > 0 {
		x.Size += fmt.Sprintf(", length ± %.0f mm", f.Length.U)
	}
	for _, k := range sight {
		x.Cuts = append(x.Cuts, cutCard{Key: keys[k.Photo], Number: k.Number, File: k.Photo, Caption: fmt.Sprintf("%s no. %d", stem(k.Photo), k.Number),
			Alt: fmt.Sprintf("Fruit %d on photo %s", k.Number, k.Photo)})
	}
	switch {
	case len(sight) == 1:
		x.Note = "seen on one photo only"
	case f.Has("views-do-not-fit") || f.Length.Ok() && f.Length.U > badFit*f.Length.V:
		x.Note = "The photos do not agree. Was it moved?"
	}
	return x
}

func (d *Desk) sameView(w http.ResponseWriter, r *http.Request, h *harvest) {
	d.show(w, r, "same", h.page("Photos of one table", "photos", h.sameData()))
}

// sameTable puts the ticked photos to one table, or takes a table apart.
func (d *Desk) sameTable(w http.ResponseWriter, r *http.Request, h *harvest) {
	apart, ticked := r.PostForm.Get("apart"), r.PostForm["photo"]
	err := h.change(func(s *saved) error {
		if apart != "" {
			for i := range s.Photos {
				if s.Photos[i].Table == apart {
					s.Photos[i].Table = ""
				}
			}
			return nil
		}
		name, n := s.freeTable(), 0
		for i := range s.Photos {
			if p := &s.Photos[i]; slices.Contains(ticked, p.Key) {
				if p.None || p.Coin > 0 || p.Line != "" {
					return fmt.Errorf("%s has no scale card: photos of one table are put together by the card", p.File)
				}
				p.Table = name
				n++
			}
		}
		if n < 2 {
			return errors.New("tick the photos that show one table: two at least")
		}
		return nil
	})
	if err != nil {
		v := h.sameData()
		p := h.page("Photos of one table", "photos", v)
		p.Problem = sentence(err.Error())
		d.showStatus(w, r, http.StatusUnprocessableEntity, "same", p)
		return
	}
	h.judgeAgain()
	http.Redirect(w, r, "/h/"+h.ID+"/same?said=saved", http.StatusSeeOther)
}

// freeTable makes a name for a table of the harvest.
func (s *saved) freeTable() string {
	for n := 1; ; n++ {
		name := fmt.Sprintf("Table %d", n)
		if !slices.ContainsFunc(s.Photos, func(p savedPhoto) bool { return p.Table == name }) {
			return name
		}
	}
}
