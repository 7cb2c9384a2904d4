package desk

import (
	"bytes"
	"html"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"offtype/measure/geom"
	"offtype/pipeline"
	"offtype/pipeline/record"
	"offtype/pipeline/segment"
)

var hiddenField = regexp.MustCompile(`<input type="hidden" name="(w-[a-z0-9-]+)" value="([^"]*)"`)

// shown reads what the form with the action shows, as a browser would send it back.
func (c *client) shown(page, action string) url.Values {
	c.t.Helper()
	_, b := c.get(page)
	_, form, ok := strings.Cut(b, `action="`+action+`"`)
	if !ok {
		c.t.Fatalf("no form %s in %.2000s", action, b)
	}
	form, _, _ = strings.Cut(form, "</form>")
	v := url.Values{}
	for _, m := range hiddenField.FindAllStringSubmatch(form, -1) {
		v.Set(m[1], html.UnescapeString(m[2]))
		v.Set(strings.TrimPrefix(m[1], "w-"), html.UnescapeString(m[2]))
	}
	return v
}

// Two tabs with card and camera: only what was changed is written.
func TestCameraOfTwoTabs(t *testing.T) {
	d, c := withHarvest(t)
	h := d.harvest("2026-squash")
	for _, n := range []int{1, 3} {
		if err := keepFile(d.colourFile(n), []byte("x")); err != nil {
			t.Fatal(err)
		}
	}
	if err := keepFile(filepath.Join(d.lensDir(), "phone.json"), []byte("{}")); err != nil {
		t.Fatal(err)
	}
	const page, action = "/h/2026-squash/photos", "/h/2026-squash/camera"
	one, two, three := c.shown(page, action), c.shown(page, action), c.shown(page, action)
	if len(one) != 8 {
		t.Fatalf("the form shows %v", one)
	}
	one.Set("card-3", "1")
	one.Set("lens", "phone")
	two.Set("ruler", "98,5")
	two.Set("card-1", "1")
	for _, v := range []url.Values{one, two} {
		if s, b := c.post(action, v); s != http.StatusSeeOther {
			t.Fatalf("%d %.500s", s, b)
		}
	}
	if h.Ruler != 98.5 || h.Lens != "phone" || len(h.Colours) != 2 {
		t.Errorf("after two tabs: %v, %q, %v", h.Ruler, h.Lens, h.Colours)
	}
	three.Set("ruler", "97")
	three.Set("card-1", "1")
	if s, b := c.post(action, three); s != http.StatusConflict || !strings.Contains(b, "98.5") || !strings.Contains(b, `name="ruler" inputmode="decimal" value="97"`) || h.Ruler != 98.5 {
		t.Errorf("two answers to one question: %d %.500s", s, b)
	}
	now := c.shown(page, action)
	now.Del("card-3")
	if s, _ := c.post(action, now); s != http.StatusSeeOther || len(h.Colours) != 1 || h.Colours[0] != 1 {
		t.Errorf("a tick that was taken away: %d %v", s, h.Colours)
	}
}

