package desk

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"maps"
	"mime"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"offtype/pipeline/photo"
	"offtype/pipeline/segment"
)

const (
	maxPhoto  = 200 << 20 // bytes of one uploaded photo
	maxPhotos = 2000      // photos of one harvest
)

func (d *Desk) photoRoutes(m *http.ServeMux) {
	for _, form := range []string{"", "/settings", "/camera", "/rename"} { // the address that stands there after a refusal, loaded anew
		m.HandleFunc("GET /h/{id}"+form, d.withHarvest(func(w http.ResponseWriter, r *http.Request, h *harvest) {
			http.Redirect(w, r, "/h/"+h.ID+"/photos", http.StatusSeeOther)
		}))
	}
	m.HandleFunc("GET /h/{id}/photos", d.withHarvest(d.photosView))
	m.HandleFunc("GET /h/{id}/photos/list", d.withHarvest(d.photoList))
	m.HandleFunc("POST /h/{id}/photos", d.withHarvest(d.upload))
	m.HandleFunc("POST /h/{id}/settings", d.withHarvest(d.settings))
	m.HandleFunc("POST /h/{id}/photo/{key}/scale", d.withHarvest(d.setScale))
	m.HandleFunc("POST /h/{id}/photo/{key}/remove", d.withHarvest(d.removePhoto))
	m.HandleFunc("GET /h/{id}/photo/{key}/preview.jpg", d.withHarvest(d.preview))
}

// photoCard is a photo in the list.
type photoCard struct {
	Harvest, Key, File, State, Message string
	Fruits                             int
	Unsure                             int
	Scale, Plant, LineMM               string
	Was                                map[string]string // what its form holds
	Coin                               float64
	Line                               string
	None                               bool
	NoCard                             bool // failed for want of a card: ask for another scale
	Preview                            bool
	Text                               string
}

type photosData struct {
	ID        string
	Photos    []photoCard
	Busy      bool
	Judging   bool
	Done, All int
	Failed    int
	Said      []string
	Form      saved
	Settings  openForm // what the fruit are
	Camera    openForm
	Varieties []varietyLine
	Lots      []string
	Stages    []string
	Missing   int // photos that are not where they were
	Cards     []int
	Lenses    []string
	Tables    int // photos that show one table with others
}

func (h *harvest) photosData() photosData {
	h.mu.Lock()
	defer h.mu.Unlock()
	v := photosData{ID: h.ID, Busy: h.busy(), Judging: h.settling(), All: len(h.Photos), Said: h.said, Form: h.saved}
	v.Missing, _ = h.missing()
	for i := range h.Photos {
		p := &h.Photos[i]
		if p.Table != "" {
			v.Tables++
		}
		l := h.live[p.Key]
		c := photoCard{Harvest: h.ID, Key: p.Key, File: p.File, State: string(l.state), Message: sentence(l.message), Plant: p.Plant, Coin: p.Coin, Line: p.Line, LineMM: p.lineMM(), None: p.None, Was: p.form()}
		switch {
		case p.Coin > 0:
			c.Scale = fmt.Sprintf("coin of %g mm", p.Coin)
		case p.Line != "":
			c.Scale = "a line you drew"
		case p.None:
			c.Scale = "no scale: shape and pattern only"
		}
		if l.state == measured || l.state == failed {
			v.Done++
		}
		if l.state == failed {
			v.Failed++
			c.NoCard, c.Preview = l.noScale, l.noScale
		}
		if l.part != nil {
			c.Fruits, c.Preview = len(l.part.Fruits), true
			for k := range l.part.Fruits {
				if l.part.Fruits[k].Unsure {
					c.Unsure++
				}
			}
			if l.part.Photo.MMPerPx > 0 && !p.None {
				c.Text = fmt.Sprintf("%.2f mm a pixel", l.part.Photo.MMPerPx)
			}
		}
		v.Photos = append(v.Photos, c)
	}
	return v
}

func (d *Desk) photosView(w http.ResponseWriter, r *http.Request, h *harvest) {
	d.photosPage(w, r, http.StatusOK, h, refused{}, nil)
}

// refused is what was typed into a form of the photos page that was not taken: nothing that was typed is lost.
type refused struct{ settings, camera map[string]string }

// openForm is a form as it is shown, and what it held when it was first shown.
type openForm struct {
	Is, Was map[string]string
	Open    bool
}

// formOf shows a form as it is saved, or as it was typed where that was refused.
func formOf(r *http.Request, now, typed map[string]string) openForm {
	v := openForm{Is: now, Was: maps.Clone(now)}
	if typed != nil {
		v.Is, v.Open = maps.Clone(now), true
		maps.Copy(v.Is, typed)
		for f := range typed {
			v.Was[f] = oneLine(r.PostForm.Get("w-"+f), 400)
		}
	}
	return v
}

