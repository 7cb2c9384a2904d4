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
