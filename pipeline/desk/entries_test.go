package desk

import (
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
)

var shownField = regexp.MustCompile(`name="w-([a-z_]+)" value="([^"]*)"`)

// form is the form of an entry as a browser would send it unchanged.
func (c *client) form(kind, name string) url.Values {
	c.t.Helper()
	_, page := c.get("/book/" + kind + "?" + url.Values{"name": {name}}.Encode())
	v := url.Values{"key": {name}}
	for _, m := range shownField.FindAllStringSubmatch(page, -1) {
		v.Set("w-"+m[1], html.UnescapeString(m[2]))
		v.Set("f-"+m[1], html.UnescapeString(m[2]))
	}
	if len(v) < 3 {
		c.t.Fatalf("no fields in %.300s", page)
	}
	return v
}

// Two tabs with one entry, and a new form with a name that is there already: only what was changed is written.
func TestEntriesOfTwoTabs(t *testing.T) {
	_, c := withHarvest(t)
	save := func(v url.Values, want int) string {
		t.Helper()
		s, b := c.post("/book/lot", v)
		if s != want {
			t.Fatalf("status %d, want %d: %.2000s", s, want, b)
		}
		return b
	}
	first := c.form("lot", "")
	first.Set("key", "L-1")
	first.Set("f-supplier", "Example Seeds")
	first.Set("f-note", "from the \"fair\"")
	save(first, http.StatusSeeOther)

	one, two := c.form("lot", "L-1"), c.form("lot", "L-1")
	one.Set("f-supplier_lot", "A123")
	save(one, http.StatusSeeOther)
	two.Set("f-packet", "tan, long")
	save(two, http.StatusSeeOther)
	again := c.form("lot", "")
	again.Set("key", "L-1")
	again.Set("f-seed_left", "half")
	save(again, http.StatusSeeOther)
	now := c.form("lot", "L-1")
	for f, want := range map[string]string{"supplier": "Example Seeds", "note": "from the \"fair\"", "supplier_lot": "A123", "packet": "tan, long", "seed_left": "half"} {
		if got := now.Get("f-" + f); got != want {
			t.Errorf("%s is %q, want %q", f, got, want)
		}
	}

	two.Set("f-supplier_lot", "B9")
	if b := save(two, http.StatusConflict); !strings.Contains(b, "A123") || !strings.Contains(b, `value="B9"`) {
		t.Errorf("two answers to one question: %.2000s", b)
	}
	now.Set("f-packet", "")
	save(now, http.StatusSeeOther)
	if got := c.form("lot", "L-1").Get("f-packet"); got != "" {
		t.Errorf("a field that was emptied holds %q", got)
	}
}

// Two tabs with what the fruit are: only what was changed is written, and what was typed is not lost when it is refused.
func TestSettingsOfTwoTabs(t *testing.T) {
	d, c := withHarvest(t)
	form := func() url.Values {
		v := url.Values{}
		_, page := c.get("/h/2026-squash/photos")
		for _, m := range shownField.FindAllStringSubmatch(page, -1) {
			v.Set("w-"+m[1], html.UnescapeString(m[2]))
			v.Set(m[1], html.UnescapeString(m[2]))
		}
		if len(v) != 16 { // of card and camera too
			t.Fatalf("the form shows %v", v)
		}
		return v
	}
	save := func(v url.Values, want int) string {
		t.Helper()
		s, b := c.post("/h/2026-squash/settings", v)
		if s != want {
			t.Fatalf("status %d, want %d: %.2000s", s, want, b)
		}
		return b
	}
	one, two := form(), form()
	one.Set("lot", "L-1")
	one.Set("control", "3, 7")
	save(one, http.StatusSeeOther)
	two.Set("stage", "cured")
	two.Set("item", "1")
	save(two, http.StatusSeeOther)
	h := d.harvest("2026-squash")
	if h.Lot != "L-1" || len(h.Control) != 2 || h.Stage != "cured" || !h.Item {
		t.Errorf("after two tabs: %+v", h.saved)
	}
	two.Set("lot", "L-2")
	if b := save(two, http.StatusConflict); !strings.Contains(b, "Seed lot: &#34;L-1&#34; was written meanwhile") || !strings.Contains(b, `name="lot" value="L-2"`) {
		t.Errorf("two answers to one question: %.3000s", b)
	}
	three := form()
	three.Set("plants", "12,5")
	three.Set("lot", "L-3")
	if b := save(three, http.StatusUnprocessableEntity); !strings.Contains(b, `value="12,5"`) || !strings.Contains(b, `name="lot" value="L-3"`) || h.Lot != "L-1" {
		t.Errorf("what was typed is lost, or half of it saved (%q): %.3000s", h.Lot, b)
	}
	three.Set("plants", "12")
	three.Set("item", "")
	save(three, http.StatusSeeOther)
	if h.Lot != "L-3" || h.Plants != 12 || h.Item || h.Stage != "cured" {
		t.Errorf("at last: %+v", h.saved)
	}
	if s, b := c.post("/h/2026-squash/camera", url.Values{"ruler": {"9,8 cm"}}); s != http.StatusUnprocessableEntity || !strings.Contains(b, "cannot read") || !strings.Contains(b, `name="ruler"`) {
		t.Errorf("a ruler that was misread: %d, and the form is gone: %.500s", s, b)
	}
}
