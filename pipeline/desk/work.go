package desk

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"

	"offtype/pipeline"
	"offtype/pipeline/book"
	"offtype/pipeline/card"
	"offtype/pipeline/gather"
	"offtype/pipeline/judge"
	"offtype/pipeline/record"
)

// photoJob is a photo to be measured.
type photoJob struct {
	h   *harvest
	key string
}

// worker measures photos one after the other until the desk closes.
func (d *Desk) worker() {
	defer d.wg.Done()
	for {
		select {
		case <-d.ctx.Done():
			return
		case j := <-d.work:
			if d.ctx.Err() != nil {
				return
			}
			j.h.measure(j.key)
		}
	}
}

// wake puts the harvest's photos in the queue at its first use.
func (h *harvest) wake() {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.woken {
		return
	}
	h.woken = true
	if h.Result != "" {
		h.readBack()
		return
	}
	for i := range h.Photos {
		h.queue(h.Photos[i].Key)
	}
}

// queue asks for the photo to be measured; the caller holds mu.
func (h *harvest) queue(key string) {
	l := h.live[key]
	if l == nil {
		l = &live{}
		h.live[key] = l
	}
	l.state, l.message = waiting, ""
	h.stale = true
	select {
	case h.desk.work <- &photoJob{h, key}:
	default:
		l.state, l.message, l.noScale = failed, "too many photos are waiting; measure this one again later", false
	}
}

// shot says how a photo is measured; the caller holds mu.
func (h *harvest) shot(p *savedPhoto) pipeline.Shot {
	x := pipeline.Shot{Input: pipeline.Input{Path: h.path(p), Name: p.File}, Out: h.resultDir(), CoinMM: p.Coin, ScaleLine: p.Line, NoScale: p.None, Plant: p.Plant}
	x.CardColours, x.CameraFile = h.desk.cardFiles(h.Colours), h.desk.lensFile(h.Lens)
	if r := h.Run; r != nil {
		x.Pose, x.Fixes, x.CardLength, x.MaxPixels = r.Pose, r.Fixes, r.CardLength, r.MaxPixels
		if h.Lens == "" {
			x.CameraFile = r.Camera
		}
		for n, file := range r.CardColours {
			if x.CardColours == nil {
				x.CardColours = map[int]string{}
			}
			if x.CardColours[n] == "" {
				x.CardColours[n] = file
			}
		}
	}
	if h.Ruler > 0 {
		x.CardLength = h.Ruler
	}
	return x
}

// measure measures one photo of the queue.
func (h *harvest) measure(key string) {
	h.mu.Lock()
	p, l := h.photo(key)
	if p == nil || l == nil || l.state != waiting || h.held {
		h.mu.Unlock()
		return
	}
	l.state = measuring
	x := h.shot(p)
	h.mu.Unlock()
	part, err := h.desk.session.Measure(x)
	h.mu.Lock()
	defer h.mu.Unlock()
	if p, l = h.photo(key); p == nil { // taken away meanwhile
		return
	}
	if !reflect.DeepEqual(h.shot(p), x) { // its scale was changed meanwhile
		h.queue(key)
		return
	}
	if err != nil {
		l.state, l.message, l.noScale, l.part = failed, sentence(err.Error()), card.NoScale(err), nil
	} else {
		h.measured(l, part)
	}
	h.refresh()
}

// measured takes a new result of a photo in; the caller holds mu.
func (h *harvest) measured(l *live, part *pipeline.Part) {
	l.state, l.message, l.part = measured, part.Photo.Message, part
	h.stale = true
}

// busy reports whether photos are waiting or being measured; the caller holds mu.
func (h *harvest) busy() bool {
	for _, l := range h.live {
		if l.state == waiting || l.state == measuring {
			return true
		}
	}
	return false
}

// refresh groups and judges again when all photos are through; the caller holds mu.
func (h *harvest) refresh() {
	if h.held || h.judging || !h.stale || h.busy() || h.desk.ctx == nil {
		return
	}
	h.judging = true
	h.desk.wg.Add(1)
	go func() {
		defer h.desk.wg.Done()
		for h.judgeOnce() {
		}
	}()
}