// Two tabs with one photo: the plant of one and the scale of the other both stand.
func TestPhotoFormOfTwoTabs(t *testing.T) {
	d, c := withHarvest(t)
	c.upload("2026-squash", "a.jpg", plainJPEG(t, 1))
	h := d.harvest("2026-squash")
	settled(t, h)
	h.mu.Lock()
	action := "/h/2026-squash/photo/" + h.Photos[0].Key + "/scale"
	h.mu.Unlock()
	form := func() url.Values {
		v := c.shown("/h/2026-squash/photos", action)
		for from, scale := range map[string]string{"the scale card": "card", "a coin": "coin", "the line": "line"} {
			if strings.HasPrefix(v.Get("w-scale"), from) {
				v.Set("scale", scale)
			}
		}
		return v
	}
	photo := func() savedPhoto {
		settled(t, h)
		h.mu.Lock()
		defer h.mu.Unlock()
		return h.Photos[0]
	}
	one, two, three := form(), form(), form()
	one.Set("plant", "5")
	two.Set("scale", "coin")
	two.Set("coin", "23,25")
	for _, v := range []url.Values{one, two} {
		if s, b := c.post(action, v); s != http.StatusSeeOther {
			t.Fatalf("%d %.500s", s, b)
		}
	}
	if p := photo(); p.Plant != "5" || p.Coin != 23.25 {
		t.Errorf("after two tabs: %+v", p)
	}
	three.Set("plant", "7")
	if s, b := c.post(action, three); s != http.StatusConflict || !strings.Contains(b, "Plant: &#34;5&#34; was written meanwhile") {
		t.Errorf("two answers to one question: %d %.500s", s, b)
	}
	line := form()
	line.Set("scale", "line")
	if s, b := c.post(action, line); s != http.StatusUnprocessableEntity || !strings.Contains(b, "Draw the line on the photo") {
		t.Errorf("no line: %d %.500s", s, b)
	}
	line.Set("points", "0.1,0.1 0.9,0.1")
	line.Set("mm", "200")
	line.Set("plant", "0")
	if s, b := c.post(action, line); s != http.StatusSeeOther {
		t.Fatalf("%d %.500s", s, b)
	}
	p := photo()
	if !strings.HasSuffix(p.Line, "=200") || p.Plant != "" || p.Coin != 0 {
		t.Errorf("a line, and no plant: %+v", p)
	}
	again := form() // its length was misread
	again.Set("line", p.Line)
	again.Set("mm", "300")
	if s, b := c.post(action, again); s != http.StatusSeeOther {
		t.Fatalf("%d %.500s", s, b)
	}
	if q := photo(); q.Line != strings.TrimSuffix(p.Line, "200")+"300" {
		t.Errorf("the line is %q, was %q", q.Line, p.Line)
	}
}

// While photos are measured, or were all refused, the report does not ask for photos, and shows no old report.
func TestReportWhileMeasuring(t *testing.T) {
	d, base := startDesk(t)
	c := newClient(t, d, base)
	h := judgedHarvest(t, d, record.OffType)
	path := "/h/" + h.ID + "/report"
	if err := keepFile(filepath.Join(h.resultDir(), "report.html"), []byte("old")); err != nil {
		t.Fatal(err)
	}
	if _, b := c.get(path); !strings.Contains(b, "Open the report") {
		t.Errorf("no report: %s", b)
	}
	h.mu.Lock()
	h.live["k1"].state = measuring
	h.mu.Unlock()
	if _, b := c.get(path); strings.Contains(b, "Open the report") || strings.Contains(b, "Bring photos") || !strings.Contains(b, "once all photos are measured") {
		t.Errorf("while measuring: %s", b)
	}
	os.Remove(filepath.Join(h.resultDir(), "report.html"))
	h.mu.Lock()
	h.live["k1"].state = failed
	h.mu.Unlock()
	if _, b := c.get(path); strings.Contains(b, "Bring photos") || !strings.Contains(b, "no fruit was measured") {
		t.Errorf("no photo could be measured: %s", b)
	}
}

func square(x, y, side float64) []geom.Px {
	return []geom.Px{{X: x, Y: y}, {X: x + side, Y: y}, {X: x + side, Y: y + side}, {X: x, Y: y + side}}
}

// A drawn outline that would count a fruit twice is refused, and so is one that encloses nothing.
func TestDrawnOverAFruit(t *testing.T) {
	part := &pipeline.Part{Fruits: []record.Fruit{{Number: 1, X: 50, Y: 50, Outline: square(0, 0, 100)}, {Number: 2, X: 350, Y: 50, Outline: square(300, 0, 100)}}}
	for _, x := range []struct {
		name, op, want string
		n              int
		at             []geom.Px
	}{
		{"beside", "add", "", 0, square(120, 0, 100)},
		{"touching a little", "add", "", 0, square(90, 0, 100)},
		{"over fruit 1", "add", "fruit 1 lies there already", 0, square(-20, -20, 140)},
		{"inside fruit 2", "add", "fruit 2 lies there already", 0, square(320, 20, 40)},
		{"fruit 1 again", "redraw", "", 1, square(5, 5, 90)},
		{"fruit 1 drawn on fruit 2", "redraw", "over fruit 2", 1, square(305, 5, 90)},
		{"a dot", "add", "encloses no fruit", 0, square(200, 0, 5)},
		{"crossed", "add", "encloses no fruit", 0, []geom.Px{{X: 150, Y: 0}, {X: 250, Y: 80}, {X: 250, Y: 0}, {X: 150, Y: 80}}},
		{"two points", "add", "at least three points", 0, []geom.Px{{X: 150, Y: 0}, {X: 250, Y: 80}}},
	} {
		var pts []segment.Point
		for _, p := range x.at {
			pts = append(pts, segment.Point{p.X, p.Y})
		}
		err := drawnWell(part, x.op, x.n, pts)
		if x.want == "" && err != nil || x.want != "" && (err == nil || !strings.Contains(err.Error(), x.want)) {
			t.Errorf("%s: %v, want %q", x.name, err, x.want)
		}
	}
}

