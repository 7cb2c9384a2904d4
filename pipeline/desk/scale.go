package desk

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"offtype/pipeline/card"
	"offtype/pipeline/exchange"
)

// setScale says what gives a photo its scale and which plant its fruit are from, and measures it again.
func (d *Desk) setScale(w http.ResponseWriter, r *http.Request, h *harvest) {
	f := r.PostForm
	key := r.PathValue("key")
	if err := h.drawnLine(key, f); err != nil {
		d.problem(w, r, http.StatusUnprocessableEntity, err)
		return
	}
	status := http.StatusUnprocessableEntity
	err := h.change(func(s *saved) error {
		for i := range s.Photos {
			if s.Photos[i].Key == key {
				err := s.Photos[i].take(f)
				if errors.Is(err, errMeanwhile) {
					status = http.StatusConflict
				}
				return err
			}
		}
		return errors.New("there is no such photo; load the page again")
	})
	if err != nil {
		d.problem(w, r, status, err)
		return
	}
	h.mu.Lock()
	if l := h.live[key]; l != nil && l.state != measuring {
		h.queue(key)
	}
	h.mu.Unlock()
	if r.Header.Get("HX-Request") != "" {
		d.photoList(w, r, h)
		return
	}
	http.Redirect(w, r, "/h/"+h.ID+"/photos?said=queued", http.StatusSeeOther)
}

// form is what the form of the photo holds: what gives the scale, in one, and the plant.
func (p *savedPhoto) form() map[string]string {
	scale := "the scale card"
	switch {
	case p.Coin > 0:
		scale = fmt.Sprintf("a coin of %g mm", p.Coin)
	case p.Line != "":
		scale = "the line " + p.Line
	case p.None:
		scale = "no scale"
	}
	return map[string]string{"scale": scale, "plant": p.Plant}
}

// take takes over what was changed in the form of the photo.
func (p *savedPhoto) take(f url.Values) error {
	var want savedPhoto
	if err := scaleFrom(&want, f); err != nil {
		return err
	}
	changed, err := changedFields(f, want.form(), p.form(), func(f string) string {
		return map[string]string{"scale": "Scale", "plant": "Plant"}[f]
	})
	if err != nil {
		return fmt.Errorf("%w; load the page again before you change it", err)
	}
	if _, ok := changed["scale"]; ok {
		p.Coin, p.Line, p.None = want.Coin, want.Line, want.None
	}
	if _, ok := changed["plant"]; ok {
		p.Plant = want.Plant
	}
	return nil
}

// lineMM is the length of the photo's line as it was typed.
func (p *savedPhoto) lineMM() string {
	_, mm, _ := strings.Cut(p.Line, "=")
	return mm
}

// drawnLine turns a line drawn on the photo (points in widths of the photo) and its length into
// the form's field "line", in px.
func (h *harvest) drawnLine(key string, f url.Values) error {
	at, was, drawn := strings.Cut(f.Get("line"), "=")
	if f.Get("scale") != "line" || f.Get("points") == "" && (!drawn || f.Get("mm") == was) {
		return nil
	}
	mm, err := number(f.Get("mm"))
	if err != nil || mm <= 0 {
		return errors.New("give the length of the line in mm, such as 200")
	}
	if f.Get("points") == "" { // the line stays, its length was corrected
		f.Set("line", at+"="+strconv.FormatFloat(mm, 'f', -1, 64))
		return nil
	}
	pts, err := points(f.Get("points"))
	if err != nil || len(pts) != 2 {
		return errors.New("draw the line on the photo, along the ruler")
	}
	h.mu.Lock()
	p, _ := h.photo(key)
	h.mu.Unlock()
	if p == nil {
		return errors.New("there is no such photo; load the page again")
	}
	size, err := h.sizeOf(h.path(p))
	if err != nil {
		return err
	}
	w := float64(size.X)
	f.Set("line", fmt.Sprintf("%.1f,%.1f,%.1f,%.1f=%s", pts[0][0]*w-.5, pts[0][1]*w-.5, pts[1][0]*w-.5, pts[1][1]*w-.5, strconv.FormatFloat(mm, 'f', -1, 64)))
	return nil
}

type values interface{ Get(string) string }

func scaleFrom(p *savedPhoto, f values) error {
	p.Coin, p.Line, p.None = 0, "", false
	switch f.Get("scale") {
	case "", "card":
	case "coin":
		mm, err := number(f.Get("coin"))
		if err != nil || mm < 5 || mm > 100 {
			return errors.New("give the coin's diameter in mm, such as 23.25")
		}
		p.Coin = mm
	case "line":
		line := strings.TrimSpace(f.Get("line"))
		if line == "" {
			return errors.New("draw the line on the photo, along the ruler, and give its length")
		}
		if _, _, _, err := card.ParseScaleLine(line); err != nil {
			return errors.New("the line is too short; draw it again, as long as the ruler allows")
		}
		p.Line = line
	case "none":
		p.None = true
	default:
		return errors.New("choose card, coin, line or no scale")
	}
	p.Plant = ""
	if s := strings.TrimSpace(f.Get("plant")); s != "" && s != "0" {
		n, err := strconv.Atoi(s)
		if err != nil || n < 1 || n > 99_999 {
			return errors.New("a plant is a whole number, as on its tag")
		}
		p.Plant = strconv.Itoa(n)
	}
	return nil
}

// number reads a number that was typed.
func number(s string) (float64, error) { return exchange.ParseNumber(strings.TrimSpace(s)) }
