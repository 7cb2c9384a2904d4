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
	err := h.change(func(s *saved) error {
		for i := range s.Photos {
			if s.Photos[i].Key == key {
				return scaleFrom(&s.Photos[i], f)
			}
		}
		return errors.New("there is no such photo; load the page again")
	})
	if err != nil {
		d.problem(w, r, http.StatusUnprocessableEntity, err)
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

// drawnLine turns a line drawn on the photo (points in widths of the photo) and its length into
// the form's field "line", in px.
func (h *harvest) drawnLine(key string, f url.Values) error {
	if f.Get("scale") != "line" || f.Get("points") == "" {
		return nil
	}
	mm, err := number(f.Get("mm"))
	if err != nil || mm <= 0 {
		return errors.New("give the length of the line in mm, such as 200")
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
		if _, _, _, err := card.ParseScaleLine(line); err != nil {
			return fmt.Errorf("%w; draw the line on the photo, along the ruler", err)
		}
		p.Line = line
	case "none":
		p.None = true
	default:
		return errors.New("choose card, coin, line or no scale")
	}
	p.Plant = ""
	if s := strings.TrimSpace(f.Get("plant")); s != "" {
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
