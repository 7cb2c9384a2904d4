package desk

import (
	"errors"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"
)

// what says what the fruit are, as the form writes it.
func (s *saved) what() map[string]string {
	v := map[string]string{"variety": s.Variety, "lot": s.Lot, "stage": s.Stage, "plants": "", "item": "", "control": strings.Join(s.Control, ", ")}
	if s.Plants > 0 {
		v["plants"] = strconv.Itoa(s.Plants)
	}
	if s.Item {
		v["item"] = "1"
	}
	return v
}

// whatLabels are the labels of the form.
var whatLabels = map[string]string{"variety": "Variety description", "lot": "Seed lot", "stage": "Stage of the fruit", "plants": "Fruiting plants", "item": "One item is one plant", "control": "Control plants"}

// settings saves what holds for the whole harvest and judges again. Only what was changed in the form is written.
func (d *Desk) settings(w http.ResponseWriter, r *http.Request, h *harvest) {
	typed := map[string]string{}
	for f := range whatLabels {
		typed[f] = oneLine(r.PostForm.Get(f), 400)
	}
	status := http.StatusUnprocessableEntity
	err := h.change(func(s *saved) error {
		changed, err := changedFields(r.PostForm, typed, s.what(), func(f string) string { return whatLabels[f] })
		if err != nil {
			status = http.StatusConflict
			return fmt.Errorf("%w; open the photos again before you change it", err)
		}
		for _, f := range slices.Sorted(maps.Keys(changed)) {
			if err := d.set(s, f, changed[f]); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		d.photosPage(w, r, status, h, refused{settings: typed}, err)
		return
	}
	h.judgeAgain()
	http.Redirect(w, r, "/h/"+h.ID+"/photos?said=saved", http.StatusSeeOther)
}

// set changes one of the fields that say what the fruit are.
func (d *Desk) set(s *saved, field, value string) error {
	switch field {
	case "lot":
		s.Lot = oneLine(value, 60)
	case "variety":
		if value != "" && !d.hasVariety(value) {
			return errors.New("there is no such variety description; write one under Before sowing")
		}
		s.Variety = value
	case "stage":
		if value != "" && !slices.Contains(stages, value) {
			return errors.New("choose a stage from the list")
		}
		s.Stage = value
	case "plants":
		s.Plants = 0
		if value != "" {
			n, err := strconv.Atoi(value)
			if err != nil || n < 0 || n > 100_000 {
				return errors.New("the number of plants is a whole number, such as 12")
			}
			s.Plants = n
		}
	case "item":
		s.Item = value == "1"
	case "control":
		s.Control = nil
		for _, p := range strings.FieldsFunc(value, func(c rune) bool { return c == ',' || c == ' ' }) {
			if n, err := strconv.Atoi(p); err != nil || n < 1 {
				return errors.New("control plants are numbers, such as 3, 7")
			}
			s.Control = append(s.Control, p)
		}
	}
	return nil
}