// photosPage shows the photos with the forms of what the fruit are and of card and camera.
func (d *Desk) photosPage(w http.ResponseWriter, r *http.Request, status int, h *harvest, typed refused, problem error) {
	v := h.photosData()
	v.Varieties = d.varietyChoices()
	v.Lots = d.lotCodes(r)
	v.Cards, v.Lenses = d.cardNumbers(), d.lensNames()
	v.Settings = formOf(r, v.Form.what(), typed.settings)
	v.Settings.Open = v.Settings.Open || v.Form.Variety == ""
	v.Camera = formOf(r, v.Form.camera(v.Cards), typed.camera)
	v.Stages = stages
	p := h.page("Photos", "photos", v)
	if problem != nil {
		p.Problem = sentence(problem.Error())
	}
	d.showStatus(w, r, status, "photos", p)
}

func (d *Desk) photoList(w http.ResponseWriter, _ *http.Request, h *harvest) {
	d.piece(w, "photos", "photolist", h.photosData())
}

// upload takes one photo. It is on disk and in the list before the answer says so.
func (d *Desk) upload(w http.ResponseWriter, r *http.Request, h *harvest) {
	kind, params, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || kind != "multipart/form-data" || params["boundary"] == "" {
		d.problem(w, r, http.StatusUnsupportedMediaType, errors.New("no photo was sent; choose or drop a photo"))
		return
	}
	if r.ContentLength > maxPhoto+maxForm {
		d.problem(w, r, http.StatusRequestEntityTooLarge, errTooLarge)
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, maxPhoto+maxForm)
	up, err := r.MultipartReader()
	if err != nil {
		d.problem(w, r, http.StatusBadRequest, errors.New("the photo did not arrive whole; send it again"))
		return
	}
	part, err := up.NextPart()
	if err != nil || part.FormName() != "photo" {
		d.problem(w, r, http.StatusBadRequest, errors.New("no photo was sent; choose or drop a photo"))
		return
	}
	key, status, err := h.add(part.FileName(), part)
	if err != nil {
		d.problem(w, r, status, err)
		return
	}
	w.Header().Set("X-Photo", key)
	w.WriteHeader(http.StatusCreated)
}

var errTooLarge = fmt.Errorf("the photo is larger than %d MB; save it as JPEG and send that", maxPhoto>>20)

var errNoRoom = errors.New("the photo cannot be saved: the disk of this computer is full, or may not be written to; make room, then send it again")

// add stores an uploaded photo and puts it in the queue.
func (h *harvest) add(name string, body io.Reader) (key string, status int, err error) {
	if err := os.MkdirAll(h.photoDir(), 0o700); err != nil {
		return "", http.StatusInsufficientStorage, errNoRoom
	}
	tmp, err := os.CreateTemp(h.photoDir(), ".upload-*")
	if err != nil {
		return "", http.StatusInsufficientStorage, errNoRoom
	}
	defer os.Remove(tmp.Name())
	defer tmp.Close()
	sha, ending, status, err := receive(tmp, body)
	if err != nil {
		return "", status, err
	}
	key = sha[:16]
	err = h.change(func(s *saved) error {
		p, err := s.enlist(name, ending, sha)
		if err != nil {
			return err
		}
		if err := os.Rename(tmp.Name(), filepath.Join(h.photoDir(), p.File)); err != nil {
			return errNoRoom
		}
		h.live[key] = &live{state: waiting} // from now on: others may look at the list before it is in the queue
		return nil
	})
	h.mu.Lock()
	defer h.mu.Unlock()
	if err != nil {
		if p, _ := h.photo(key); p == nil {
			delete(h.live, key)
		}
		return "", http.StatusConflict, err
	}
	h.queue(key)
	return key, http.StatusCreated, nil
}

// receive writes an uploaded photo to a file, whole and safe on disk, and returns its SHA-256 and the ending that its
// first bytes call for.
func receive(to *os.File, body io.Reader) (sha, ending string, status int, err error) {
	sum := sha256.New()
	var head bytes.Buffer
	n, err := io.Copy(io.MultiWriter(to, sum, &limited{&head, photo.HeadBytes}), io.LimitReader(body, maxPhoto+1))
	var tooBig *http.MaxBytesError
	var onDisk *os.PathError // only writing here has a path
	switch {
	case errors.As(err, &onDisk):
		return "", "", http.StatusInsufficientStorage, errNoRoom
	case errors.As(err, &tooBig) || n > maxPhoto:
		return "", "", http.StatusRequestEntityTooLarge, errTooLarge
	case err != nil:
		return "", "", http.StatusBadRequest, errors.New("the photo did not arrive whole; send it again")
	}
	ending, ok := photo.EndingOf(head.Bytes())
	if !ok {
		return "", "", http.StatusUnsupportedMediaType, errors.New("this is not a photo; send JPEG, PNG, TIFF, WebP or HEIC")
	}
	if err := to.Sync(); err != nil {
		return "", "", http.StatusInsufficientStorage, errNoRoom
	}
	return hex.EncodeToString(sum.Sum(nil)), ending, 0, nil
}

