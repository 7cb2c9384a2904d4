package desk

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"mime/multipart"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// plainJPEG is a small picture without a card; n makes its bytes its own.
func plainJPEG(t testing.TB, n int) []byte {
	t.Helper()
	m := image.NewRGBA(image.Rect(0, 0, 64, 48))
	for i := range m.Pix {
		m.Pix[i] = byte(i * (n + 3) / 7)
	}
	m.Set(n%64, n/64, color.RGBA{byte(n), byte(n >> 8), 77, 255})
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	return append(b.Bytes(), fmt.Sprint("trailer ", n)...)
}

// multi makes a multipart body with one file.
func multi(t testing.TB, field, name string, data []byte) (kind string, body *bytes.Buffer) {
	t.Helper()
	body = &bytes.Buffer{}
	w := multipart.NewWriter(body)
	p, err := w.CreateFormFile(field, name)
	if err != nil {
		t.Fatal(err)
	}
	p.Write(data)
	w.Close()
	return w.FormDataContentType(), body
}

type client struct {
	t    testing.TB
	base string
	d    *Desk
	http *http.Client
}

func newClient(t testing.TB, d *Desk, base string) *client {
	jar, _ := cookiejar.New(nil)
	return &client{t: t, base: base, d: d, http: &http.Client{Jar: jar, Timeout: 60 * time.Second, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
}

func (c *client) send(method, path, kind string, body io.Reader, header map[string]string) (int, string) {
	c.t.Helper()
	r, err := http.NewRequest(method, c.base+path, body)
	if err != nil {
		c.t.Fatal(err)
	}
	if kind != "" {
		r.Header.Set("Content-Type", kind)
	}
	for k, v := range header {
		if k == "Host" {
			r.Host = v
			continue
		}
		r.Header.Set(k, v)
	}
	res, err := c.http.Do(r)
	if err != nil {
		return 0, err.Error()
	}
	defer res.Body.Close()
	b, _ := io.ReadAll(res.Body)
	return res.StatusCode, string(b)
}

func (c *client) get(path string) (int, string) {
	c.t.Helper()
	return c.send("GET", path, "", nil, nil)
}

func (c *client) post(path string, v url.Values) (int, string) {
	c.t.Helper()
	v.Set("token", c.d.token)
	return c.send("POST", path, "application/x-www-form-urlencoded", strings.NewReader(v.Encode()), nil)
}

func (c *client) upload(id, name string, data []byte) (int, string) {
	c.t.Helper()
	kind, body := multi(c.t, "photo", name, data)
	return c.send("POST", "/h/"+id+"/photos", kind, body, map[string]string{"X-Desk-Token": c.d.token})
}

func withHarvest(t testing.TB) (*Desk, *client) {
	d, base := startDesk(t)
	c := newClient(t, d, base)
	if s, b := c.post("/table", url.Values{"name": {"2026 squash"}}); s != http.StatusSeeOther {
		t.Fatalf("making a harvest: %d %s", s, b)
	}
	return d, c
}

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

func TestBrokenUploads(t *testing.T) {
	_, c := withHarvest(t)
	tok := map[string]string{"X-Desk-Token": c.d.token}
	good := plainJPEG(t, 5)
	kind, body := multi(t, "photo", "a.jpg", good)
	whole := body.Bytes()
	_, wrongField := multi(t, "file", "a.jpg", good)
	for _, x := range []struct {
		name, kind string
		body       []byte
		want       int
	}{
		{"not multipart", "text/plain", good, http.StatusUnsupportedMediaType},
		{"no boundary", "multipart/form-data", whole, http.StatusUnsupportedMediaType},
		{"wrong boundary", "multipart/form-data; boundary=xyz", whole, http.StatusBadRequest},
		{"empty", kind, nil, http.StatusBadRequest},
		{"cut off", kind, whole[:len(whole)/2], http.StatusBadRequest},
		{"cut off in the head", kind, whole[:20], http.StatusBadRequest},
		{"wrong field", kind, wrongField.Bytes(), http.StatusBadRequest},
		{"garbage", kind, bytes.Repeat([]byte{0xff, '\n'}, 5000), http.StatusBadRequest},
	} {
		if got, b := c.send("POST", "/h/2026-squash/photos", x.kind, bytes.NewReader(x.body), tok); got != x.want {
			t.Errorf("%s: status %d, want %d: %s", x.name, got, x.want, b)
		}
	}
	for name, data := range map[string][]byte{"a page": []byte("<html><script>"), "nothing": {}, "a program": []byte("\x7fELF\x02\x01")} {
		if got, b := c.upload("2026-squash", "a.jpg", data); got != http.StatusUnsupportedMediaType || !strings.Contains(b, "JPEG") {
			t.Errorf("%s as a photo: %d %s", name, got, b)
		}
	}
	if got, _ := c.upload("2026-squash", "a.jpg", good); got != http.StatusCreated {
		t.Errorf("the whole photo: %d", got)
	}
	if got, b := c.upload("2026-squash", "b.jpg", good); got != http.StatusConflict || !strings.Contains(b, "here already") {
		t.Errorf("the same photo again: %d %s", got, b)
	}
	h := c.d.harvest("2026-squash")
	es, _ := os.ReadDir(h.photoDir())
	for _, e := range es {
		if strings.HasPrefix(e.Name(), ".upload") {
			t.Errorf("%s was left behind", e.Name())
		}
	}
}

// endless is a body that would be 2 GB long.
type endless struct{ n, sent int64 }

func (e *endless) Read(p []byte) (int, error) {
	if e.sent >= e.n {
		return 0, io.EOF
	}
	e.sent += int64(len(p))
	return len(p), nil
}

func TestHugeUploadIsCutShort(t *testing.T) {
	d, c := withHarvest(t)
	head := "--b\r\nContent-Disposition: form-data; name=\"photo\"; filename=\"a.jpg\"\r\n\r\n\xff\xd8\xff"
	e := &endless{n: 2 << 30}
	r, _ := http.NewRequest("POST", c.base+"/h/2026-squash/photos", io.MultiReader(strings.NewReader(head), e)) // chunked: no length said
	r.Header.Set("Content-Type", "multipart/form-data; boundary=b")
	r.Header.Set("X-Desk-Token", d.token)
	res, err := c.http.Do(r)
	if err == nil {
		res.Body.Close()
		if res.StatusCode != http.StatusRequestEntityTooLarge {
			t.Errorf("2 GB: status %d", res.StatusCode)
		}
	}
	if e.sent > maxPhoto+(64<<20) {
		t.Errorf("%d MB were taken before it was refused", e.sent>>20)
	}
	h := d.harvest("2026-squash")
	if es, _ := os.ReadDir(h.photoDir()); len(es) != 0 {
		t.Errorf("%d files were left behind", len(es))
	}
	form := strings.NewReader("token=" + d.token + "&name=" + strings.Repeat("x", 3<<20))
	if s, _ := c.send("POST", "/table", "application/x-www-form-urlencoded", form, nil); s < 400 {
		t.Errorf("a form of 3 MB: status %d", s)
	}
}

func TestParallelUploads(t *testing.T) {
	d, c := withHarvest(t)
	const n = 200
	var wg sync.WaitGroup
	var mu sync.Mutex
	got := map[int]int{}
	for i := range n {
		data := plainJPEG(t, i)
		wg.Add(1)
		go func() {
			defer wg.Done()
			s, _ := c.upload("2026-squash", "same name.jpg", data)
			mu.Lock()
			got[s]++
			mu.Unlock()
		}()
	}
	wg.Wait()
	if got[http.StatusCreated] != n {
		t.Errorf("statuses %v, want %d times 201", got, n)
	}
	again := openDeskFiles(t, d)
	if len(again) != n {
		t.Errorf("%d photos in the saved list, want %d", len(again), n)
	}
	h := d.harvest("2026-squash")
	for _, p := range again {
		if _, err := os.Stat(h.path(&p)); err != nil {
			t.Error(err)
		}
	}
}

// openDeskFiles reads what is saved of the harvest, as the next start would.
func openDeskFiles(t testing.TB, d *Desk) []savedPhoto {
	t.Helper()
	h, err := readHarvest(d, "2026-squash")
	if err != nil {
		t.Fatal(err)
	}
	return h.Photos
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
	} {
		if got := safeName(in); got != want {
			t.Errorf("safeName(%q) = %q, want %q", in, got, want)
		}
		if got := safeName(safeName(in)); got != safeName(in) {
			t.Errorf("safeName(%q) is not stable: %q", in, got)
		}
	}
}

// Photos come and go while the harvest is being judged: every view stays whole.
func TestListWhileJudging(t *testing.T) {
	d, c := withHarvest(t)
	h := d.harvest("2026-squash")
	stop := make(chan struct{})
	var wg sync.WaitGroup
	wg.Add(1)
	go func() {
		defer wg.Done()
		for {
			select {
			case <-stop:
				return
			default:
				h.mu.Lock()
				h.parts()
				h.judgeOptions()
				h.mu.Unlock()
				h.photosData()
			}
		}
	}()
	for i := range 40 {
		if s, b := c.upload("2026-squash", "p.jpg", plainJPEG(t, i)); s != http.StatusCreated {
			t.Fatal(s, b)
		}
		if i%2 == 1 {
			h.mu.Lock()
			key := h.Photos[0].Key
			h.mu.Unlock()
			if s, b := c.post("/h/2026-squash/photo/"+key+"/remove", url.Values{}); s != http.StatusSeeOther {
				t.Fatal(s, b)
			}
		}
	}
	close(stop)
	wg.Wait()
	if n := len(openDeskFiles(t, d)); n != 20 {
		t.Errorf("%d photos left, want 20", n)
	}
}
