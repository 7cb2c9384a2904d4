package desk

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"offtype/pipeline"
	"offtype/pipeline/book"
	"offtype/pipeline/gather"
	"offtype/pipeline/record"
	"offtype/pipeline/report"
)

// commandHarvest measures a photo as offtype run --book does, and returns its folder.
func commandHarvest(t *testing.T, b *book.Book, scenes ...string) string {
	t.Helper()
	dir := t.TempDir()
	for i, s := range scenes {
		data, err := os.ReadFile(scenePath(t, s))
		if err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(dir, "photos", "table one", string(rune('a'+i))+" photo.jpg") // names that an upload could not have
		if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	o := pipeline.Options{Inputs: []string{filepath.Join(dir, "photos")}, Out: filepath.Join(dir, "out"), Program: "test", CardLength: 100, MaxPixels: 120_000_000, Workers: 1, Variety: "../../testdata/demo/variety.yaml"}
	res, err := pipeline.Run(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	full, err := res.Full()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.RecordRun(t.Context(), "autumn 2026", "L-1", *full); err != nil {
		t.Fatal(err)
	}
	if err := b.SetPlace(t.Context(), "autumn 2026", book.Place{Result: o.Out, Options: book.RunOptions{CardLength: 100, MaxPixels: 120_000_000}}); err != nil {
		t.Fatal(err)
	}
	return dir
}

// settled waits until nothing of the harvest is being measured or judged.
func settled(t *testing.T, h *harvest) {
	t.Helper()
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(100 * time.Millisecond) {
		h.mu.Lock()
		done := !h.settling() && !h.stale
		h.mu.Unlock()
		if done {
			return
		}
	}
	t.Fatal("not through in time")
}

// A harvest of the command opens where it lies, is corrected there, and is found again after its folder moved.
func TestOpenHarvestOfTheCommand(t *testing.T) {
	if testing.Short() {
		t.Skip("measures a photo")
	}
	d, base := startDesk(t)
	c := newClient(t, d, base)
	dir := commandHarvest(t, d.book, "demo-2026-table-1.jpg")
	if _, b := c.get("/table"); !strings.Contains(b, "Open its photos") {
		t.Error("the list does not offer to open it")
	}
	if s, b := c.post("/open", url.Values{"name": {"autumn 2026"}}); s != http.StatusSeeOther {
		t.Fatal(s, b)
	}
	h := d.harvest("autumn-2026")
	h.mu.Lock()
	n, judging, waits := len(h.result.Fruits), h.judging, h.busy()
	key := h.Photos[0].Key
	h.mu.Unlock()
	if n < 5 || judging || waits {
		t.Errorf("%d fruit, judging %v, measuring %v: opening must only read", n, judging, waits)
	}
	for path, want := range map[string]string{"/h/autumn-2026/photo/" + key: `id="f3"`, "/h/autumn-2026/groups": "Group 1", "/h/autumn-2026/verdict": "Hollin Tan", "/h/autumn-2026/photos": "a photo.jpg"} {
		if s, b := c.get(path); s != http.StatusOK || !strings.Contains(b, want) {
			t.Errorf("%s: %d, without %q", path, s, want)
		}
	}
	for _, path := range []string{"/h/autumn-2026/cut/" + key + "/1.jpg", "/h/autumn-2026/photo/" + key + "/preview.jpg"} {
		if s, b := c.get(path); s != http.StatusOK || !strings.HasPrefix(b, "\xff\xd8") {
			t.Errorf("%s: %d", path, s)
		}
	}
	printed(t, d, c)
	if s, b := c.post("/h/autumn-2026/photo/"+key+"/fix", url.Values{"op": {"plant"}, "fruit": {"1"}, "plant": {"77"}}); s != http.StatusOK || strings.Contains(b, "Nothing was changed") {
		t.Fatal(s, b)
	}
	settled(t, h)
	if b, err := os.ReadFile(filepath.Join(dir, "photos", "table one", "a photo.jpg.fix.json")); err != nil || !strings.Contains(string(b), "77") {
		t.Errorf("the correction is not beside the photo: %v", err)
	}
	if full, err := d.book.Harvest(t.Context(), "autumn 2026"); err != nil || full.Revision != 2 || full.PlantNamed("77") == nil {
		t.Errorf("measurement %d of the book, want 2 with plant 77 (%v)", full.Revision, err)
	}
	movedFolder(t, d, dir, key)
}

// printed compares the report on the page with the one that the same data give without the page, and takes the sheets away.
func printed(t *testing.T, d *Desk, c *client) {
	t.Helper()
	d.opt.Now = func() time.Time { return time.Date(2026, 11, 1, 8, 0, 0, 0, time.UTC) }
	doc := &report.Document{Paper: "a4", Language: "en", Made: d.opt.Now()}
	v, err := gather.Report(t.Context(), d.book, "autumn 2026", gather.Originals{}, doc)
	if err != nil {
		t.Fatal(err)
	}
	h := d.harvest("autumn-2026")
	if file := h.varietyFile(); file != "" {
		if v, err = pipeline.ReadVariety("description", file); err != nil {
			t.Fatal(err)
		}
	}
	var want bytes.Buffer
	if err := errors.Join(gather.Explain(doc, v), doc.Both(io.Discard, &want)); err != nil {
		t.Fatal(err)
	}
	if s, b := c.get("/h/autumn-2026/print/report"); s != http.StatusOK || b != want.String() || !strings.Contains(b, `id="likeness"`) {
		t.Errorf("report: %d, %d bytes, want %d", s, len(b), want.Len())
	}
	for _, name := range []string{"report.pdf", "bench.pdf", "wall.pdf"} {
		if s, b := c.get("/h/autumn-2026/print/" + name); s != http.StatusOK || !strings.HasPrefix(b, "%PDF") {
			t.Errorf("%s: %d", name, s)
		}
	}
	if s, _ := c.get("/h/autumn-2026/print/other.pdf"); s != http.StatusNotFound {
		t.Errorf("a sheet that does not exist: %d", s)
	}
}

// movedFolder moves everything while the page is not running, and points the page to it.
func movedFolder(t *testing.T, d *Desk, dir, key string) {
	t.Helper()
	path := d.book.Path()
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(filepath.Dir(dir), "moved here")
	if err := os.Rename(dir, to); err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(to)
	d, err := New(t.Context(), Options{Book: path, Program: "test", Workers: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	c := newClient(t, d, serveDesk(t, d))
	if s, _ := c.get("/h/autumn-2026/groups"); s != http.StatusSeeOther {
		t.Errorf("a lost result: status %d", s)
	}
	_, b := c.get("/h/autumn-2026/where")
	if !strings.Contains(b, "moved here") || !strings.Contains(b, filepath.Join(dir, "out")) {
		t.Fatalf("the page does not start near the old place:\n%s", b)
	}
	for _, name := range []string{"../..", "/etc", "no such", to} { // names are looked up in the list that is shown
		if _, b := c.post("/h/autumn-2026/where", url.Values{"do": {"go"}, "folder": {name}}); !strings.Contains(b, "no such folder here") {
			t.Errorf("folder %q was taken", name)
		}
	}
	if _, b := c.post("/h/autumn-2026/where", url.Values{"do": {"take"}}); !strings.Contains(b, "does not hold the results") {
		t.Error("a folder without the result was taken")
	}
	for _, name := range []string{"moved here", "out"} {
		_, b = c.post("/h/autumn-2026/where", url.Values{"do": {"go"}, "folder": {name}})
	}
	if !strings.Contains(b, "1 of the 1 photos lie here") {
		t.Errorf("the right folder is not recognised:\n%s", b)
	}
	if s, b := c.post("/h/autumn-2026/where", url.Values{"do": {"take"}}); s != http.StatusSeeOther {
		t.Fatal(s, b)
	}
	if _, b := c.get("/h/autumn-2026/photos"); !strings.Contains(b, "1 photo is not where it was") {
		t.Error("the missing photo is not said")
	}
	if _, b := c.get("/h/autumn-2026/photo/" + key + "?fruit=1"); !strings.Contains(b, "of plant 77") {
		t.Error("the corrected result is not back")
	}
	c.get("/h/autumn-2026/where?what=photos")
	if _, b := c.post("/h/autumn-2026/where", url.Values{"what": {"photos"}, "do": {"take"}}); !strings.Contains(b, "none of the missing photos") && !strings.Contains(b, "None of the missing photos") {
		t.Error("a folder without the photos was taken")
	}
	for _, name := range []string{"moved here", "photos"} {
		c.post("/h/autumn-2026/where", url.Values{"what": {"photos"}, "do": {"go"}, "folder": {name}})
	}
	if s, b := c.post("/h/autumn-2026/where", url.Values{"what": {"photos"}, "do": {"take"}}); s != http.StatusSeeOther {
		t.Fatal(s, b)
	}
	if s, b := c.post("/h/autumn-2026/photo/"+key+"/undo", url.Values{"fruit": {"1"}}); s != http.StatusOK || strings.Contains(b, "Nothing was changed") {
		t.Errorf("undo at the new place: %d", s)
	}
	settled(t, d.harvest("autumn-2026"))
}

// Two photos of one table: each fruit counts once, and both photos say so.
func TestPhotosOfOneTable(t *testing.T) {
	if testing.Short() {
		t.Skip("measures photos")
	}
	d, c := withHarvest(t)
	for _, s := range []string{"dev-7-views-a.jpg", "dev-7-views-b.jpg"} {
		data, err := os.ReadFile(scenePath(t, s))
		if err != nil {
			t.Fatal(err)
		}
		if s, b := c.upload("2026-squash", s, data); s != http.StatusCreated {
			t.Fatal(s, b)
		}
	}
	h := d.harvest("2026-squash")
	settled(t, h)
	h.mu.Lock()
	before := len(h.result.Fruits)
	form := url.Values{"photo": {h.Photos[0].Key, h.Photos[1].Key}}
	h.mu.Unlock()
	if s, _ := c.post("/h/2026-squash/same", url.Values{"photo": form["photo"][:1]}); s != http.StatusUnprocessableEntity {
		t.Errorf("one photo as a table: %d", s)
	}
	if s, b := c.post("/h/2026-squash/same", form); s != http.StatusSeeOther {
		t.Fatal(s, b)
	}
	settled(t, h)
	h.mu.Lock()
	after, seen := len(h.result.Fruits), len(h.seen)
	h.mu.Unlock()
	if after*2 != before || seen != after { // each of this scene's fruit is on both photos
		t.Errorf("%d fruit on two photos became %d (%d listed), want half", before, after, seen)
	}
	if _, b := c.get("/h/2026-squash/same"); strings.Count(b, `class="cut"`) != before || !strings.Contains(b, "Table 1") {
		t.Error("the view does not show every sighting")
	}
	if _, b := c.get("/h/2026-squash/photo/" + form["photo"][1] + "?fruit=1"); !strings.Contains(b, "Measured together with") {
		t.Error("the photo does not say that the fruit was seen twice")
	}
	c.post("/h/2026-squash/same", url.Values{"apart": {"Table 1"}})
	settled(t, h)
	h.mu.Lock()
	defer h.mu.Unlock()
	if len(h.result.Fruits) != before {
		t.Errorf("%d fruit after the table was taken apart, want %d", len(h.result.Fruits), before)
	}
}

// Without a scale no size in mm and no colour is shown: both mean nothing outside the photo.
func TestNoScaleShowsNoSizes(t *testing.T) {
	f := record.Fruit{Photo: "a.jpg", Number: 1, Unscaled: true, Length: record.Value{V: 160, U: 1}, Width: record.Value{V: 80, U: 1}, Ratio: record.Value{V: 2, U: .1}, Volume: record.Value{V: 500, U: 1}, Skin: &record.Lab{L: 60}}
	h := &harvest{}
	v := h.describe(&f)
	if text := fmt.Sprint(v.Size, v.Numbers, v.Swatches); strings.Contains(text, "mm") || strings.Contains(text, "cm") || len(v.Swatches) != 0 || !strings.Contains(v.Size, "2.00") {
		t.Errorf("shown without a scale: %s", text)
	}
	f.Unscaled = false
	if v := h.describe(&f); !strings.Contains(v.Size, "160 × 80 mm") || len(v.Swatches) != 1 {
		t.Errorf("with a scale: %+v", v)
	}
}

// A folder of descriptions that cannot be read is an error, not a search without end.
// A photo that fails for want of a scale is shown and asks for another one, also after a restart; one that cannot be read
// is not, whatever words its message has.
func TestFailedForWantOfAScale(t *testing.T) {
	d, c := withHarvest(t)
	c.upload("2026-squash", "a.jpg", plainJPEG(t, 1))
	h := d.harvest("2026-squash")
	settled(t, h)
	if v := h.photosData(); len(v.Photos) != 1 || v.Failed != 1 || !v.Photos[0].NoCard || !v.Photos[0].Preview {
		t.Errorf("without a card: %+v", v.Photos)
	}
	again, err := readHarvest(d, h.ID)
	if err != nil {
		t.Fatal(err)
	}
	again.mu.Lock()
	again.readBack()
	again.mu.Unlock()
	if v := again.photosData(); len(v.Photos) != 1 || v.Failed != 1 || !v.Photos[0].NoCard {
		t.Errorf("read back: %+v", v.Photos)
	}
	h.mu.Lock()
	l := h.live[h.Photos[0].Key]
	l.message, l.noScale = "it cannot be read (input/output error); check the disk or memory card and copy the photo again", false
	h.mu.Unlock()
	if v := h.photosData(); v.Photos[0].NoCard || v.Photos[0].Preview {
		t.Errorf("a photo that cannot be read: %+v", v.Photos)
	}
}

func TestTakeDescriptionWithoutFolder(t *testing.T) {
	d := openDesk(t, t.TempDir())
	if err := os.WriteFile(d.varietyDir(), nil, 0o600); err != nil { // a file where the folder should be
		t.Fatal(err)
	}
	result := t.TempDir()
	text, err := os.ReadFile("../../testdata/demo/variety.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(result, "variety.yaml"), text, 0o600); err != nil {
		t.Fatal(err)
	}
	if name, err := d.takeDescription(t.Context(), "autumn", result); err == nil {
		t.Errorf("taken as %q", name)
	}
}

// The same for the name of a new harvest's folder.
func TestFreeIDWithoutFolder(t *testing.T) {
	d := openDesk(t, t.TempDir())
	dir := filepath.Join(d.dir, "harvests")
	if err := os.Remove(dir); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(dir, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if id := d.freeID("Autumn 2026"); id != "autumn-2026" {
		t.Errorf("folder %q", id)
	}
}
