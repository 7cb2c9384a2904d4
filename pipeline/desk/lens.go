package desk

import (
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"

	"offtype/pipeline/lens"
	"offtype/pipeline/photo"
)

// A lens file is made from photos of a printed chessboard. They lie in a folder of their own until it is made.

const maxBoards = 40 // photos of the chessboard; 8 to 20 are good

func (d *Desk) lensRoutes(m *http.ServeMux) {
	m.HandleFunc("GET /lens", d.lensView)
	m.HandleFunc("GET /lens/list", d.lensList)
	m.HandleFunc("POST /lens/photos", d.lensPhoto)
	m.HandleFunc("POST /lens/make", d.makeLens)
	m.HandleFunc("POST /lens/clear", d.clearLens)
}

func (d *Desk) boardDir() string { return filepath.Join(d.dir, "lenses", "photos") }

// boards lists the photos of the chessboard.
func (d *Desk) boards() []string {
	es, err := os.ReadDir(d.boardDir())
	if err != nil {
		return nil
	}
	var out []string
	for _, e := range es {
		if plainFile.MatchString(e.Name()) {
			out = append(out, e.Name())
		}
	}
	return out
}

type lensData struct {
	Photos []string
	Said   []string // of the last try
	Enough bool
}

func (d *Desk) lensData() lensData {
	b := d.boards()
	return lensData{Photos: b, Enough: len(b) >= 3}
}

func (d *Desk) lensView(w http.ResponseWriter, r *http.Request) {
	d.show(w, r, "lens", &page{Title: "Make a lens file", Door: "sow", Data: d.lensData()})
}

func (d *Desk) lensList(w http.ResponseWriter, _ *http.Request) {
	d.piece(w, "lens", "boards", d.lensData())
}

// lensPhoto keeps one photo of the chessboard.
func (d *Desk) lensPhoto(w http.ResponseWriter, r *http.Request) {
	up, err := oneFile(w, r, maxPhoto)
	if err != nil {
		d.problem(w, r, http.StatusBadRequest, err)
		return
	}
	ending, ok := photo.EndingOf(up.data)
	if !ok {
		d.problem(w, r, http.StatusUnsupportedMediaType, errors.New("this is not a photo; send JPEG, PNG, TIFF, WebP or HEIC"))
		return
	}
	d.boarding.Lock() // photos come three at a time
	defer d.boarding.Unlock()
	have := d.boards()
	if len(have) >= maxBoards {
		d.problem(w, r, http.StatusConflict, fmt.Errorf("%d photos are enough", maxBoards))
		return
	}
	base := stem(safeName(up.name))
	file := base + ending
	for k := 2; ; k++ { // two cameras may count alike
		if _, err := os.Stat(filepath.Join(d.boardDir(), file)); err != nil {
			break
		}
		file = fmt.Sprintf("%s-%d%s", base, k, ending)
	}
	if err := keepFile(filepath.Join(d.boardDir(), file), up.data); err != nil {
		d.problem(w, r, http.StatusInsufficientStorage, err)
		return
	}
	w.WriteHeader(http.StatusCreated)
}

// makeLens works the lens out and puts its file to the others.
func (d *Desk) makeLens(w http.ResponseWriter, r *http.Request) {
	v := d.lensData()
	name := slug(oneLine(r.PostForm.Get("name"), 60))
	err := errors.New("give the lens a name, such as phone")
	var f *lens.File
	if oneLine(r.PostForm.Get("name"), 60) != "" {
		var photos []lens.Photo
		for _, b := range v.Photos {
			photos = append(photos, lens.Photo{Name: b, Path: filepath.Join(d.boardDir(), b)})
		}
		var made lens.Made
		made, err = lens.FromPhotos(r.Context(), photos)
		f, v.Said = made.File, made.Said
	}
	if err == nil {
		err = f.Write(filepath.Join(d.lensDir(), name+".json"))
	}
	if err != nil {
		d.showStatus(w, r, http.StatusUnprocessableEntity, "lens", &page{Title: "Make a lens file", Door: "sow", Problem: sentence(err.Error()), Data: v})
		return
	}
	os.RemoveAll(d.boardDir()) // copies, and done with
	d.filesChanged(func(s *saved) bool { return s.Lens == name })
	http.Redirect(w, r, "/print?said=made", http.StatusSeeOther)
}

func (d *Desk) clearLens(w http.ResponseWriter, r *http.Request) {
	if err := os.RemoveAll(d.boardDir()); err != nil {
		d.problem(w, r, http.StatusInternalServerError, errors.New("the photos cannot be taken away; check the folder's permissions"))
		return
	}
	w.Header().Set("HX-Redirect", "/lens?said=removed")
	w.WriteHeader(http.StatusNoContent)
}
