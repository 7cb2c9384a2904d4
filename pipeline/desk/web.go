package desk

import (
	"bytes"
	"crypto/subtle"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"strings"
	"sync"
)

//go:embed static
var static embed.FS

//go:embed pages/*.html
var pageFiles embed.FS

// Content-Security-Policy of the pages: nothing inline, nothing from elsewhere.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; " +
	"form-action 'self'; base-uri 'none'; frame-ancestors 'none'; manifest-src 'self'"

// reportPolicy is for whole pages that the program wrote itself: their own style, no script at all.
const reportPolicy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'self'; sandbox"

// maxForm is the greatest form without files, bytes.
const maxForm = 1 << 20

// hostList holds the names that requests may call this computer by: a foreign name that was made
// to point here is refused.
type hostList struct {
	mu    sync.Mutex
	names map[string]bool
}

func newHostList() *hostList { return &hostList{names: map[string]bool{}} }

func (l *hostList) add(h string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.names[strings.ToLower(h)] = true
}

func (l *hostList) has(h string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.names[strings.ToLower(h)]
}

// Handler returns the page for this computer. Names that it may be called by come from Serve.
func (d *Desk) Handler() http.Handler {
	return d.guard(d.hosts, d.routes(true))
}

// guard refuses what does not come from the page itself.
func (d *Desk) guard(hosts *hostList, next http.Handler) http.Handler {
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		plainRefusal(w, http.StatusForbidden, "This request came from another page and was refused.")
	}))
	safe := cross.Handler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			if err := readForm(w, r); err != nil {
				d.problem(w, r, http.StatusBadRequest, err)
				return
			}
			if !d.tokenOK(r) {
				d.outOfDate(w, r)
				return
			}
		}
		next.ServeHTTP(w, r)
	}))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		if !hosts.has(r.Host) {
			plainRefusal(w, http.StatusMisdirectedRequest, "This computer is not known by that name here. Use the address that the program printed.")
			return
		}
		if o := r.Header.Get("Origin"); o != "" && o != "null" {
			if _, host, ok := strings.Cut(o, "://"); !ok || !strings.EqualFold(host, r.Host) {
				plainRefusal(w, http.StatusForbidden, "This request came from another page and was refused.")
				return
			}
		}
		safe.ServeHTTP(w, r)
	})
}

// outOfDate answers a page that was loaded before the program was started again. It may be anybody's: it gets no token.
func (d *Desk) outOfDate(w http.ResponseWriter, r *http.Request) {
	const text = "This page is out of date: the program was started again. Nothing was saved. Load the page again, then repeat what you did."
	if fromScript(r) {
		plainRefusal(w, http.StatusForbidden, text)
		return
	}
	d.execute(w, http.StatusForbidden, "problem", "layout", &page{Title: "Out of date", Problem: text + " With your browser's Back button you see what you had typed."})
}

// fromScript reports whether the page's own script asks, which shows the bare sentence.
func fromScript(r *http.Request) bool {
	return r.Header.Get("HX-Request") != "" || r.Header.Get("X-Desk-Token") != ""
}

func plainRefusal(w http.ResponseWriter, status int, text string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(status)
	fmt.Fprintln(w, text)
}

// readForm reads the form of a changing request, at most maxForm bytes, so that every handler finds r.PostForm. The
// body of an upload is left alone.
func readForm(w http.ResponseWriter, r *http.Request) error {
	if !strings.HasPrefix(r.Header.Get("Content-Type"), "multipart/") {
		r.Body = http.MaxBytesReader(w, r.Body, maxForm)
	}
	if err := r.ParseForm(); err != nil {
		return errors.New("what was sent cannot be read; load the page again")
	}
	return nil
}

// tokenOK reports whether a changing request holds the token of this start of the program. Uploads
// carry it in a header, since their body is not read before it is checked.
func (d *Desk) tokenOK(r *http.Request) bool {
	t := r.Header.Get("X-Desk-Token")
	if t == "" {
		t = r.PostForm.Get("token")
	}
	return subtle.ConstantTimeCompare([]byte(t), []byte(d.token)) == 1
}

var layouts = mustPages()

// mustPages parses every page with the layout and the shared pieces.
func mustPages() map[string]*template.Template {
	files, err := fs.Glob(pageFiles, "pages/*.html")
	if err != nil {
		panic(err)
	}
	base := template.Must(template.New("").Funcs(words).ParseFS(pageFiles, "pages/layout.html", "pages/pieces.html"))
	out := map[string]*template.Template{}
	for _, f := range files {
		name := strings.TrimSuffix(strings.TrimPrefix(f, "pages/"), ".html")
		if name != "layout" && name != "pieces" {
			out[name] = template.Must(template.Must(base.Clone()).ParseFS(pageFiles, f))
		}
	}
	return out
}

