package desk

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
)

// posts are the addresses that take a form or an upload; those that open folders of the computer
// or listen on its network are left out.
var posts = []string{
	"/table", "/book/lot", "/book/plant", "/book/harvest", "/varieties/edit", "/varieties/words", "/varieties/learn",
	"/h/2026-squash/photos", "/h/2026-squash/settings", "/h/2026-squash/observe", "/h/2026-squash/same", "/h/2026-squash/camera",
	"/h/2026-squash/groups/move", "/h/2026-squash/groups/merge", "/h/2026-squash/groups/name", "/h/2026-squash/verdict",
	"/h/2026-squash/photo/p1/scale", "/h/2026-squash/photo/p1/fix", "/h/2026-squash/photo/p1/number", "/h/2026-squash/photo/p1/undo",
	"/print/colours", "/print/lens", "/print/remove",
}

// FuzzForms sends anything to every address that takes a form. An answer must come back (a handler
// that panics breaks the connection), never with a status of 500 or more, and the page goes on.
func FuzzForms(f *testing.F) {
	const form = "application/x-www-form-urlencoded"
	part := "--b\r\nContent-Disposition: form-data; name=\"photo\"; filename=\"a.jpg\"\r\n\r\nnot a photo\r\n--b--\r\n"
	seeds := []url.Values{
		{"name": {"2027 melons"}}, {"key": {"L-1"}, "f-name": {"x"}}, {"key": {"L-1/7"}, "f-leaf": {"lobed"}}, {"name": {"Tan"}, "species": {"x"}, "low-length": {"1"}, "high-length": {"-1"}},
		{"name": {"Tan"}, "words": {"20 cm long, green"}}, {"row": {"1"}, "trait": {"rind"}, "value": {"NaN"}}, {"group": {"99999999999"}, "name": {"y"}},
		{"fruit": {"1"}, "group": {"2"}}, {"kind": {"add"}, "outline": {"1,2 3,4"}}, {"what": {"coin"}, "mm": {"1e309"}}, {"line": {"0,0,0,0=0"}}, {"plant": {"-1"}, "at": {"5,5"}},
	}
	for i := range posts {
		f.Add(uint8(i), form, seeds[i%len(seeds)].Encode())
	}
	f.Add(uint8(7), "multipart/form-data; boundary=b", part)
	f.Add(uint8(20), "multipart/form-data; boundary=b", strings.Replace(part, "photo", "file", 1))
	f.Add(uint8(17), "application/json", `{"op":"split","at":[1,2]}`)
	d, c := withHarvest(f)
	if s, b := c.upload("2026-squash", "a.jpg", plainJPEG(f, 1)); s != http.StatusCreated {
		f.Fatalf("upload: %d %s", s, b)
	}
	token := map[string]string{"X-Desk-Token": d.token}
	f.Fuzz(func(t *testing.T, address uint8, kind, body string) {
		if strings.ContainsAny(kind, "\r\n\x00") || len(body) > 1<<16 {
			t.Skip()
		}
		p := posts[int(address)%len(posts)]
		c := &client{t: t, base: c.base, d: d, http: c.http}
		s, b := c.send("POST", p, strings.ToValidUTF8(kind, ""), strings.NewReader(body), token)
		if s == 0 && strings.Contains(b, "invalid header") {
			t.Skip()
		}
		if s == 0 || s >= 500 {
			t.Errorf("POST %s: status %d %.300s", p, s, b)
		}
	})
}
