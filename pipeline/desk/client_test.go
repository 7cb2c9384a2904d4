package desk

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"strings"
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

// patience is how long anything is waited for. It tells a hang only: the race detector on a busy machine has needed two
// minutes for what takes two seconds.
const patience = 10 * time.Minute

func newClient(t testing.TB, d *Desk, base string) *client {
	jar, _ := cookiejar.New(nil)
	return &client{t: t, base: base, d: d, http: &http.Client{Jar: jar, Timeout: patience, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
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

// openDeskFiles reads what is saved of the harvest, as the next start would.
func openDeskFiles(t testing.TB, d *Desk) []savedPhoto {
	t.Helper()
	h, err := readHarvest(d, "2026-squash")
	if err != nil {
		t.Fatal(err)
	}
	return h.Photos
}