// page is what the layout needs; Data is the view's own.
type page struct {
	Title   string
	Token   string
	Door    string // sow, bed, table, seed: where we are
	Harvest *harvestHead
	Tab     string
	Said    string // what was just done
	Problem string
	Phone   bool // a phone that can only send photos
	OnPhone bool // a phone that can do everything
	Data    any
}

type harvestHead struct{ ID, Name string }

// show writes a view: the whole page, or the piece of it that the request names.
func (d *Desk) show(w http.ResponseWriter, r *http.Request, view string, p *page) {
	d.showStatus(w, r, http.StatusOK, view, p)
}

func (d *Desk) showStatus(w http.ResponseWriter, r *http.Request, status int, view string, p *page) {
	if r.Context().Value(stranger{}) == nil {
		p.Token = d.token
	}
	p.OnPhone = r.Context().Value(onPhone{}) != nil
	if p.Said == "" {
		p.Said = said[r.URL.Query().Get("said")]
	}
	d.execute(w, status, view, "layout", p)
}

// said are the short confirmations that an address may ask for after a change.
var said = map[string]string{
	"saved": "Saved.", "made": "Made.", "removed": "Taken back.", "renamed": "Renamed.", "moved": "Saved.", "queued": "The photo is being measured again.", "again": "Saved. The photos are being measured again.",
}

// piece writes a part of a view.
func (d *Desk) piece(w http.ResponseWriter, view, name string, data any) {
	d.execute(w, http.StatusOK, view, name, data)
}

func (d *Desk) execute(w http.ResponseWriter, status int, view, name string, data any) {
	var b bytes.Buffer
	if err := layouts[view].ExecuteTemplate(&b, name, data); err != nil {
		d.opt.Log.Error("page", "view", view, "err", err)
		plainRefusal(w, http.StatusInternalServerError, "This page could not be made. Please report it.")
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	w.Write(b.Bytes())
}

// problem answers with a page that says what is wrong and what to do; requests made by the page's
// own script get the bare sentence.
func (d *Desk) problem(w http.ResponseWriter, r *http.Request, status int, err error) {
	text := sentence(err.Error())
	if fromScript(r) {
		plainRefusal(w, status, text)
		return
	}
	d.showStatus(w, r, status, "problem", &page{Title: "Something is wrong", Problem: text})
}

func (d *Desk) notFound(w http.ResponseWriter, r *http.Request) {
	d.problem(w, r, http.StatusNotFound, errors.New("there is no such page; go back to the first page"))
}

// withHarvest looks the harvest of the address up.
func (d *Desk) withHarvest(do func(http.ResponseWriter, *http.Request, *harvest)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		h := d.harvest(r.PathValue("id"))
		if h != nil {
			h.asked.RLock()
			defer h.asked.RUnlock()
		}
		if h == nil || d.harvest(h.ID) != h { // deleted meanwhile
			d.notFound(w, r)
			return
		}
		h.mu.Lock()
		lost := h.lost
		h.mu.Unlock()
		if lost && !strings.HasSuffix(r.URL.Path, "/where") { // nothing can be shown before its folder is found
			http.Redirect(w, r, "/h/"+h.ID+"/where", http.StatusSeeOther)
			return
		}
		do(w, r, h)
	}
}

func (h *harvest) page(title, tab string, data any) *page {
	return &page{Title: title + " – " + h.Name, Door: "table", Harvest: &harvestHead{h.ID, h.Name}, Tab: tab, Data: data}
}

// routes are all views; those that let phones in are for the computer itself.
func (d *Desk) routes(own bool) http.Handler {
	m := http.NewServeMux()
	sub, _ := fs.Sub(static, "static")
	files := http.FileServerFS(sub)
	m.HandleFunc("GET /static/", func(w http.ResponseWriter, r *http.Request) {
		if strings.HasSuffix(r.URL.Path, "/") {
			d.notFound(w, r)
			return
		}
		w.Header().Set("Cache-Control", "no-cache")
		http.StripPrefix("/static/", files).ServeHTTP(w, r)
	})
	m.HandleFunc("GET /favicon.ico", func(w http.ResponseWriter, r *http.Request) {
		http.Redirect(w, r, "/static/icon.svg", http.StatusSeeOther)
	})
	d.homeRoutes(m)
	d.photoRoutes(m)
	d.manageRoutes(m)
	d.tableRoutes(m)
	d.groupRoutes(m)
	d.verdictRoutes(m)
	d.observeRoutes(m)
	d.entryRoutes(m)
	d.yearRoutes(m)
	d.varietyRoutes(m)
	d.lotRoutes(m)
	d.tableOfRoutes(m)
	d.cardRoutes(m)
	if own {
		d.shareRoutes(m)
		d.whereRoutes(m)
	}
	m.HandleFunc("/", d.notFound)
	return m
}
