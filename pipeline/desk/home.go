package desk

import (
	"fmt"
	"net/http"
	"path/filepath"
	"slices"
	"strings"

	"offtype/cluster/lot"
	"offtype/pipeline/book"
	"offtype/pipeline/record"
)

func (d *Desk) homeRoutes(m *http.ServeMux) {
	m.HandleFunc("GET /{$}", d.home)
	m.HandleFunc("GET /sow", d.door("sow", "Before sowing"))
	m.HandleFunc("GET /bed", d.door("bed", "In the bed"))
	m.HandleFunc("GET /table", d.door("table", "Harvest table"))
	m.HandleFunc("GET /seed", d.door("seed", "Kitchen and seed"))
	m.HandleFunc("POST /table", d.makeHarvest)
	m.HandleFunc("POST /open", d.open)
}

// harvestLine is a harvest in a list.
type harvestLine struct {
	ID, Name, Text string
	Photos         int
	InBook         bool // only in the book
	Measured       bool // … and measured, with the command
}

func (d *Desk) home(w http.ResponseWriter, r *http.Request) {
	data := map[string]any{"Latest": "", "ID": ""}
	if hs := d.list(); len(hs) > 0 {
		h := hs[0]
		h.wake()
		data["Latest"], data["ID"] = h.line(true), h.ID
		data["Next"], data["NextText"] = h.next()
	} else if all, err := d.book.ListHarvests(r.Context()); err == nil && len(all) > 0 {
		data["Book"] = fmt.Sprintf("The book holds %s measured with the command or written down: %s.", record.Count(len(all), "harvest", "harvests"), newest(all))
	}
	d.show(w, r, "home", &page{Title: "offtype", Data: data})
}

// newest names the last harvests of the book, newest first.
func newest(all []book.Summary) string {
	var out []string
	for i := len(all) - 1; i >= 0 && len(out) < 4; i-- {
		out = append(out, all[i].Name)
	}
	if len(out) < len(all) {
		out = append(out, "…")
	}
	return strings.Join(out, ", ")
}

// next is the view that the harvest waits for.
func (h *harvest) next() (view, text string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	switch {
	case len(h.Photos) == 0:
		return "photos", "Bring photos"
	case h.result == nil || h.settling():
		return "photos", "Look how far it is"
	case h.result.Judgement.Variety == nil:
		return "groups", "Look at the groups"
	}
	return "verdict", "Read the verdict"
}

func (d *Desk) door(door, title string) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		p := &page{Title: title, Door: door, Data: d.harvestLines(r)}
		if door == "table" {
			p.Problem = strings.Join(d.unread, " ")
			if r.URL.Query().Get("said") == "deleted" {
				p.Said = "Deleted. What was here is set aside in " + filepath.Join(d.dir, "removed") + "."
			}
		}
		d.show(w, r, door, p)
	}
}

// harvestLines lists the harvests of the desk and those that only the book has.
func (d *Desk) harvestLines(r *http.Request) []harvestLine {
	var out []harvestLine
	have := map[string]bool{}
	for _, h := range d.list() {
		h.mu.Lock()
		n, name := len(h.Photos), h.Name
		h.mu.Unlock()
		out = append(out, harvestLine{ID: h.ID, Name: name, Text: h.line(false), Photos: n})
		have[name] = true
	}
	inBook, err := d.book.ListHarvests(r.Context())
	if err != nil {
		return out
	}
	for i := len(inBook) - 1; i >= 0; i-- {
		if s := inBook[i]; !have[s.Name] {
			out = append(out, harvestLine{Name: s.Name, InBook: true, Measured: s.Revision > 0, Photos: s.Photos, Text: inBookWords(&s)})
		}
	}
	return out
}

// inBookWords says what the book knows of a harvest that is not open here.
func inBookWords(s *book.Summary) string {
	switch {
	case s.Revision == 0:
		return "Written down, not measured yet."
	case s.Photos == 0:
		return fmt.Sprintf("%d fruit from a table of numbers, without photos.", s.Fruits)
	}
	return fmt.Sprintf("%d fruit on %s, measured with a command.", s.Fruits, record.Count(s.Photos, "photo", "photos"))
}

// line is one sentence on the harvest, with its name or without.
func (h *harvest) line(named bool) string {
	h.mu.Lock()
	defer h.mu.Unlock()
	say := func(text string) string {
		if named {
			return h.Name + ": " + text
		}
		return record.Capital(text)
	}
	switch {
	case h.lost:
		return say("its folder is not where it was.")
	case len(h.Photos) == 0:
		return say("no photos yet.")
	case h.busy():
		done := 0
		for _, l := range h.live {
			if l.state == measured || l.state == failed {
				done++
			}
		}
		return say(fmt.Sprintf("being measured, %d of %s done.", done, record.Count(len(h.Photos), "photo", "photos")))
	case h.result == nil:
		return say(record.Count(len(h.Photos), "photo", "photos") + ".")
	}
	run := h.result
	text := fmt.Sprintf("%s in %s", record.Count(len(run.Fruits), "fruit", "fruit"), record.Count(len(run.Judgement.Groups), "group", "groups"))
	if run.Judgement.Variety == nil {
		return say(text + ". There is no variety description yet, so nothing was judged.")
	}
	return say(strings.TrimSpace(text + ". " + run.Headline()))
}

func (d *Desk) makeHarvest(w http.ResponseWriter, r *http.Request) {
	name := oneLine(r.PostForm.Get("name"), 60)
	var h *harvest
	var err error
	if slices.ContainsFunc(d.harvestLines(r), func(l harvestLine) bool { return l.InBook && l.Measured && l.Name == name }) {
		err = fmt.Errorf("the harvest book holds a harvest %q already; go on there, or choose another name", name)
	} else {
		h, err = d.newHarvest(name)
	}
	if err != nil {
		p := &page{Title: "Harvest table", Door: "table", Problem: sentence(err.Error()), Data: d.harvestLines(r)}
		d.showStatus(w, r, http.StatusUnprocessableEntity, "table", p)
		return
	}
	http.Redirect(w, r, "/h/"+h.ID+"/photos", http.StatusSeeOther)
}

// words are the functions of the page templates.
var words = map[string]any{
	"join":    strings.Join,
	"count":   record.Count,
	"percent": lot.Given,
	"fixed": func(v *float64, decimals int) string {
		if v == nil {
			return ""
		}
		return record.Fixed(*v, decimals)
	},
	"share": func(v *float64) string {
		if v == nil {
			return ""
		}
		return fmt.Sprintf("%.0f %%", 100**v)
	},
	"dict": func(kv ...any) map[string]any {
		m := map[string]any{}
		for i := 0; i+1 < len(kv); i += 2 {
			m[kv[i].(string)] = kv[i+1]
		}
		return m
	},
}