// enlist puts a photo into the list, under a file name that no other has.
func (s *saved) enlist(name, ending, sha string) (savedPhoto, error) {
	taken := map[string]bool{}
	for i := range s.Photos {
		if s.Photos[i].SHA == sha {
			return savedPhoto{}, fmt.Errorf("this photo is here already, as %s; it is measured once", s.Photos[i].File)
		}
		taken[strings.ToLower(stem(s.Photos[i].File))] = true
	}
	if len(s.Photos) >= maxPhotos {
		return savedPhoto{}, fmt.Errorf("a harvest takes %d photos; make another harvest for the rest", maxPhotos)
	}
	base := stem(safeName(name))
	file := base
	for k := 2; taken[strings.ToLower(file)]; k++ {
		file = fmt.Sprintf("%s-%d", base, k)
	}
	p := savedPhoto{Key: sha[:16], SHA: sha, File: file + ending}
	s.Photos = append(s.Photos, p)
	slices.SortFunc(s.Photos, func(a, b savedPhoto) int { return strings.Compare(a.File, b.File) }) // as the command takes them
	return p, nil
}

// limited keeps the first n bytes and takes the others without keeping them.
type limited struct {
	b *bytes.Buffer
	n int
}

func (l *limited) Write(p []byte) (int, error) {
	if room := l.n - l.b.Len(); room > 0 {
		l.b.Write(p[:min(room, len(p))])
	}
	return len(p), nil
}

func stem(file string) string { return strings.TrimSuffix(file, filepath.Ext(file)) }

// removePhoto takes a photo out of the harvest. Its file goes to the folder "removed", with its
// corrections: nothing is lost.
func (d *Desk) removePhoto(w http.ResponseWriter, r *http.Request, h *harvest) {
	key := r.PathValue("key")
	var gone savedPhoto
	err := h.change(func(s *saved) error {
		i := slices.IndexFunc(s.Photos, func(p savedPhoto) bool { return p.Key == key })
		if i < 0 {
			return errors.New("there is no such photo; load the page again")
		}
		gone = s.Photos[i]
		s.Photos = slices.Delete(s.Photos, i, i+1)
		s.Spared = slices.DeleteFunc(slices.Clone(s.Spared), func(x string) bool { // the next photo may get this name
			return x[:max(0, strings.LastIndexByte(x, ':'))] == gone.File
		})
		return h.setAside(&gone)
	})
	if err != nil {
		if gone.Key != "" {
			h.bringBack(&gone)
		}
		d.problem(w, r, http.StatusUnprocessableEntity, err)
		return
	}
	h.mu.Lock()
	delete(h.live, key)
	h.mu.Unlock()
	h.judgeAgain()
	if r.Header.Get("HX-Request") != "" {
		d.photoList(w, r, h)
		return
	}
	http.Redirect(w, r, "/h/"+h.ID+"/photos?said=removed", http.StatusSeeOther)
}

// asideFile is where a photo lies that was taken out of the harvest.
func (h *harvest) asideFile(p *savedPhoto) string {
	return filepath.Join(h.folder(), "removed", p.Key+"-"+p.File)
}

// setAside moves a photo that was taken out, with its corrections, to the folder "removed". One of offtype run is not
// ours: it stays where it is.
func (h *harvest) setAside(p *savedPhoto) error {
	if p.Path != "" {
		return nil
	}
	from, to := filepath.Join(h.photoDir(), p.File), h.asideFile(p)
	err := os.MkdirAll(filepath.Dir(to), 0o700)
	if err == nil {
		err = os.Rename(from, to)
	}
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return errors.New("the photo cannot be taken away; check the folder's permissions")
	}
	os.Rename(segment.FixPath(from, ""), to+".fix.json")
	return nil
}

// bringBack undoes setAside.
func (h *harvest) bringBack(p *savedPhoto) {
	if p.Path != "" {
		return
	}
	to := filepath.Join(h.photoDir(), p.File)
	if _, err := os.Lstat(to); err != nil && os.Rename(h.asideFile(p), to) == nil {
		os.Rename(h.asideFile(p)+".fix.json", segment.FixPath(to, ""))
	}
}
