package desk

import (
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"offtype/measure/colour"
	"offtype/pipeline/atomic"
	"offtype/pipeline/card"
	"offtype/pipeline/lens"
)

// Measured colours of printed cards and lens files are of the grower, not of a harvest: they lie in the
// folders "cards" and "lenses" beside the harvests, and each harvest says which it uses.

const (
	maxCardFile = 4 << 20 // bytes; real ones have a few kB
	maxLenses   = 50
)

func (d *Desk) cardDir() string { return filepath.Join(d.dir, "cards") }
func (d *Desk) lensDir() string { return filepath.Join(d.dir, "lenses") }

func (d *Desk) cardRoutes(m *http.ServeMux) {
	m.HandleFunc("POST /print/colours", d.addColours)
	m.HandleFunc("POST /print/lens", d.addLens)
	m.HandleFunc("POST /print/remove", d.removeFile)
	m.HandleFunc("GET /print/board", d.printBoard)
	d.lensRoutes(m)
	m.HandleFunc("POST /h/{id}/camera", d.withHarvest(d.useFiles))
}

// cardNumbers lists the cards whose colours were measured.
func (d *Desk) cardNumbers() []int {
	var out []int
	for n := 0; n <= card.MaxCard; n++ {
		if _, err := os.Stat(d.colourFile(n)); err == nil {
			out = append(out, n)
		}
	}
	return out
}

func (d *Desk) colourFile(n int) string { return filepath.Join(d.cardDir(), strconv.Itoa(n)+".txt") }

// cardFiles gives the files of the cards' measured colours that are there.
func (d *Desk) cardFiles(cards []int) map[int]string {
	var out map[int]string
	for _, n := range cards {
		if _, err := os.Stat(d.colourFile(n)); err == nil {
			if out == nil {
				out = map[int]string{}
			}
			out[n] = d.colourFile(n)
		}
	}
	return out
}

// lensNames lists the lens files.
func (d *Desk) lensNames() []string { return namesIn(d.lensDir(), ".json") }

// lensFile returns the lens file of the name, empty when there is none.
func (d *Desk) lensFile(name string) string {
	if name == "" || !slices.Contains(d.lensNames(), name) {
		return ""
	}
	return filepath.Join(d.lensDir(), name+".json")
}

type printData struct {
	Measured []int
	Lenses   []lensLine
}

type lensLine struct{ Name, Text string }

func (d *Desk) printData() printData {
	v := printData{Measured: d.cardNumbers()}
	for _, n := range d.lensNames() {
		l := lensLine{Name: n}
		if f, err := lens.Read(d.lensFile(n)); err == nil {
			l.Text = fmt.Sprintf("for photos of %d × %d pixels, made from %d photos", f.Width, f.Height, f.Photos)
		}
		v.Lenses = append(v.Lenses, l)
	}
	return v
}

func (d *Desk) printView(w http.ResponseWriter, r *http.Request) {
	d.show(w, r, "print", &page{Title: "Print cards and tags", Door: "sow", Data: d.printData()})
}

func (d *Desk) printProblem(w http.ResponseWriter, r *http.Request, err error) {
	if r.Header.Get("X-Desk-Token") != "" {
		d.problem(w, r, http.StatusUnprocessableEntity, err)
		return
	}
	d.showStatus(w, r, http.StatusUnprocessableEntity, "print", &page{Title: "Print cards and tags", Door: "sow", Problem: sentence(err.Error()), Data: d.printData()})
}

// upload1 is one file that was sent with the fields before it.
type upload1 struct {
	name   string
	data   []byte
	fields map[string]string
}

// oneFile reads the one file of a form, at most most bytes, and the short fields before it.
func oneFile(w http.ResponseWriter, r *http.Request, most int64) (*upload1, error) {
	kind, params, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || kind != "multipart/form-data" || params["boundary"] == "" {
		return nil, errors.New("no file was sent; choose one first")
	}
	r.Body = http.MaxBytesReader(w, r.Body, most+maxForm)
	up, err := r.MultipartReader()
	if err != nil {
		return nil, errors.New("the file did not arrive whole; send it again")
	}
	out := &upload1{fields: map[string]string{}}
	for range 8 {
		part, err := up.NextPart()
		if err != nil {
			break
		}
		limit := int64(4000)
		if part.FileName() != "" {
			limit = most
		}
		b, err := io.ReadAll(io.LimitReader(part, limit+1))
		if err != nil || int64(len(b)) > limit {
			return nil, fmt.Errorf("the file did not arrive whole, or is larger than %d MB; check that it is the right one", most>>20)
		}
		if part.FileName() != "" {
			out.name, out.data = part.FileName(), b
			return out, nil
		}
		out.fields[part.FormName()] = string(b)
	}
	return nil, errors.New("no file was sent; choose one first")
}

