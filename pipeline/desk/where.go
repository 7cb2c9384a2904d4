package desk

import (
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"sync"

	"offtype/pipeline"
	"offtype/pipeline/record"
)

// Folders of a harvest that were moved are pointed to here. The page never takes a path: it shows the
// folders of the place that it looks at, and takes one of their names.

// looking is the folder that is shown now.
type looking struct {
	mu  sync.Mutex
	dir string
}

func (d *Desk) whereRoutes(m *http.ServeMux) {
	m.HandleFunc("GET /h/{id}/where", d.withHarvest(d.whereView))
	m.HandleFunc("POST /h/{id}/where", d.withHarvest(d.where))
}

type folderLine struct {
	Name    string
	Results bool // holds a result of offtype run
}

type whereData struct {
	ID       string
	Photos   bool // looking for photos, not for the result
	Was      string
	Missing  int // photos that are not where they were
	All      int
	Here     string
	Up       bool
	Folders  []folderLine
	Fits     string // what lies here, in words
	CanAgain bool   // the photos are there: they can be measured again
}

// missing counts the photos that are not where they were; the caller holds mu.
func (h *harvest) missing() (n int, first string) {
	for i := range h.Photos {
		if p := &h.Photos[i]; p.Path != "" {
			if _, err := os.Stat(p.Path); err != nil {
				if n == 0 {
					first = p.Path
				}
				n++
			}
		}
	}
	return n, first
}

// nearest returns the lowest folder above path that is there.
func nearest(path string) string {
	for path = filepath.Dir(path); ; path = filepath.Dir(path) {
		if st, err := os.Stat(path); err == nil && st.IsDir() {
			return path
		}
		if path == filepath.Dir(path) {
			break
		}
	}
	if home, err := os.UserHomeDir(); err == nil {
		return home
	}
	return path
}

// folders lists the folders in dir, those with results marked.
func folders(dir string) []folderLine {
	es, err := os.ReadDir(dir)
	if err != nil {
		return nil
	}
	var out []folderLine
	for _, e := range es {
		if strings.HasPrefix(e.Name(), ".") {
			continue
		}
		st, err := os.Stat(filepath.Join(dir, e.Name())) // links to folders count
		if err != nil || !st.IsDir() {
			continue
		}
		_, err = os.Stat(filepath.Join(dir, e.Name(), "parts", "run.json"))
		out = append(out, folderLine{e.Name(), err == nil})
		if len(out) == 500 {
			break
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return strings.ToLower(out[i].Name) < strings.ToLower(out[j].Name) })
	return out
}

func (d *Desk) whereView(w http.ResponseWriter, r *http.Request, h *harvest) {
	d.whereShow(w, r, h, r.URL.Query().Get("what") == "photos", true, nil)
}

func (d *Desk) whereShow(w http.ResponseWriter, r *http.Request, h *harvest, photos, anew bool, problem error) {
	h.mu.Lock()
	v := whereData{ID: h.ID, Photos: photos, All: len(h.Photos)}
	var first string
	v.Missing, first = h.missing()
	lost := h.lost
	v.CanAgain = lost && v.Missing == 0
	h.mu.Unlock()
	v.Was = h.resultDir()
	if photos {
		v.Was = filepath.Dir(first)
	}
	d.look.mu.Lock()
	if st, err := os.Stat(d.look.dir); anew || err != nil || !st.IsDir() {
		d.look.dir = nearest(v.Was)
	}
	v.Here = d.look.dir
	d.look.mu.Unlock()
	v.Up = filepath.Dir(v.Here) != v.Here
	v.Folders = folders(v.Here)
	if !photos {
		if n := h.fitting(v.Here); n > 0 {
			v.Fits = fmt.Sprintf("The results of %d of the %d photos lie here.", n, v.All)
		}
	}
	p := h.page("Where it lies", "", v)
	if problem != nil {
		p.Problem = sentence(problem.Error())
	}
	if (!photos && !lost) || (photos && v.Missing == 0) {
		http.Redirect(w, r, "/h/"+h.ID+"/photos", http.StatusSeeOther)
		return
	}
	d.show(w, r, "where", p)
}