// A correction that did not arrive is not called saved, and what was drawn is still there.
func TestNotSavedIsSaid(t *testing.T) {
	d, base := startDesk(t)
	h := judgedHarvest(t, d, record.OffType)
	h.mu.Lock()
	h.live["k1"].part = &pipeline.Part{Photo: record.Photo{Width: 1000, Height: 700}, Fruits: []record.Fruit{{Photo: "a.jpg", Number: 1, X: 50, Y: 50, Outline: square(0, 0, 100)}}}
	h.mu.Unlock()
	u := newUser(t, base)
	u.open("/h/" + h.ID + "/photo/k1")
	u.do("an old token", chromedp.Evaluate[chromedp.Void](`document.addEventListener("htmx:configRequest",e=>{e.detail.headers["X-Desk-Token"]="old"})`), chromedp.Click("[data-tool=add]"))
	for _, p := range []string{"400,300", "600,300", "500,500"} {
		var x, y float64
		if _, err := sscan(u.text(`(()=>{const s=new DOMPoint(`+p+`).matrixTransform(document.getElementById("photo").getScreenCTM());return s.x+" "+s.y})()`), &x, &y); err != nil {
			t.Fatal(err)
		}
		u.do("point", chromedp.MouseClickXY(x, y))
	}
	u.do("done", chromedp.Click("[data-draw=done]"))
	u.until(`document.getElementById("hint").textContent.startsWith("Not saved.")`)
	if s := u.text(`document.getElementById("live").textContent + document.querySelectorAll("#drawing circle").length + document.getElementById("alert").textContent`); !strings.HasPrefix(s, "3This page is out of date") {
		t.Errorf("the page says %q", s)
	}
}

// What went wrong stays to be read while the list of photos loads itself anew.
func TestProblemOutlastsTheList(t *testing.T) {
	d, base := startDesk(t)
	h := judgedHarvest(t, d, record.OffType)
	h.mu.Lock()
	h.live["k1"].state = waiting
	h.mu.Unlock()
	u := newUser(t, base)
	u.open("/h/" + h.ID + "/photos")
	u.do("a coin that is none", chromedp.Evaluate[chromedp.Void](`(()=>{window.n=0;document.addEventListener("htmx:afterRequest",e=>{if(/list$/.test(e.detail.pathInfo.requestPath))n++});
		const f=document.querySelector("form.scaleform");f.elements.scale.value="coin";f.elements.coin.value="abc";f.requestSubmit()})()`))
	u.until(`document.getElementById("alert").textContent.startsWith("Give the coin")`)
	u.do("two more lists", chromedp.Evaluate[chromedp.Void](`n=0`))
	u.until(`n>1`)
	if s := u.text(`document.getElementById("alert").textContent`); !strings.HasPrefix(s, "Give the coin") {
		t.Errorf("the page says %q", s)
	}
}

// A page that was loaded before the program was started again says so as a page, and holds no token.
func TestOutOfDatePage(t *testing.T) {
	d, c := withHarvest(t)
	s, b := c.send("POST", "/h/2026-squash/settings", "application/x-www-form-urlencoded", strings.NewReader("token=old&lot=L-1"), nil)
	if s != http.StatusForbidden || !strings.Contains(b, "<h1>") || !strings.Contains(b, "Nothing was saved") || strings.Contains(b, d.token) {
		t.Errorf("%d %s", s, b)
	}
	s, b = c.send("POST", "/h/2026-squash/settings", "application/x-www-form-urlencoded", strings.NewReader("lot=L-1"), map[string]string{"X-Desk-Token": "old"})
	if s != http.StatusForbidden || strings.Contains(b, "<") {
		t.Errorf("to a script: %d %s", s, b)
	}
}

