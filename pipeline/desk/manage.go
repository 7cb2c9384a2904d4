package desk

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"offtype/pipeline/book"
	"offtype/pipeline/record"
)

// A harvest is given another name, or deleted. Nothing that was brought here is lost by that: the folder of a deleted
// harvest goes to the folder "removed", with a copy of the book from before.

func (d *Desk) manageRoutes(m *http.ServeMux) {
	m.HandleFunc("POST /h/{id}/rename", d.alone(d.rename))
	m.HandleFunc("GET /h/{id}/delete", d.withHarvest(d.deleteView))
	m.HandleFunc("POST /h/{id}/delete", d.alone(d.deleteHarvest))
}

// aloneWait is how long a harvest's other requests, and its measuring, are waited for (own choice).
const aloneWait = 20 * time.Second

var errBusy = errors.New("this harvest is being worked on just now; wait until its photos have arrived and the groups are worked out, then do it again")

// alone is withHarvest for what no other request may see half done.
func (d *Desk) alone(do func(http.ResponseWriter, *http.Request, *harvest) error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		h := d.harvest(r.PathValue("id"))
		if h == nil {
			d.notFound(w, r)
			return
		}
		end := time.Now().Add(aloneWait)
		for !h.asked.TryLock() { // a lock that waits would hold up every other request
			if time.Now().After(end) {
				d.problem(w, r, http.StatusConflict, errBusy)
				return
			}
			time.Sleep(20 * time.Millisecond)
		}
		defer h.asked.Unlock()
		if d.harvest(h.ID) != h { // deleted meanwhile
			d.notFound(w, r)
			return
		}
		if err := do(w, r, h); err != nil {
			d.problem(w, r, http.StatusUnprocessableEntity, err)
		}
	}
}

// still waits until no photo of the harvest is measured and nothing is judged, does what is asked, and lets the work go on.
func (h *harvest) still(do func() error) error {
	h.mu.Lock()
	h.held = true
	h.mu.Unlock()
	defer func() {
		h.mu.Lock()
		defer h.mu.Unlock()
		h.held = false
		for i := range h.Photos {
			if key := h.Photos[i].Key; h.live[key] != nil && h.live[key].state == waiting {
				h.queue(key)
			}
		}
		h.refresh()
	}()
	for end := time.Now().Add(aloneWait); ; time.Sleep(20 * time.Millisecond) {
		h.mu.Lock()
		working := h.judging
		for _, l := range h.live {
			working = working || l.state == measuring
		}
		h.mu.Unlock()
		if !working {
			return do()
		}
		if time.Now().After(end) {
			return errBusy
		}
	}
}

// rename gives a harvest another name, here and in the book. Its folder keeps its name, so that addresses stay.
func (d *Desk) rename(w http.ResponseWriter, r *http.Request, h *harvest) error {
	name := oneLine(r.PostForm.Get("name"), 60)
	if name == "" {
		return errors.New("the harvest needs a name, such as 2026 squash")
	}
	err := h.still(func() error {
		d.mu.Lock()
		defer d.mu.Unlock()
		for _, x := range d.harvests {
			if x != h && strings.EqualFold(x.Name, name) {
				return fmt.Errorf("there is a harvest %q already; choose another name", x.Name)
			}
		}
		old := h.Name
		ctx := context.WithoutCancel(r.Context())
		err := d.book.RenameHarvest(ctx, old, name)
		if errors.Is(err, book.ErrNotFound) { // not measured yet
			if _, there := d.book.Harvest(ctx, name); there == nil {
				return fmt.Errorf("there is a harvest %q in the book already; choose another name", name)
			}
		} else if err != nil {
			return err
		}
		if err := h.change(func(s *saved) error { s.Name = name; return nil }); err != nil {
			d.book.RenameHarvest(ctx, name, old)
			return err
		}
		return nil
	})
	if err != nil {
		d.photosPage(w, r, http.StatusUnprocessableEntity, h, refused{}, err)
		return nil
	}
	http.Redirect(w, r, "/h/"+h.ID+"/photos?said=renamed", http.StatusSeeOther)
	return nil
}

type deleteData struct {
	ID, Name string
	Photos   int
	Foreign  bool // its photos lie where the command measured them
	Folder   string
	InBook   []string // what the book holds of it
}

func (d *Desk) deleteView(w http.ResponseWriter, r *http.Request, h *harvest) {
	h.mu.Lock()
	v := deleteData{ID: h.ID, Name: h.Name, Photos: len(h.Photos), Foreign: h.Run != nil, Folder: filepath.Join(d.dir, "removed")}
	h.mu.Unlock()
	if b, err := d.book.Harvest(r.Context(), v.Name); err == nil {
		for _, x := range []struct {
			n         int
			one, many string
		}{{b.Revision, "measurement with its verdicts", "measurements with their verdicts"}, {len(b.Observations), "weight, taste or other observation", "weights, tastes and other observations"},
			{len(b.Decisions), "decision by hand", "decisions by hand"}, {len(b.Notes), "note", "notes"}} {
			if x.n > 0 {
				v.InBook = append(v.InBook, record.Count(x.n, x.one, x.many))
			}
		}
	}
	d.show(w, r, "delete", h.page("Delete", "", v))
}

// deleteHarvest sets the harvest's folder aside, with a copy of the book, and takes it out of the book.
func (d *Desk) deleteHarvest(w http.ResponseWriter, r *http.Request, h *harvest) error {
	if r.PostForm.Get("sure") != "1" || r.PostForm.Get("name") != h.Name {
		return fmt.Errorf("nothing was deleted; tick the box when you really want to delete %q", h.Name)
	}
	err := h.still(func() error { return d.setAsideHarvest(context.WithoutCancel(r.Context()), h) })
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/table?said=deleted", http.StatusSeeOther)
	return nil
}

func (d *Desk) setAsideHarvest(ctx context.Context, h *harvest) error {
	bin := filepath.Join(d.dir, "removed", h.ID+"-"+d.opt.Now().Format("2006-01-02-150405"))
	if err := os.MkdirAll(bin, 0o700); err != nil {
		return fmt.Errorf("nothing was deleted, for the folder to keep it in cannot be made: %w", err)
	}
	if err := d.book.Backup(ctx, filepath.Join(bin, "harvest.book")); err != nil {
		os.Remove(bin)
		return fmt.Errorf("nothing was deleted, for the book cannot be copied first: %w", err)
	}
	aside := filepath.Join(bin, h.ID)
	if err := os.Rename(h.folder(), aside); err != nil {
		return fmt.Errorf("nothing was deleted, for its folder cannot be set aside: %w", err)
	}
	if err := d.book.DeleteHarvest(ctx, h.Name); err != nil && !errors.Is(err, book.ErrNotFound) {
		os.Rename(aside, h.folder())
		return fmt.Errorf("nothing was deleted: %w", err)
	}
	d.mu.Lock()
	delete(d.harvests, h.ID)
	d.mu.Unlock()
	h.mu.Lock()
	defer h.mu.Unlock()
	h.Photos, h.live, h.stale = nil, map[string]*live{}, false // nothing is measured or judged any more
	if h.soon != nil {
		h.soon.Stop()
		h.soon = nil
	}
	return nil
}