// fitting counts the photos of the harvest whose results lie in dir.
func (h *harvest) fitting(dir string) int {
	listed, err := pipeline.Listed(dir)
	if err != nil {
		return 0
	}
	have := map[string]bool{}
	for _, p := range listed {
		have[p.Photo.SHA256] = true
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	n := 0
	for i := range h.Photos {
		if have[h.Photos[i].SHA] {
			n++
		}
	}
	return n
}

// where goes from folder to folder, takes the one that is shown, or measures the photos again.
func (d *Desk) where(w http.ResponseWriter, r *http.Request, h *harvest) {
	f := r.PostForm
	photos := f.Get("what") == "photos"
	d.look.mu.Lock()
	here := d.look.dir
	err := errors.New("load the page again")
	if here != "" {
		err = nil
		switch f.Get("do") {
		case "up":
			d.look.dir = filepath.Dir(here)
		case "go":
			err = errors.New("there is no such folder here any more; choose another")
			for _, x := range folders(here) {
				if x.Name == f.Get("folder") {
					d.look.dir, err = filepath.Join(here, x.Name), nil
				}
			}
		}
	}
	d.look.mu.Unlock()
	if err == nil && f.Get("do") == "take" {
		if photos {
			err = h.photosAt(here)
		} else {
			err = h.resultAt(here)
		}
	}
	if err == nil && f.Get("do") == "again" {
		err = h.again()
	}
	d.whereShow(w, r, h, photos, false, err)
}

// resultAt takes a folder as the harvest's result folder.
func (h *harvest) resultAt(dir string) error {
	if h.fitting(dir) == 0 {
		return errors.New("this folder does not hold the results of this harvest's photos; look for the one with report.html and fruits.csv in it")
	}
	if err := h.change(func(s *saved) error { s.Result = dir; return nil }); err != nil {
		return err
	}
	h.place.Store(&dir)
	h.mu.Lock()
	defer h.mu.Unlock()
	h.readBack()
	return nil
}

// again drops the lost result: the photos are measured into a folder of the page's own.
func (h *harvest) again() error {
	if err := h.change(func(s *saved) error { s.Result = ""; return nil }); err != nil {
		return err
	}
	none := ""
	h.place.Store(&none)
	h.mu.Lock()
	defer h.mu.Unlock()
	h.lost = false
	for i := range h.Photos {
		h.queue(h.Photos[i].Key)
	}
	return nil
}

// photosAt looks in dir for the photos that are not where they were: by name, and the same bytes.
func (h *harvest) photosAt(dir string) error {
	h.mu.Lock()
	var want []savedPhoto
	for i := range h.Photos {
		if p := h.Photos[i]; p.Path != "" {
			if _, err := os.Stat(p.Path); err != nil {
				want = append(want, p)
			}
		}
	}
	h.mu.Unlock()
	found := map[string]string{}
	for _, p := range want {
		for _, name := range []string{filepath.FromSlash(p.File), filepath.Base(p.Path)} {
			path := filepath.Join(dir, name)
			if sameBytes(path, p.SHA) {
				found[p.Key] = path
				break
			}
		}
	}
	switch {
	case len(want) == 0: // they came back meanwhile
		return nil
	case len(found) == 0:
		return fmt.Errorf("none of the missing photos lies here (%s, for example)", filepath.Base(want[0].Path))
	}
	return h.change(func(s *saved) error {
		for i := range s.Photos {
			if path, ok := found[s.Photos[i].Key]; ok {
				s.Photos[i].Path = path
			}
		}
		return nil
	})
}

// sameBytes reports whether the file at path has the SHA-256.
func sameBytes(path, sha string) bool {
	got, err := record.FileSHA256(path)
	return err == nil && got == sha
}