// A full disk is said as such, and a photo that could not be taken out stays where it is.
func TestFullDisk(t *testing.T) {
	full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	if err != nil {
		t.Skip("no /dev/full here")
	}
	defer full.Close()
	if _, _, s, err := receive(full, strings.NewReader(string(plainJPEG(t, 1)))); s != http.StatusInsufficientStorage || !strings.Contains(err.Error(), "full") {
		t.Errorf("an upload: %d %v", s, err)
	}
	if got := sentence(`not saved: write "/x/.part-1": no space left on device`); strings.Contains(got, "/") || !strings.Contains(got, "disk of this computer is full") {
		t.Errorf("said: %s", got)
	}
	d, c := withHarvest(t)
	c.upload("2026-squash", "a.jpg", plainJPEG(t, 2))
	h := d.harvest("2026-squash")
	settled(t, h)
	list := filepath.Join(h.folder(), "harvest.json")
	os.Remove(list)
	if err := os.MkdirAll(filepath.Join(list, "in the way"), 0o700); err != nil {
		t.Fatal(err)
	}
	h.mu.Lock()
	key := h.Photos[0].Key
	h.mu.Unlock()
	if s, b := c.post("/h/2026-squash/photo/"+key+"/remove", url.Values{}); s != http.StatusUnprocessableEntity {
		t.Errorf("%d %s", s, b)
	}
	if _, err := os.Stat(filepath.Join(h.photoDir(), "a.jpg")); err != nil {
		t.Errorf("the photo stands in the list, but is gone: %v", err)
	}
}

// Pictures of a packet: each once, none that cannot be read, none of what is not written down, and nothing left over.
func TestPicturesOfAPacket(t *testing.T) {
	d, c := withHarvest(t)
	if err := d.book.Set(t.Context(), "lot", "L-1", map[string]string{"supplier": "Example Seeds"}); err != nil {
		t.Fatal(err)
	}
	send := func(name string, data []byte) (int, string) {
		t.Helper()
		body := &bytes.Buffer{}
		w := multipart.NewWriter(body)
		for _, f := range [][2]string{{"name", name}, {"kind", "packet front"}, {"note", ""}} {
			w.WriteField(f[0], f[1])
		}
		p, err := w.CreateFormFile("file", "päck et.JPG")
		if err != nil {
			t.Fatal(err)
		}
		p.Write(data)
		w.Close()
		return c.send("POST", "/book/lot/picture", w.FormDataContentType(), body, map[string]string{"X-Desk-Token": d.token, "HX-Request": "true"})
	}
	for _, x := range []struct {
		name string
		data []byte
		code int
		want string
	}{
		{"L-1", plainJPEG(t, 1), http.StatusCreated, ""},
		{"L-1", plainJPEG(t, 1), http.StatusConflict, "here already"},
		{"L-1", plainJPEG(t, 2)[:600], http.StatusUnprocessableEntity, "cannot be read"},
		{"L-9", plainJPEG(t, 3), http.StatusUnprocessableEntity, "not written down yet"},
	} {
		if s, b := send(x.name, x.data); s != x.code || !strings.Contains(b, x.want) || strings.Contains(b, d.dir) || strings.Contains(b, "offtype ") {
			t.Errorf("%s, %d bytes: %d %s", x.name, len(x.data), s, b)
		}
	}
	if files, _ := filepath.Glob(filepath.Join(d.dir, "pictures", "*")); len(files) != 1 {
		t.Errorf("pictures on disk: %q", files)
	}
}

// Views of a harvest without photos ask for photos, and the address of a refused form leads back to it.
func TestEmptyHarvest(t *testing.T) {
	_, c := withHarvest(t)
	for _, v := range []string{"groups", "unsure", "verdict", "observe", "report"} {
		if _, b := c.get("/h/2026-squash/" + v); !strings.Contains(b, "Bring photos") || strings.Contains(b, "No fruit is unsure") {
			t.Errorf("%s: %.3000s", v, b)
		}
	}
	for _, v := range []string{"", "/settings", "/camera", "/rename"} {
		if s, _ := c.get("/h/2026-squash" + v); s != http.StatusSeeOther {
			t.Errorf("%s, loaded anew: %d", v, s)
		}
	}
}