// addColours keeps the measured colours of a card, in place of those that it had.
func (d *Desk) addColours(w http.ResponseWriter, r *http.Request) {
	up, err := oneFile(w, r, maxCardFile)
	if err != nil {
		d.printProblem(w, r, err)
		return
	}
	n, bad := strconv.Atoi(up.fields["number"])
	if err == nil && (bad != nil || n < 0 || n > card.MaxCard) {
		err = fmt.Errorf("a card has a number from 0 to %d", card.MaxCard)
	}
	if err == nil {
		if _, err = colour.ReadCGATS(strings.NewReader(string(up.data))); err != nil {
			err = fmt.Errorf("this is no file of measured colours (CGATS.17 text): %w", err)
		}
	}
	if err == nil {
		err = atomic.WriteBytes(d.colourFile(n), up.data)
	}
	if err != nil {
		d.printProblem(w, r, err)
		return
	}
	d.filesChanged(func(s *saved) bool { return slices.Contains(s.Colours, n) })
	d.fileKept(w)
}

// addLens keeps a lens file under the name that it came with.
func (d *Desk) addLens(w http.ResponseWriter, r *http.Request) {
	up, err := oneFile(w, r, maxCardFile)
	if err != nil {
		d.printProblem(w, r, err)
		return
	}
	name := slug(stem(safeName(up.name)))
	if len(d.lensNames()) >= maxLenses && d.lensFile(name) == "" {
		err = fmt.Errorf("there are %d lens files already; take one away first", maxLenses)
	}
	if err == nil {
		err = d.keepLens(name, up.data)
	}
	if err != nil {
		d.printProblem(w, r, err)
		return
	}
	d.filesChanged(func(s *saved) bool { return s.Lens == name })
	d.fileKept(w)
}

// keepLens checks a lens file on the side before it takes its place.
func (d *Desk) keepLens(name string, data []byte) error {
	side := filepath.Join(d.lensDir(), "."+name+".new")
	if err := atomic.WriteBytes(side, data); err != nil {
		return err
	}
	defer os.Remove(side)
	if _, err := lens.Read(side); err != nil {
		return err
	}
	return os.Rename(side, filepath.Join(d.lensDir(), name+".json"))
}

// keepFile writes an uploaded file.
func keepFile(path string, data []byte) error {
	if err := atomic.WriteBytes(path, data); err != nil {
		return errors.New("the file cannot be saved; check the free space")
	}
	return nil
}

func (d *Desk) fileKept(w http.ResponseWriter) {
	w.Header().Set("HX-Redirect", "/print?said=saved")
	w.WriteHeader(http.StatusCreated)
}

// removeFile takes measured colours or a lens file away; harvests that used it are measured again without.
func (d *Desk) removeFile(w http.ResponseWriter, r *http.Request) {
	file := d.lensFile(r.PostForm.Get("lens"))
	uses := func(s *saved) bool { return s.Lens == r.PostForm.Get("lens") }
	if n, err := strconv.Atoi(r.PostForm.Get("card")); err == nil && slices.Contains(d.cardNumbers(), n) {
		file = d.colourFile(n)
		uses = func(s *saved) bool { return slices.Contains(s.Colours, n) }
	}
	if file == "" {
		d.printProblem(w, r, errors.New("there is no such file; load the page again"))
		return
	}
	if err := os.Remove(file); err != nil {
		d.printProblem(w, r, errors.New("the file cannot be taken away; check the folder's permissions"))
		return
	}
	d.filesChanged(uses)
	http.Redirect(w, r, "/print?said=removed", http.StatusSeeOther)
}

// filesChanged measures the photos of the harvests again that use a changed file.
func (d *Desk) filesChanged(uses func(*saved) bool) {
	for _, h := range d.list() {
		h.mu.Lock()
		if h.woken && uses(&h.saved) {
			h.allAgain()
		}
		h.mu.Unlock()
	}
}

// allAgain queues every photo; the caller holds mu.
func (h *harvest) allAgain() {
	for i := range h.Photos {
		if l := h.live[h.Photos[i].Key]; l.state != measuring && l.state != waiting {
			h.queue(h.Photos[i].Key)
		}
	}
}

// printBoard makes the chessboard that a lens is calibrated with.
func (d *Desk) printBoard(w http.ResponseWriter, r *http.Request) {
	wide, high := 297.0, 210.0
	if r.URL.Query().Get("paper") == "letter" {
		wide, high = 279.4, 215.9
	}
	d.pdf(w, r, "board.pdf", func(b io.Writer) error { return lens.WriteBoard(b, wide, high) })
}
