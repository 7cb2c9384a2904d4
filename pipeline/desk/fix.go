package desk

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"offtype/measure/geom"
	"offtype/pipeline"
	"offtype/pipeline/record"
	"offtype/pipeline/segment"
)

// fix takes one correction: it is measured first, then saved, then shown.
func (d *Desk) fix(w http.ResponseWriter, r *http.Request, h *harvest) {
	f := r.PostForm
	n, _ := strconv.Atoi(f.Get("fruit"))
	err := h.correct(r.PathValue("key"), func(part *pipeline.Part, fx *segment.Fixes) error {
		more, err := fixFrom(part, n, f)
		if err != nil {
			return err
		}
		fx.Fixes = append(fx.Fixes, more)
		return nil
	})
	d.afterFix(w, r, h, n, err)
}

// plantNumber sets the plant of one fruit, for people who read the numbers that are written on the fruit one after
// the other. It answers with the fruit's new label only.
func (d *Desk) plantNumber(w http.ResponseWriter, r *http.Request, h *harvest) {
	key := r.PathValue("key")
	n, _ := strconv.Atoi(r.PostForm.Get("fruit"))
	err := h.correct(key, func(part *pipeline.Part, fx *segment.Fixes) error {
		more, err := fixFrom(part, n, url.Values{"op": {"plant"}, "plant": {r.PostForm.Get("plant")}})
		if err == nil {
			fx.Fixes = append(fx.Fixes, more)
		}
		return err
	})
	if err != nil {
		d.problem(w, r, http.StatusUnprocessableEntity, err)
		return
	}
	h.mu.Lock()
	label := ""
	if _, l := h.photo(key); l != nil && l.part != nil {
		for i := range l.part.Fruits {
			if f := &l.part.Fruits[i]; f.Number == n {
				label = h.shape(f).Label
			}
		}
	}
	h.mu.Unlock()
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	fmt.Fprint(w, label)
}

// spare takes a fruit out of the judging, or back in: sick, damaged or unripe fruit say nothing of
// the variety. It is still measured.
func (d *Desk) spare(w http.ResponseWriter, r *http.Request, h *harvest) {
	n, _ := strconv.Atoi(r.PostForm.Get("fruit"))
	h.mu.Lock()
	p, _ := h.photo(r.PathValue("key"))
	known := p != nil && h.fruitData(p.Key, n) != nil
	var names []string
	if known {
		names = h.names(record.Key{Photo: p.File, Number: n})
	}
	h.mu.Unlock()
	err := errors.New("choose a fruit first")
	if known {
		err = h.change(func(s *saved) error {
			s.Spared = slices.DeleteFunc(slices.Clone(s.Spared), func(x string) bool { return slices.Contains(names, x) })
			if r.PostForm.Get("on") == "1" {
				s.Spared = append(s.Spared, names[0])
			}
			return nil
		})
	}
	if err == nil {
		h.judgeAgain()
	}
	d.afterFix(w, r, h, n, err)
}

func (d *Desk) undo(w http.ResponseWriter, r *http.Request, h *harvest) {
	n, _ := strconv.Atoi(r.PostForm.Get("fruit"))
	err := h.correct(r.PathValue("key"), func(_ *pipeline.Part, fx *segment.Fixes) error {
		if len(fx.Fixes) == 0 {
			return errors.New("there is nothing to take back on this photo")
		}
		if shown := r.PostForm.Get("fixes"); shown != "" && shown != strconv.Itoa(len(fx.Fixes)) {
			return errors.New("this photo was corrected on another page meanwhile, as you see it now; press Undo again to take back the last correction")
		}
		fx.Fixes = fx.Fixes[:len(fx.Fixes)-1]
		return nil
	})
	d.afterFix(w, r, h, n, err)
}

// afterFix answers with the drawing and the panel, and with what went wrong.
func (d *Desk) afterFix(w http.ResponseWriter, r *http.Request, h *harvest, n int, err error) {
	h.mu.Lock()
	v, ok := h.tableData(r.PathValue("key"))
	v.Fruit = h.fruitData(v.Key, n)
	if plant := oneLine(r.PostForm.Get("plant"), 20); err == nil && r.PostForm.Get("op") == "plant" && h.onlyFruitOf(plant) {
		v.Message = strings.TrimSpace(v.Message + fmt.Sprintf(" Plant %s has this fruit only. If the number is a slip, take it back with Undo.", plant))
	}
	h.mu.Unlock()
	if !ok {
		d.notFound(w, r)
		return
	}
	if err != nil {
		v.Problem = sentence(err.Error())
	}
	if r.Header.Get("HX-Request") == "" {
		d.show(w, r, "photo", h.page(v.File, "table", v))
		return
	}
	d.piece(w, "photo", "sheet", v)
}

// onlyFruitOf reports whether one fruit alone carries this plant number while others carry other numbers: a new plant, or
// a slip. The caller holds mu.
func (h *harvest) onlyFruitOf(plant string) bool {
	with, others := 0, 0
	for _, l := range h.live {
		if l.part == nil {
			continue
		}
		for i := range l.part.Fruits {
			switch l.part.Fruits[i].Plant {
			case "":
			case plant:
				with++
			default:
				others++
			}
		}
	}
	return with == 1 && others > 0
}

