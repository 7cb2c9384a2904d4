package desk

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"offtype/pipeline/book"
	"offtype/pipeline/record"
)

// Moving fruit between groups by hand, joining and naming groups: decisions in the book, apart from what was computed.

// keyed reads the fruit of a form: photo key and number.
func (h *harvest) keyed(s string) (record.Key, error) {
	key, n, ok := strings.Cut(s, ".")
	num, err := strconv.Atoi(n)
	h.mu.Lock()
	defer h.mu.Unlock()
	p, _ := h.photo(key)
	if !ok || err != nil || p == nil || h.result == nil || h.fruit(p.File, num) == nil {
		return record.Key{}, errors.New("there is no such fruit; load the page again")
	}
	return record.Key{Photo: p.File, Number: num}, nil
}

// put decides the group of a fruit by hand; the computed group takes the decision back.
func (d *Desk) put(ctx context.Context, h *harvest, k record.Key, to int) error {
	if to < 1 || to > 999 {
		return errors.New("choose a group from the list")
	}
	hand, _, _ := h.decisions(ctx)
	h.mu.Lock()
	m, _ := h.finding(k)
	h.mu.Unlock()
	old, had := hand[k]
	if m == nil || m.Group != to || m.Unsure || m.Alone {
		if had && old.Value == strconv.Itoa(to) {
			return nil
		}
		if err := d.book.AddDecision(ctx, h.Name, book.Subject{Photo: k.Photo, Fruit: k.Number}, "group", strconv.Itoa(to), "", ""); err != nil {
			return err
		}
	}
	if had {
		return d.book.Remove(ctx, "decision", old.ID)
	}
	return nil
}

func (d *Desk) moveFruit(w http.ResponseWriter, r *http.Request, h *harvest) {
	to, _ := strconv.Atoi(r.PostForm.Get("to"))
	fruits := r.PostForm["fruit"]
	var err error
	if len(fruits) == 0 {
		err = errors.New("tick the fruit to move first")
	}
	for _, s := range fruits {
		var k record.Key
		if k, err = h.keyed(s); err != nil {
			break
		}
		if err = d.put(r.Context(), h, k, to); err != nil {
			break
		}
	}
	if r.PostForm.Get("back") == "unsure" && err == nil {
		http.Redirect(w, r, "/h/"+h.ID+"/unsure?said=saved", http.StatusSeeOther)
		return
	}
	d.afterGroups(w, r, h, err)
}

// afterGroups answers with the rows.
func (d *Desk) afterGroups(w http.ResponseWriter, r *http.Request, h *harvest, err error) {
	if r.Header.Get("HX-Request") == "" && err == nil {
		http.Redirect(w, r, "/h/"+h.ID+"/groups?said=saved", http.StatusSeeOther)
		return
	}
	v := h.groupsData(r.Context())
	if err != nil {
		v.Problem = sentence(err.Error())
	}
	if r.Header.Get("HX-Request") == "" {
		d.showStatus(w, r, http.StatusUnprocessableEntity, "groups", h.page("Groups", "groups", v))
		return
	}
	d.piece(w, "groups", "rows", v)
}

// mergeGroups puts all fruit of a group into another.
func (d *Desk) mergeGroups(w http.ResponseWriter, r *http.Request, h *harvest) {
	from, _ := strconv.Atoi(r.PostForm.Get("group"))
	to, _ := strconv.Atoi(r.PostForm.Get("to"))
	var err error
	if from == to {
		err = errors.New("choose another group to join it with")
	}
	for _, row := range h.groupsData(r.Context()).Rows {
		if row.Number != from || err != nil {
			continue
		}
		for _, c := range row.Cuts {
			if err = d.put(r.Context(), h, record.Key{Photo: c.File, Number: c.Number}, to); err != nil {
				break
			}
		}
	}
	d.afterGroups(w, r, h, err)
}

func (d *Desk) nameGroup(w http.ResponseWriter, r *http.Request, h *harvest) {
	n, err := strconv.Atoi(r.PostForm.Get("group"))
	name := oneLine(r.PostForm.Get("name"), 60)
	if err != nil || n < 1 || n > 999 {
		d.afterGroups(w, r, h, errors.New("there is no such group; load the page again"))
		return
	}
	_, names, _ := h.decisions(r.Context())
	old := names[n]
	if b, err := d.book.Harvest(r.Context(), h.Name); err == nil && name != "" {
		for _, x := range b.Decisions { // given again: the one that could not follow is settled
			if _, was, _ := strings.Cut(x.Value, ": "); x.Kind == "group name" && x.Lost != "" && was == name {
				old = append(old, x)
			}
		}
	}
	if name == names[n].words() {
		d.afterGroups(w, r, h, nil)
		return
	}
	if name != "" {
		err = d.book.AddDecision(r.Context(), h.Name, book.Subject{}, "group name", fmt.Sprintf("%d: %s", n, name), "", "")
	}
	for i := 0; err == nil && i < len(old); i++ {
		err = d.book.Remove(r.Context(), "decision", old[i].ID)
	}
	d.afterGroups(w, r, h, err)
}
