package desk

import (
	"bytes"
	"io"
	"net/http"
	"net/url"
	"os"
	"strings"
	"sync"
	"testing"
)

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