// correct changes the corrections of a photo and measures it again. Nothing is saved when the
// change cannot be applied.
func (h *harvest) correct(key string, change func(*pipeline.Part, *segment.Fixes) error) error {
	h.fixing.Lock() // corrections of a harvest come one after the other
	defer h.fixing.Unlock()
	h.mu.Lock()
	p, l := h.photo(key)
	if p == nil || l.part == nil {
		h.mu.Unlock()
		return errors.New("this photo is not measured yet; wait until it is, or load the page again")
	}
	old, x := l.part, h.shot(p)
	h.mu.Unlock()
	file := segment.FixPath(x.Path, x.Fixes)
	fx, err := segment.ReadFixes(file)
	if err != nil {
		return fmt.Errorf("the corrections of this photo cannot be read (%w); move its .fix.json file away", err)
	}
	if err := change(old, fx); err != nil {
		return err
	}
	part, err := h.desk.session.Correct(x, fx)
	if err != nil {
		return err
	}
	if err := fx.Write(file); err != nil {
		return fmt.Errorf("the correction could not be saved (%w)", err)
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if p, l = h.photo(key); p != nil {
		h.measured(l, part)
		h.refreshSoon()
	}
	return nil
}

// fixFrom reads a correction from a form: fruit numbers become points inside them.
func fixFrom(part *pipeline.Part, n int, f url.Values) (segment.Fix, error) {
	x := segment.Fix{Op: f.Get("op")}
	at := func(n int) (*segment.Point, error) {
		for i := range part.Fruits {
			if g := &part.Fruits[i]; g.Number == n {
				c := inside(g)
				return &segment.Point{round1(c.X), round1(c.Y)}, nil
			}
		}
		return nil, errors.New("choose a fruit first")
	}
	pts, err := points(f.Get("points"))
	if err != nil {
		return x, err
	}
	if x.Op != "add" {
		if x.At, err = at(n); err != nil {
			return x, err
		}
	}
	switch x.Op {
	case "add", "redraw":
		if err := drawnWell(part, x.Op, n, pts); err != nil {
			return x, err
		}
		x.Outline = pts
	case "split":
		if len(pts) != 2 {
			return x, errors.New("mark the two ends of the cut")
		}
		x.Line = pts
	case "merge":
		with, _ := strconv.Atoi(f.Get("with"))
		if with == n {
			return x, errors.New("choose another fruit to join it with")
		}
		if x.With, err = at(with); err != nil {
			return x, errors.New("choose the other half")
		}
	case "stem":
		if len(pts) != 1 {
			return x, errors.New("mark the place of the stem end")
		}
		x.Stem = &pts[0]
	case "pose":
		x.Pose = f.Get("pose")
	case "plant":
		x.Plant = strings.TrimSpace(f.Get("plant"))
		if x.Plant == "" {
			x.Plant = "0"
		}
	case "drop":
	default:
		return x, errors.New("this correction is not known; load the page again")
	}
	return x, nil
}

// leastArea is the area of a drawn outline, px, below which it is a slip (own choice; no fruit is that small on a photo).
const leastArea = 100

// drawnWell refuses an outline that is none, and one that counts a fruit twice: over another fruit, or inside one.
func drawnWell(part *pipeline.Part, op string, n int, pts []segment.Point) error {
	var drawn []geom.Px
	for _, p := range pts {
		drawn = append(drawn, p.Px())
	}
	if len(pts) < 3 {
		return errors.New("draw the outline with at least three points around the fruit")
	}
	if geom.Area(drawn) < leastArea {
		return errors.New("the line encloses no fruit: it is too small, or crosses itself; draw once around the fruit")
	}
	middle := geom.Centroid(drawn)
	for i := range part.Fruits {
		f := &part.Fruits[i]
		if op == "redraw" && f.Number == n || !geom.Contains(drawn, inside(f)) && !geom.Contains(f.Outline, middle) {
			continue
		}
		if op == "redraw" {
			return fmt.Errorf("this outline lies over fruit %d; draw around fruit %d only", f.Number, n)
		}
		return fmt.Errorf("fruit %d lies there already and would count twice; choose it and press Draw again, or Cut in two when it is two fruit", f.Number)
	}
	return nil
}

func round1(v float64) float64 { return float64(int(v*10+.5)) / 10 }

// points reads "x,y x,y …" in px of the photo.
func points(s string) ([]segment.Point, error) {
	var out []segment.Point
	for _, w := range strings.Fields(s) {
		a, b, ok := strings.Cut(w, ",")
		x, err1 := number(a)
		y, err2 := number(b)
		if !ok || err1 != nil || err2 != nil || len(out) > 20_000 {
			return nil, errors.New("the points of the drawing cannot be read; draw it again")
		}
		out = append(out, segment.Point{x, y})
	}
	return out, nil
}
