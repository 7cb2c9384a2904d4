package desk

import (
	"fmt"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestForeignRequestsAreRefused(t *testing.T) {
	d, c := withHarvest(t)
	form := "name=evil&token=" + d.token
	for _, x := range []struct {
		name   string
		method string
		path   string
		header map[string]string
		body   string
		want   int
	}{
		{"foreign host", "GET", "/", map[string]string{"Host": "evil.example"}, "", http.StatusMisdirectedRequest},
		{"foreign host with the port", "GET", "/", map[string]string{"Host": "evil.example" + c.base[strings.LastIndex(c.base, ":"):]}, "", http.StatusMisdirectedRequest},
		{"foreign origin", "POST", "/table", map[string]string{"Origin": "http://evil.example"}, form, http.StatusForbidden},
		{"cross-site by Sec-Fetch-Site", "POST", "/table", map[string]string{"Sec-Fetch-Site": "cross-site"}, form, http.StatusForbidden},
		{"same-site is not same-origin", "POST", "/table", map[string]string{"Sec-Fetch-Site": "same-site"}, form, http.StatusForbidden},
		{"no token", "POST", "/table", nil, "name=evil", http.StatusForbidden},
		{"wrong token", "POST", "/table", map[string]string{"X-Desk-Token": "00"}, "name=evil", http.StatusForbidden},
		{"token in the address does not count", "POST", "/table?token=" + d.token, nil, "name=evil", http.StatusForbidden},
		{"unknown method", "DELETE", "/h/2026-squash/photos", map[string]string{"X-Desk-Token": d.token}, "", http.StatusNotFound},
	} {
		kind := ""
		if x.body != "" {
			kind = "application/x-www-form-urlencoded"
		}
		got, body := c.send(x.method, x.path, kind, strings.NewReader(x.body), x.header)
		if got != x.want && !(x.want == http.StatusNotFound && got == http.StatusMethodNotAllowed) {
			t.Errorf("%s: status %d, want %d: %.100s", x.name, got, x.want, body)
		}
	}
	if n := len(d.list()); n != 1 {
		t.Errorf("%d harvests after refused requests, want 1", n)
	}
}

func TestNoClientPathReachesTheFiles(t *testing.T) {
	d, c := withHarvest(t)
	secret := filepath.Join(filepath.Dir(d.Folder()), "secret.txt")
	if err := os.WriteFile(secret, []byte("top secret"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, p := range []string{
		"/static/../desk.go", "/static/%2e%2e/desk.go", "/static/..%2f..%2fdesk.go", "/static/", "/static/vendor/",
		"/h/..%2f..%2fsecret.txt/photos", "/h/%2e%2e/photos", "/h/2026-squash/file/..%2f..%2f..%2f..%2fsecret.txt", "/h/2026-squash/file/harvest.json",
		"/h/2026-squash/photo/..%2f..%2fharvest/preview.jpg", "/h/2026-squash/cut/..%2f../1.jpg", "/varieties/..%2f..%2fbook/file", "/varieties/edit?name=../../secret",
		"/h/2026-squash/../../../secret.txt", "/secret.txt", "/book/../../secret.txt",
	} {
		s, b := c.get(p)
		if strings.Contains(b, "top secret") || strings.Contains(b, "package desk") || strings.Contains(b, `"Photos"`) {
			t.Errorf("%s gave a file away: %d %.80s", p, s, b)
		}
		if s == http.StatusOK {
			t.Errorf("%s: status 200", p)
		}
	}
	for i, name := range []string{"../../evil.jpg", `..\..\evil.jpg`, "/etc/passwd", ".hidden.jpg", "a/../../b.jpg", strings.Repeat("x", 5000) + ".jpg", "", "…", "<script>.jpg"} {
		if s, b := c.upload("2026-squash", name, plainJPEG(t, 100+i)); s != http.StatusCreated {
			t.Errorf("upload named %.30q: %d %s", name, s, b)
		}
	}
	err := filepath.WalkDir(filepath.Dir(d.Folder()), func(p string, e os.DirEntry, err error) error {
		if strings.Contains(filepath.Base(p), "evil") && filepath.Base(filepath.Dir(p)) != "photos" {
			t.Errorf("an upload reached %s", p)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	es, err := os.ReadDir(filepath.Join(d.Folder(), "harvests", "2026-squash", "photos"))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range es {
		if safeName(e.Name()) != e.Name() {
			t.Errorf("the file name %q is not plain", e.Name())
		}
	}
}

// Whatever is typed anywhere comes back as text.
func TestScriptInEveryField(t *testing.T) {
	d, c := withHarvest(t)
	const evil = `<script>alert(1)</script>"'><img src=x onerror=alert(2)>`
	c.post("/table", url.Values{"name": {evil}})
	for _, kind := range []string{"lot", "variety", "bed", "planting", "grower", "harvest"} {
		v := url.Values{"key": {evil}, "f-note": {evil}, "f-name": {evil}, "f-supplier": {evil}, "f-species": {evil}, "f-soil": {evil}, "f-contact": {evil}}
		c.post("/book/"+kind, v)
	}
	c.post("/book/plant", url.Values{"key": {evil + "/7"}, "f-leaf": {evil}})
	c.post("/varieties/edit", url.Values{"name": {evil}, "species": {evil}, "version": {evil}, "source": {evil}, "shape": {evil}, "low-length": {"1"}, "high-length": {"2"}})
	c.post("/varieties/words", url.Values{"name": {evil}, "species": {evil}, "words": {evil + " 20 cm long"}})
	c.post("/h/2026-squash/settings", url.Values{"lot": {evil}, "variety": {evil}})
	c.upload("2026-squash", evil+".jpg", plainJPEG(t, 1))
	c.post("/h/2026-squash/observe", url.Values{"row": {evil}, "trait": {evil}, "value": {evil}, "label": {evil}})
	c.post("/h/2026-squash/groups/name", url.Values{"group": {"1"}, "name": {evil}})
	pages := []string{"/", "/table", "/seed", "/sow", "/book/lot", "/book/variety", "/book/bed", "/book/planting", "/book/plant", "/book/grower", "/book/harvest", "/varieties",
		"/book/lot?name=" + url.QueryEscape(evil), "/h/2026-squash/photos", "/h/2026-squash/groups", "/h/2026-squash/observe?t=" + url.QueryEscape(evil), "/h/2026-squash/unsure?skip=" + url.QueryEscape(evil),
		"/plan?v1=" + url.QueryEscape(evil) + "&n1=3&bed=" + url.QueryEscape(evil), "/compare?h=" + url.QueryEscape(evil), "/seed/choose?h=" + url.QueryEscape(evil), "/plan/page?n1=3&v1=" + url.QueryEscape(evil),
		"/varieties/edit?name=" + url.QueryEscape(evil), "/print/tags?plants=" + url.QueryEscape(evil), "/?said=" + url.QueryEscape(evil)}
	for _, h := range d.list() {
		pages = append(pages, "/h/"+h.ID+"/photos", "/h/"+h.ID+"/verdict")
	}
	for _, p := range pages {
		s, b := c.get(p)
		if strings.Contains(b, "<script>alert") || strings.Contains(b, "<img src=x") {
			t.Errorf("%s (%d) gives typed HTML back", p, s)
		}
		if s >= 500 {
			t.Errorf("%s: status %d %.200s", p, s, b)
		}
	}
	if _, b := c.get("/book/lot"); !strings.Contains(b, "&lt;script&gt;") {
		t.Error("the lot's name is not shown as text: the check above proves nothing")
	}
}

func TestHeadersForbidForeignContent(t *testing.T) {
	_, c := withHarvest(t)
	for _, p := range []string{"/", "/h/2026-squash/photos", "/static/desk.js", "/nothing"} {
		r, err := c.http.Get(c.base + p)
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		csp := r.Header.Get("Content-Security-Policy")
		if !strings.Contains(csp, "default-src 'none'") || strings.Contains(csp, "unsafe") || r.Header.Get("X-Content-Type-Options") != "nosniff" {
			t.Errorf("%s: headers %q", p, r.Header)
		}
	}
}

// A client that sends a byte now and then holds up nobody else.
func TestSlowClient(t *testing.T) {
	d, c := withHarvest(t)
	for range 50 {
		conn, err := net.Dial("tcp", strings.TrimPrefix(c.base, "http://"))
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		fmt.Fprintf(conn, "POST /h/2026-squash/photos HTTP/1.1\r\nHost: %s\r\nX-Desk-Token: %s\r\nContent-Type: multipart/form-data; boundary=b\r\nContent-Length: 1000000\r\n\r\n--b\r\n", strings.TrimPrefix(c.base, "http://"), d.token)
	}
	if s, _ := c.get("/table"); s != http.StatusOK {
		t.Errorf("the page answers %d while slow clients hang", s)
	}
	if s, b := c.upload("2026-squash", "a.jpg", plainJPEG(t, 1)); s != http.StatusCreated {
		t.Errorf("upload beside slow clients: %d %s", s, b)
	}
}

func TestListenOnlyHere(t *testing.T) {
	for _, a := range []string{"0.0.0.0:0", ":0", "192.168.1.5:0", "nonsense", "[::]:0", "example.org:80"} {
		if l, err := Listen(a); err == nil {
			l.Close()
			t.Errorf("Listen(%q) opened", a)
		}
	}
	l, err := Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	l.Close()
}

func TestSafeName(t *testing.T) {
	for in, want := range map[string]string{
		"IMG_0001.JPG": "IMG_0001.jpg", "../../x.png": "x.png", `C:\a\b.heic`: "b.heic", "": "photo", ".jpg": "photo.jpg", "a b.c.jpg": "a-b-c.jpg", "ä.jpg": "photo.jpg", "..": "photo", "x.": "x",
		strings.Repeat("x", 59) + " y.jpg": strings.Repeat("x", 59) + ".jpg",
	} {
		if got := safeName(in); got != want {
			t.Errorf("safeName(%q) = %q, want %q", in, got, want)
		}
		if got := safeName(safeName(in)); got != safeName(in) {
			t.Errorf("safeName(%q) is not stable: %q", in, got)
		}
	}
}

// Files of colours and lenses, pictures, notes and opened harvests: nothing broken is kept, nothing foreign is
// shown, and what is typed stays text.
func TestFormsWithFiles(t *testing.T) {
	d, c := withHarvest(t)
	const evil = `<script>alert(1)</script>`
	secret := filepath.Join(t.TempDir(), "secret.jpg")
	if err := os.WriteFile(secret, []byte("top secret"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct {
		path, name string
		data       []byte
	}{
		{"/print/colours?number=3", "c.txt", []byte("CGATS.17\nnonsense")}, {"/print/colours", "c.txt", nil}, {"/print/lens", "../../evil.json", []byte(`{"Format":"x"}`)},
		{"/print/lens", "l.json", []byte("{")}, {"/book/lot/picture", "a.jpg", []byte(evil)}, {"/book/lot/picture", "a.jpg", plainJPEG(t, 3)}, {"/lens/photos", "a.jpg", []byte("<html>")}, {"/book/nothing/picture", "a.jpg", plainJPEG(t, 3)},
	} {
		kind, body := multi(t, "file", x.name, x.data)
		if s, b := c.send("POST", x.path, kind, body, map[string]string{"X-Desk-Token": d.token}); s < 400 || s >= 500 || strings.Contains(b, "<script>alert") {
			t.Errorf("%s with %q: status %d %.200s", x.path, x.name, s, b)
		}
	}
	if len(d.cardNumbers())+len(d.lensNames()) != 0 {
		t.Error("a broken file was kept")
	}
	c.post("/book/lot", url.Values{"key": {"L-1"}})
	c.post("/book/lot/note", url.Values{"name": {"L-1"}, "text": {evil}})
	if _, b := c.get("/book/lot?name=L-1"); strings.Contains(b, "<script>alert") || !strings.Contains(b, "&lt;script&gt;") {
		t.Error("a note is not shown as text")
	}
	if err := d.book.AddPicture(t.Context(), secret, "leaf", "L-1", "", "", ""); err != nil { // as the command can
		t.Fatal(err)
	}
	for _, p := range []string{"/picture/1", "/picture/0", "/picture/..%2f1", "/picture/x"} {
		if s, b := c.get(p); s != http.StatusNotFound || strings.Contains(b, "top secret") {
			t.Errorf("%s: %d: only pictures are shown", p, s)
		}
	}
	for path, v := range map[string]url.Values{
		"/open": {"name": {"../../" + evil}}, "/h/2026-squash/same": {"photo": {evil, "x"}}, "/h/2026-squash/camera": {"card": {"77"}, "lens": {"../" + evil}},
		"/print/remove": {"card": {"../1"}, "lens": {"../../book"}}, "/book/" + url.PathEscape(evil) + "/note": {"name": {"x"}, "text": {"x"}},
	} {
		if s, b := c.post(path, v); s < 400 || s >= 500 || strings.Contains(b, "<script>alert") {
			t.Errorf("%s: status %d %.200s", path, s, b)
		}
	}
	for _, p := range []string{"/trial?h=" + url.QueryEscape(evil), "/lots?lot=" + url.QueryEscape(evil), "/h/2026-squash/where", "/h/2026-squash/same"} {
		if s, b := c.get(p); s >= 500 || strings.Contains(b, "<script>alert") {
			t.Errorf("%s: status %d", p, s)
		}
	}
}
