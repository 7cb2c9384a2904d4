package desk

import (
	"errors"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
)

// The form "Card and camera": what a ruler reads on the card, which measured card colours and which lens file count.

// camera is what the form holds; cards are those that it lists.
func (s *saved) camera(cards []int) map[string]string {
	v := map[string]string{"ruler": rulerText(s.Ruler), "lens": s.Lens}
	for _, n := range cards {
		v[cardField(n)] = ""
		if slices.Contains(s.Colours, n) {
			v[cardField(n)] = "1"
		}
	}
	return v
}

func cardField(n int) string { return fmt.Sprintf("card-%d", n) }

func cameraWords(field string) string {
	if n, ok := strings.CutPrefix(field, "card-"); ok {
		return "card " + n
	}
	return map[string]string{"ruler": "Ruler on the card's line", "lens": "Lens file"}[field]
}

// cameraForm reads the fields that the form showed.
func (d *Desk) cameraForm(f url.Values) map[string]string {
	typed := map[string]string{}
	for name := range (&saved{}).camera(d.cardNumbers()) {
		if f.Has(name) || f.Has("w-"+name) {
			typed[name] = oneLine(f.Get(name), 60)
		}
	}
	return typed
}

// useFiles says which measured cards and which lens a harvest's photos were taken with. Only what was changed in the
// form is written.
func (d *Desk) useFiles(w http.ResponseWriter, r *http.Request, h *harvest) {
	typed := d.cameraForm(r.PostForm)
	status := http.StatusUnprocessableEntity
	err := h.change(func(s *saved) error {
		want := maps.Clone(typed)
		if text, ok := typed["ruler"]; ok {
			mm, err := rulerOf(text)
			if err != nil {
				return err
			}
			want["ruler"] = rulerText(mm)
		}
		changed, err := changedFields(r.PostForm, want, s.camera(d.cardNumbers()), cameraWords)
		if err != nil {
			status = http.StatusConflict
			return fmt.Errorf("%w; open the photos again before you change it", err)
		}
		for field, value := range changed {
			if err := d.setCamera(s, field, value); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		d.photosPage(w, r, status, h, refused{camera: typed}, err)
		return
	}
	h.mu.Lock()
	h.allAgain()
	h.mu.Unlock()
	http.Redirect(w, r, "/h/"+h.ID+"/photos?said=again", http.StatusSeeOther)
}

func (d *Desk) setCamera(s *saved, field, value string) (err error) {
	switch field {
	case "ruler":
		s.Ruler, err = rulerOf(value)
	case "lens":
		if value != "" && d.lensFile(value) == "" {
			return errors.New("there is no such lens file; bring it under Print cards and tags")
		}
		s.Lens = value
	default:
		n, _ := strconv.Atoi(strings.TrimPrefix(field, "card-")) // one of cardNumbers
		s.Colours = slices.DeleteFunc(slices.Clone(s.Colours), func(x int) bool { return x == n })
		if value == "1" {
			s.Colours = append(s.Colours, n)
			slices.Sort(s.Colours)
		}
	}
	return err
}

func rulerText(mm float64) string {
	if mm == 0 {
		return ""
	}
	return strconv.FormatFloat(mm, 'f', -1, 64)
}

// rulerOf reads what a ruler says of the card's 100 mm line; empty is 0, not said.
func rulerOf(text string) (float64, error) {
	mm, err := optional(text)
	if err != nil || mm != nil && (*mm < 50 || *mm > 200) {
		return 0, fmt.Errorf("the 100 mm line of the card cannot read %q; write what the ruler says in mm, such as 98.5", oneLine(text, 20))
	}
	if mm == nil {
		return 0, nil
	}
	return *mm, nil
}
