package desk

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"

	"offtype/pipeline"
	"offtype/pipeline/atomic"
	"offtype/pipeline/book"
	"offtype/pipeline/photo"
)

// Notes on anything in the book, and pictures of lots and plants that are looked at, not measured. Pictures that
// are brought here are kept in the folder "pictures" beside the harvests.

func (d *Desk) keepsakeRoutes(m *http.ServeMux) {
	m.HandleFunc("POST /book/{kind}/note", d.addNote)
	m.HandleFunc("POST /book/{kind}/picture", d.addPicture)
	m.HandleFunc("POST /book/{kind}/remove", d.removeKeepsake)
	m.HandleFunc("GET /picture/{id}", d.picture)
}

// keepsakes fills in the notes and pictures of an entry.
func (d *Desk) keepsakes(ctx context.Context, v *entryData) error {
	notes, err := d.book.Notes(ctx)
	if err != nil {
		return err
	}
	for _, n := range notes {
		if n.Kind == v.Kind && n.Name == v.Name {
			v.Notes = append(v.Notes, n)
		}
	}
	v.Pictured = v.Kind == "lot" || v.Kind == "plant"
	if !v.Pictured {
		return nil
	}
	v.PictureKinds = book.PictureKinds
	if v.Kind == "plant" {
		v.PictureKinds = book.PictureKinds[2:] // no packets
	}
	all, err := d.book.Pictures(ctx)
	for _, p := range all {
		if p.Of == v.Kind+" "+v.Name {
			v.Pictures = append(v.Pictures, p)
		}
	}
	return err
}

// backTo goes back to an entry.
func backTo(w http.ResponseWriter, r *http.Request, name, said string) {
	to := "/book/" + url.PathEscape(r.PathValue("kind")) + "?" + url.Values{"name": {name}, "said": {said}}.Encode()
	if r.Header.Get("HX-Request") != "" {
		w.Header().Set("HX-Redirect", to)
		w.WriteHeader(http.StatusCreated)
		return
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
}

func (d *Desk) addNote(w http.ResponseWriter, r *http.Request) {
	name := oneLine(r.PostForm.Get("name"), 120)
	if _, known := entryWords[r.PathValue("kind")]; !known {
		d.notFound(w, r)
		return
	}
	if err := inBook(d.book.AddNote(r.Context(), r.PathValue("kind"), name, oneLine(r.PostForm.Get("text"), 2000), ""), name); err != nil {
		d.problem(w, r, http.StatusUnprocessableEntity, err)
		return
	}
	backTo(w, r, name, "saved")
}

// addPicture keeps a picture of a lot or a plant.
func (d *Desk) addPicture(w http.ResponseWriter, r *http.Request) {
	up, err := oneFile(w, r, maxPhoto)
	if err != nil {
		d.problem(w, r, http.StatusUnprocessableEntity, err)
		return
	}
	name := oneLine(up.fields["name"], 120)
	if status, err := d.keepPicture(r.Context(), r.PathValue("kind"), name, up); err != nil {
		d.problem(w, r, status, err)
		return
	}
	backTo(w, r, name, "saved")
}

// keepPicture keeps a picture of an entry; nothing is left of one that is refused.
func (d *Desk) keepPicture(ctx context.Context, kind, name string, up *upload1) (status int, err error) {
	ending, ok := photo.EndingOf(up.data)
	if !ok {
		return http.StatusUnsupportedMediaType, errors.New("this is not a picture; send JPEG, PNG, TIFF, WebP or HEIC")
	}
	all, err := d.book.Pictures(ctx)
	if err != nil {
		return http.StatusInternalServerError, err
	}
	sum := sha256.Sum256(up.data)
	file := filepath.Join(d.dir, "pictures", hex.EncodeToString(sum[:8])+ending)
	used := false
	for _, p := range all {
		used = used || p.File == file
		if p.Of == kind+" "+name && p.SHA256 == hex.EncodeToString(sum[:]) {
			return http.StatusConflict, errors.New("this picture is here already")
		}
	}
	if err := atomic.WriteBytes(file, up.data); err != nil {
		return http.StatusInsufficientStorage, errors.New("the picture cannot be saved; check the free space")
	}
	lot, plant := name, ""
	if kind == "plant" {
		lot, plant = "", name
	}
	_, err = photo.Read(file, photo.DefaultOptions())
	if err == nil {
		err = inBook(d.book.AddPicture(ctx, file, up.fields["kind"], lot, plant, d.opt.Now().Format("2006-01-02"), oneLine(up.fields["note"], 200)), name)
	} else {
		err = errors.New("this picture cannot be read: it is cut off or damaged; take it again")
	}
	if err != nil && !used {
		os.Remove(file)
	}
	return http.StatusUnprocessableEntity, err
}

// inBook says of what the book does not hold what can be done about it on the page.
func inBook(err error, name string) error {
	if errors.Is(err, book.ErrNotFound) {
		return fmt.Errorf("%q is not written down yet; fill in its form above and press Save first", name)
	}
	return err
}

// removeKeepsake takes a note or picture out of the book; a picture's file stays where it is.
func (d *Desk) removeKeepsake(w http.ResponseWriter, r *http.Request) {
	for _, kind := range []string{"note", "picture"} {
		id, err := strconv.ParseInt(r.PostForm.Get(kind), 10, 64)
		if err != nil {
			continue
		}
		if err := d.book.Remove(r.Context(), kind, id); err != nil {
			d.problem(w, r, http.StatusUnprocessableEntity, err)
			return
		}
	}
	backTo(w, r, oneLine(r.PostForm.Get("name"), 120), "removed")
}

// picture shows a picture of the book, small, as JPEG without metadata. Its place is the book's, and its bytes
// must be those that were noted.
func (d *Desk) picture(w http.ResponseWriter, r *http.Request) {
	id, err := strconv.ParseInt(r.PathValue("id"), 10, 64)
	all, bad := d.book.Pictures(r.Context())
	at := slices.IndexFunc(all, func(p book.PictureOf) bool { return p.ID == id })
	if err != nil || bad != nil || at < 0 || !sameBytes(all[at].File, all[at].SHA256) {
		d.notFound(w, r)
		return
	}
	ph, err := photo.Read(all[at].File, photo.DefaultOptions())
	if err != nil {
		d.notFound(w, r)
		return
	}
	b, err := pipeline.PreviewOf(ph)
	if err != nil {
		d.notFound(w, r)
		return
	}
	w.Header().Set("Content-Type", "image/jpeg")
	w.Write(b)
}
