package desk

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path"
	"path/filepath"
	"strings"
	"time"

	"offtype/pipeline"
	whole "offtype/pipeline/atomic"
	"offtype/pipeline/book"
	"offtype/pipeline/judge"
	"offtype/pipeline/record"
)

// A harvest that the command measured lies in folders of its own: the photos where they were, the
// result where --out said. The page opens it there and goes on in the same folders.

// open makes a harvest of the book one of the page's.
func (d *Desk) open(w http.ResponseWriter, r *http.Request) {
	h, err := d.adopt(r.Context(), r.PostForm.Get("name"))
	if err != nil {
		p := &page{Title: "Harvest table", Door: "table", Problem: sentence(err.Error()), Data: d.harvestLines(r)}
		d.showStatus(w, r, http.StatusUnprocessableEntity, "table", p)
		return
	}
	http.Redirect(w, r, "/h/"+h.ID+"/table", http.StatusSeeOther)
}

// adopt takes a harvest of the book in, with its photos, its result and how it was measured.
func (d *Desk) adopt(ctx context.Context, name string) (*harvest, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, h := range d.harvests {
		if h.Name == name {
			return h, nil
		}
	}
	photos, err := d.book.Photos(ctx, name)
	if err != nil {
		return nil, fmt.Errorf("this harvest cannot be read from the book (%w); load the page again", err)
	}
	place, err := d.book.PlaceOf(ctx, name)
	if err != nil && !errors.Is(err, book.ErrNotFound) {
		return nil, err
	}
	h := &harvest{desk: d, live: map[string]*live{}}
	h.saved = saved{Name: name, Made: d.opt.Now().Format(time.RFC3339), Result: place.Result, Run: &place.Options}
	o := &place.Options
	for _, p := range photos {
		if p.Status == record.StatusDuplicate || p.Path == "" {
			continue
		}
		s := savedPhoto{Key: p.SHA256[:min(16, len(p.SHA256))], SHA: p.SHA256, File: p.Name, Path: p.Path, Coin: o.Coin, Line: o.ScaleLine, None: o.NoScale}
		if o.SameTable {
			s.Table = path.Dir(p.Name)
		}
		if s.usable() {
			h.Photos = append(h.Photos, s)
		}
	}
	if len(h.Photos) == 0 {
		return nil, fmt.Errorf("%q was made from a table of numbers: it has no photos to open; compare years and keep seed know it all the same", name)
	}
	if h.Result == "" { // recorded by an older program, which did not note the place
		h.Result = filepath.Dir(h.Photos[0].Path)
	}
	h.settingsOf(o)
	if full, err := d.book.Harvest(ctx, name); err == nil && full.Lot != nil {
		h.Lot = full.Lot.Code
	}
	if h.Variety, err = d.takeDescription(ctx, name, h.Result); err != nil {
		return nil, err
	}
	h.ID = d.freeID(name)
	h.place.Store(&h.saved.Result)
	for i := range h.Photos {
		h.live[h.Photos[i].Key] = &live{state: waiting}
	}
	if err := h.save(); err != nil {
		return nil, err
	}
	d.harvests[h.ID] = h
	return h, nil
}

// settingsOf takes over what the page has fields for.
func (h *harvest) settingsOf(o *book.RunOptions) {
	h.Stage, h.saved.Plants, h.Item, h.Control = o.Stage, o.Plants, o.ItemIsPlant, o.Controls
	h.Told = o.Stage // the command wrote it down
	var rest []string
	for _, s := range o.NotAssessable {
		if strings.HasPrefix(s, "plant:") {
			rest = append(rest, s)
		} else {
			h.Spared = append(h.Spared, s)
		}
	}
	o.NotAssessable = rest
}

// takeDescription copies the description that the verdicts of a harvest used to those of the page,
// unless the same one is there. It returns its name, empty without one.
func (d *Desk) takeDescription(ctx context.Context, harvest, result string) (string, error) {
	text, err := os.ReadFile(filepath.Join(result, "variety.yaml"))
	if err != nil {
		kept, err := d.book.Description(ctx, harvest)
		if err != nil || kept == "" {
			return "", nil // groups only: the verdicts of the book stay
		}
		text = []byte(kept)
	}
	v, err := judge.ParseVariety("", text)
	if err != nil {
		return "", nil
	}
	first := slug(v.Description.Name)
	name := first
	for k := 2; ; k++ {
		file := filepath.Join(d.varietyDir(), name+".yaml")
		have, err := os.ReadFile(file)
		switch {
		case err == nil && string(have) == string(text):
			return name, nil
		case errors.Is(err, os.ErrNotExist):
			return name, whole.WriteBytes(file, text)
		case err != nil:
			return "", fmt.Errorf("the descriptions of the page cannot be read (%w); check the folder %s", whole.Plain(err), d.varietyDir())
		}
		name = fmt.Sprintf("%s-%d", first, k)
	}
}

// readBack takes the stored results of a run in, without measuring anything; the caller holds mu. A
// result that is not where it was is asked for.
func (h *harvest) readBack() {
	dir := h.resultDir()
	listed, err := pipeline.Listed(dir)
	if err != nil {
		h.lost = true
		return
	}
	h.lost = false
	byName := map[string]*pipeline.Part{}
	for _, p := range listed {
		byName[p.Photo.Name] = p
	}
	for i := range h.Photos {
		p := &h.Photos[i]
		l := h.live[p.Key]
		m := byName[p.File]
		if m == nil || m.Photo.SHA256 != p.SHA {
			h.queue(p.Key)
			continue
		}
		if m.Photo.Status == record.StatusFailed {
			l.state, l.message, l.noScale = failed, sentence(m.Photo.Message), m.Photo.NoScale
			continue
		}
		part, ok := pipeline.ReadPart(dir, m.Key)
		if !ok || newer(h.fixFile(p), filepath.Join(dir, "parts", "run.json")) {
			h.queue(p.Key)
			continue
		}
		part.Rename(pipeline.Input{Path: p.Path, Name: p.File})
		l.state, l.message, l.part = measured, part.Photo.Message, part
	}
	run, err := h.desk.book.LoadRun(h.desk.ctx, h.Name)
	if err == nil && h.agrees(&run) {
		h.result = &run
		return
	}
	h.stale = true
	h.refresh()
}

// agrees reports whether the newest measurement of the book is of the fruit that lie in the result folder;
// the caller holds mu. Photos of one table are always joined anew, for the book does not keep which fruit were
// seen twice.
func (h *harvest) agrees(run *record.Run) bool {
	n := map[string]int{}
	settings := map[string]string{}
	for i := range run.Fruits {
		n[run.Fruits[i].Photo]++
	}
	for i := range run.Photos {
		settings[run.Photos[i].Name] = run.Photos[i].Settings
	}
	for i := range h.Photos {
		p := &h.Photos[i]
		l := h.live[p.Key]
		if p.Table != "" || l.state == waiting || l.part != nil && (len(l.part.Fruits) != n[p.File] || l.part.Photo.Settings != settings[p.File]) {
			return false
		}
	}
	return true
}

// newer reports whether file a was written after file b.
func newer(a, b string) bool {
	x, err := os.Stat(a)
	if err != nil {
		return false
	}
	y, err := os.Stat(b)
	return err != nil || x.ModTime().After(y.ModTime())
}