// judgeAgain groups and judges again after what verdicts depend on was changed.
func (h *harvest) judgeAgain() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.stale = true
	h.refresh()
}

// judgeDelay is how long judging waits after a correction: the next one comes within it when somebody works
// through a photo, and judging in between would only slow that down (own choice).
const judgeDelay = 2 * time.Second

// refreshSoon is refresh, once no correction came for a moment; the caller holds mu.
func (h *harvest) refreshSoon() {
	if h.soon != nil {
		h.soon.Stop()
	}
	var t *time.Timer
	t = time.AfterFunc(judgeDelay, func() {
		h.mu.Lock()
		defer h.mu.Unlock()
		if h.soon != t { // another correction came
			return
		}
		h.soon = nil
		if h.desk.ctx.Err() == nil {
			h.refresh()
		}
	})
	h.soon = t
}

// settling reports whether groups and verdicts are older than the photos; the caller holds mu.
func (h *harvest) settling() bool { return h.judging || h.soon != nil || h.busy() }

// judgeOnce groups and judges what is there now; true when there is newer by then.
func (h *harvest) judgeOnce() (again bool) {
	h.mu.Lock()
	h.stale = false
	parts := h.parts()
	f := pipeline.Finishing{Out: h.resultDir(), Judge: h.judgeOptions(), Variety: h.varietyFile(), Table: map[string]string{}}
	for i := range h.Photos {
		f.Table[h.Photos[i].File] = h.Photos[i].Table
	}
	name, lot := h.Name, h.Lot
	h.mu.Unlock()
	var done finding
	if len(parts) > 0 {
		done = h.desk.judge(f, name, lot, parts)
	}
	if done.kept {
		h.tellStage()
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.said = done.said
	h.result = done.run
	h.setSeen(done.seen)
	h.cutouts = nil
	if h.stale && !h.held && !h.busy() && h.desk.ctx.Err() == nil {
		return true
	}
	h.judging = false
	return false
}

// finding is what grouping and judging leave behind.
type finding struct {
	run  *record.Run
	seen [][]record.Key
	said []string
	kept bool // it is in the book
}

// tellStage writes the stage of the fruit into the book when it was changed here, "not said" as empty. What was
// written there otherwise stays.
func (h *harvest) tellStage() {
	h.mu.Lock()
	name, stage, told := h.Name, h.Stage, h.Told
	h.mu.Unlock()
	if stage == told || h.desk.book.Set(context.WithoutCancel(h.desk.ctx), "harvest", name, map[string]string{"stage": stage}) != nil {
		return // it is tried again with the next judging
	}
	h.change(func(s *saved) error { s.Told = stage; return nil })
}

// judge finishes a result and writes it into the book.
func (d *Desk) judge(f pipeline.Finishing, name, lot string, parts []*pipeline.Part) (done finding) {
	defer func() {
		if r := recover(); r != nil {
			done.said = append(done.said, fmt.Sprintf("The groups could not be worked out (%v). Please report this.", r))
		}
	}()
	if h, err := d.book.Harvest(d.ctx, name); err == nil { // not there before it was recorded once
		f.Judge.Lots, _ = gather.Lots(&h, lot, f.Judge.Controls)
	}
	res, err := d.session.Finish(parts, f)
	if err != nil {
		done.said = append(done.said, sentence(err.Error()))
		if res == nil || errors.Is(err, pipeline.ErrUsage) {
			if f.Variety != "" { // a broken description costs the verdicts, not the groups
				f.Variety = ""
				again := d.judge(f, name, lot, parts)
				again.said = append(done.said, again.said...)
				return again
			}
			return done
		}
	}
	done.run, done.seen = res.Run, res.Seen
	full, err := res.Full()
	if err != nil {
		done.said = append(done.said, sentence(err.Error()))
		return done
	}
	done.run = full
	if len(full.Fruits) == 0 {
		return done
	}
	rec, err := d.book.RecordRun(context.WithoutCancel(d.ctx), name, lot, *full)
	if err != nil {
		done.said = append(done.said, "Not written into the harvest book: "+err.Error())
		return done
	}
	done.kept = true
	done.said = append(done.said, bookWords(&rec)...)
	return done
}

// bookWords says what the book found when a harvest was written down, and what can be done about it on the page.
func bookWords(rec *book.Recorded) []string {
	var out []string
	if rec.NewLot != "" {
		out = append(out, fmt.Sprintf("Seed lot %q is new to the harvest book. Write down its supplier and packet under Before sowing, Packets and seed lots.", rec.NewLot))
	}
	for _, s := range rec.Said {
		out = append(out, sentence(s))
	}
	for _, x := range rec.Twice {
		are := "stand"
		if x.Photos == 1 {
			are = "stands"
		}
		out = append(out, fmt.Sprintf("%s %s in the harvest %q too. If it is the same harvest, open %q under Harvest table and go on there. Give this one no seed lot, and leave it out when you compare years: its fruit would count twice.", record.Count(x.Photos, "photo", "photos"), are, x.Harvest, x.Harvest))
	}
	return out
}

// setSeen notes which fruit were seen on several photos; the caller holds mu.
func (h *harvest) setSeen(seen [][]record.Key) {
	h.seen, h.best = seen, map[record.Key]record.Key{}
	for _, keys := range seen {
		for _, k := range keys {
			h.best[k] = keys[0]
		}
	}
}

// standsFor returns the fruit of the result that a fruit of a photo is; the caller holds mu.
func (h *harvest) standsFor(k record.Key) record.Key {
	if b, ok := h.best[k]; ok {
		return b
	}
	return k
}

// parts returns the results of all photos, failed ones included; the caller holds mu.
func (h *harvest) parts() []*pipeline.Part {
	var out []*pipeline.Part
	for i := range h.Photos {
		p := &h.Photos[i]
		l := h.live[p.Key]
		if l == nil {
			continue
		}
		switch l.state {
		case measured:
			out = append(out, l.part)
		case failed:
			out = append(out, &pipeline.Part{Photo: record.Photo{Name: p.File, SHA256: p.SHA, Status: record.StatusFailed, Message: l.message, NoScale: l.noScale}})
		}
	}
	return out
}

func (h *harvest) judgeOptions() judge.Options {
	o := judge.Options{Plants: h.saved.Plants, ItemIsPlant: h.Item, Stage: h.Stage}
	spared := h.Spared
	if r := h.Run; r != nil {
		o.Groups, o.Species, o.Standard, o.Acceptance = r.Groups, r.Species, r.Standard, r.Acceptance
		spared = append(slices.Clone(spared), r.NotAssessable...)
	}
	plants, fruits := map[string]bool{}, map[string]bool{}
	for _, l := range h.live {
		if l.part == nil {
			continue
		}
		for i := range l.part.Fruits {
			f := &l.part.Fruits[i]
			plants[f.Plant], fruits[fmt.Sprintf("%s:%d", f.Photo, f.Number)] = true, true
			fruits["plant:"+f.Plant] = f.Plant != ""
		}
	}
	for _, p := range h.Control { // a plant or fruit that is gone must not cost the verdicts
		if plants[p] {
			o.Controls = append(o.Controls, p)
		}
	}
	for _, f := range spared {
		if fruits[f] {
			o.NotAssessable = append(o.NotAssessable, f)
		}
	}
	return o
}

// sentence makes an error text a sentence for the page. Other than record.Plain it plains names in a command too: here
// nobody types it.
func sentence(s string) string {
	s = strings.TrimSpace(s)
	if s == "" {
		return ""
	}
	s = strings.ReplaceAll(s, `\"`, `"`) // a name with quotation marks, as an error writes it
	if strings.Contains(s, "no space left on device") || strings.Contains(s, "disk is full") {
		return "The disk of this computer is full, so nothing was saved. Make room, then do it again."
	}
	s = record.Capital(s)
	if !strings.HasSuffix(s, ".") {
		s += "."
	}
	return s
}
