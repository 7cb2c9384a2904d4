package desk

import (
	"fmt"
	"html"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"offtype/cluster/reference"
	"offtype/pipeline/book"
	"offtype/pipeline/record"
)

func TestSentence(t *testing.T) {
	for in, want := range map[string]string{
		"": "", "no card": "No card.", "Done.": "Done.", "übung.jpg: cut off": "Übung.jpg: cut off.", "→ see above": "→ see above.", " ± 3 ": "± 3.",
	} {
		if got := sentence(in); got != want {
			t.Errorf("sentence(%q) = %q, want %q", in, got, want)
		}
	}
}

// Go reads NaN and Inf as numbers; a length or a place on a photo is neither.
func TestNumbersAreFinite(t *testing.T) {
	for _, s := range []string{"NaN", "nan", "Inf", "-inf", "1e999", "", "x"} {
		if v, err := number(s); err == nil {
			t.Errorf("number(%q) = %v", s, v)
		}
		if p, err := points("1,2 " + s + ",5"); err == nil {
			t.Errorf("points with %q: %v", s, p)
		}
		if err := scaleFrom(&savedPhoto{}, url.Values{"scale": {"coin"}, "coin": {s}}); err == nil {
			t.Errorf("a coin of %q mm was taken", s)
		}
	}
	if v, err := number(" 23,25 "); err != nil || v != 23.25 {
		t.Errorf("number(\"23,25\") = %v, %v", v, err)
	}
}

// What is said on the page can be done on the page: no option of a command, no renaming.
func TestPageSaysWhatItCanDo(t *testing.T) {
	d, c := withHarvest(t)
	f := record.Fruit{Photo: "a.jpg", Number: 1, Volume: record.Value{V: 1000, U: 20}}
	run := record.Run{Fruits: []record.Fruit{f}, Photos: []record.Photo{{Name: "a.jpg", Status: record.StatusOK, Width: 10, Height: 10, SHA256: strings.Repeat("a", 64)}}}
	if _, err := d.book.RecordRun(t.Context(), "autumn 2026", "", run); err != nil {
		t.Fatal(err)
	}
	rec, err := d.book.RecordRun(t.Context(), "2026 squash", "L-9", run)
	if err != nil {
		t.Fatal(err)
	}
	v := url.Values{"token": {d.token}, "row": {"a.jpg/1"}, "trait": {"weight"}, "value": {"12000"}}
	_, slip := c.send("POST", "/h/2026-squash/observe", "application/x-www-form-urlencoded", strings.NewReader(v.Encode()), map[string]string{"HX-Request": "true"})
	if !strings.Contains(slip, "slip") || !strings.Contains(slip, "it is right, keep it") {
		t.Errorf("12 kg of a litre: %s", slip)
	}
	if strings.Contains(slip, "in harvest") || !strings.Contains(slip, ">Looks like a slip: 12000 g does not fit") {
		t.Errorf("the field says more than what is wrong with it: %s", slip)
	}
	v.Set("row", "plant 4")
	v.Set("value", "712 kg")
	if _, slip := c.send("POST", "/h/2026-squash/observe", "application/x-www-form-urlencoded", strings.NewReader(v.Encode()), map[string]string{"HX-Request": "true"}); !strings.Contains(slip, "usual weight for all fruit of a plant") || !strings.Contains(slip, "it is right, keep it") {
		t.Errorf("712 kg of a plant: %s", slip)
	}
	words := bookWords(&rec)
	if len(words) != 2 || !strings.Contains(words[0], "Before sowing") || !strings.HasPrefix(words[1], `1 photo stands in the harvest "autumn 2026" too.`) || !strings.Contains(words[1], `open "autumn 2026" under Harvest table`) {
		t.Errorf("said: %q", words)
	}
	for _, s := range append(words, slip) {
		if strings.Contains(s, "--") || strings.Contains(s, "offtype ") || strings.Contains(s, "that name") {
			t.Errorf("the page cannot do this: %s", s)
		}
	}
}

// The page says which words of a packet were taken and which were not, and the description keeps it.
func TestPacketWordsAreHeard(t *testing.T) {
	d, c := withHarvest(t)
	s, b := c.post("/varieties/words", url.Values{"name": {"X"}, "species": {"Cucurbita moschata"}, "words": {"about 8 inches, buff skin, 3 lb"}})
	if s != http.StatusOK || !strings.Contains(b, "Taken: colour buff. Not understood: about 8 inches, 3 lb.") {
		t.Errorf("%d %s", s, b)
	}
	v := url.Values{"name": {"X"}, "species": {"Cucurbita moschata"}, "version": {"1"}, "hasskin": {"1"}, "skin": {"#d0a878"}}
	for _, m := range regexp.MustCompile(`name="note" value="([^"]*)"`).FindAllStringSubmatch(b, -1) {
		v.Add("note", html.UnescapeString(m[1]))
	}
	if s, b := c.post("/varieties/edit", v); s != http.StatusSeeOther {
		t.Fatalf("%d %s", s, b)
	}
	x, err := d.readVariety("x")
	if err != nil || len(x.Notes) != 2 || !strings.HasSuffix(x.Notes[1], "Not understood: about 8 inches, 3 lb.") {
		t.Fatalf("the description keeps %+v, %v", x, err)
	}
	v.Set("file", "x") // changed later: its notes stay
	v.Set("version", "2")
	v.Del("note")
	c.post("/varieties/edit", v)
	if x, err := d.readVariety("x"); err != nil || x.Version != "2" || len(x.Notes) != 2 {
		t.Errorf("after a change: %+v, %v", x, err)
	}
}

// The stage chosen on the page stands in the book, and "not said" as nothing.
func TestStageInBook(t *testing.T) {
	d, c := withHarvest(t)
	h := d.harvest("2026-squash")
	run := record.Run{Fruits: []record.Fruit{{Photo: "a.jpg", Number: 1}}, Photos: []record.Photo{{Name: "a.jpg", Status: record.StatusOK, Width: 10, Height: 10, SHA256: strings.Repeat("a", 64)}}}
	if _, err := d.book.RecordRun(t.Context(), "2026 squash", "", run); err != nil {
		t.Fatal(err)
	}
	inBook := func(want string) {
		t.Helper()
		if b, err := d.book.Harvest(t.Context(), "2026 squash"); err != nil || b.Stage != want {
			t.Errorf("the book says %q, want %q (%v)", b.Stage, want, err)
		}
	}
	for _, stage := range []string{"", "cured", "", "stored"} {
		if s, b := c.post("/h/2026-squash/settings", url.Values{"stage": {stage}}); s != http.StatusSeeOther {
			t.Fatalf("%q: %d %s", stage, s, b)
		}
		h.tellStage() // as after each judging
		inBook(stage)
	}
	if err := d.book.Set(t.Context(), "harvest", "2026 squash", map[string]string{"stage": "young"}); err != nil {
		t.Fatal(err)
	}
	h.tellStage()
	inBook("young") // written elsewhere since: it stays
}

// A description whose colour tolerance alone was changed is another version too: a verdict names the one it used.
func TestToleranceNeedsANewVersion(t *testing.T) {
	d, c := withHarvest(t)
	v := url.Values{"name": {"Hollin Tan"}, "species": {"Cucurbita moschata"}, "version": {"1"}, "hasskin": {"1"}, "skin": {"#c89060"}, "tolerance": {"8"}}
	if s, b := c.post("/varieties/edit", v); s != http.StatusSeeOther {
		t.Fatalf("%d %s", s, b)
	}
	was, err := d.readVariety("hollin-tan")
	if err != nil {
		t.Fatal(err)
	}
	v.Set("file", "hollin-tan")
	v.Set("skin", record.Lab{L: was.Skin.Lab[0], A: was.Skin.Lab[1], B: was.Skin.Lab[2]}.Hex())
	v.Set("tolerance", "3")
	if s, b := c.post("/varieties/edit", v); s != http.StatusUnprocessableEntity || !strings.Contains(b, "new version") {
		t.Errorf("another tolerance under the old version: %d", s)
	}
	v.Set("version", "2")
	if s, _ := c.post("/varieties/edit", v); s != http.StatusSeeOther {
		t.Errorf("another tolerance under a new version: %d", s)
	}
	if x, err := d.readVariety("hollin-tan"); err != nil || *x.Skin.Tolerance != 3 || x.Version != "2" {
		t.Errorf("%+v, %v", x, err)
	}
	before := reference.Colour{Lab: []float64{60, 10, 30}}
	x := reference.Description{Skin: &before}
	if err := formColour(&x, url.Values{"hasskin": {"1"}, "skin": {record.Lab{L: 60, A: 10, B: 30}.Hex()}, "tolerance": {"5"}}); err != nil || before.Tolerance != nil {
		t.Errorf("%v; the description that was there has now the tolerance %v", err, before.Tolerance)
	}
}

// Phones call every photo that they take for a page image.jpg: what was said of one that was taken away does not
// hold for the next.
func TestSparedFruitGoesWithItsPhoto(t *testing.T) {
	d, c := withHarvest(t)
	c.upload("2026-squash", "image.jpg", plainJPEG(t, 1))
	c.upload("2026-squash", "image.jpg", plainJPEG(t, 2))
	h := d.harvest("2026-squash")
	settled(t, h)
	if err := h.change(func(s *saved) error {
		s.Spared = []string{"image.jpg:3", "image-2.jpg:3", "image.jpg:12"}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	h.mu.Lock()
	key := h.Photos[slices.IndexFunc(h.Photos, func(p savedPhoto) bool { return p.File == "image.jpg" })].Key
	h.mu.Unlock()
	if s, b := c.post("/h/2026-squash/photo/"+key+"/remove", url.Values{}); s != http.StatusSeeOther {
		t.Fatalf("%d %s", s, b)
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if !slices.Equal(h.Spared, []string{"image-2.jpg:3"}) {
		t.Errorf("left to be spared: %q", h.Spared)
	}
}

// The photos that were looked for are back in their place.
func TestNoPhotoIsMissingAnyMore(t *testing.T) {
	d, _ := withHarvest(t)
	if err := d.harvest("2026-squash").photosAt(t.TempDir()); err != nil {
		t.Error(err)
	}
}

// A harvest whose folder is damaged is said, not passed over.
func TestDamagedHarvestIsSaid(t *testing.T) {
	dir := t.TempDir()
	bad := filepath.Join(dir, "book.desk", "harvests", "2024-peppers")
	if err := os.MkdirAll(bad, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(bad, "harvest.json"), []byte(`{"Name": "2024 pep`), 0o600); err != nil {
		t.Fatal(err)
	}
	d := openDesk(t, dir)
	if s, b := newClient(t, d, serveDesk(t, d)).get("/table"); s != http.StatusOK || !strings.Contains(b, "2024-peppers") {
		t.Errorf("%d: the first page does not name the damaged folder", s)
	}
}

// What the book holds of a photo may come from a foreign export: no name leads out of the folders, and a short
// fingerprint is no panic.
func TestAdoptTakesNoForeignPaths(t *testing.T) {
	d, _ := withHarvest(t)
	place := filepath.Join(t.TempDir(), "a.jpg")
	long := strings.Repeat("ab", 32)
	run := record.Run{Photos: []record.Photo{
		{Name: "../../evil.jpg", Path: place, SHA256: long, Status: record.StatusOK}, {Name: "short.jpg", Path: place, SHA256: "ab", Status: record.StatusOK},
		{Name: "up.jpg", Path: place, SHA256: "../../../../../../x" + long, Status: record.StatusOK}, {Name: "relative.jpg", Path: "a.jpg", SHA256: "cd" + long[2:], Status: record.StatusOK},
		{Name: "b/good.jpg", Path: place, SHA256: "ef" + long[2:], Status: record.StatusOK},
	}}
	if _, err := d.book.RecordRun(t.Context(), "foreign", "", run); err != nil {
		t.Fatal(err)
	}
	if err := d.book.SetPlace(t.Context(), "foreign", book.Place{Result: t.TempDir()}); err != nil {
		t.Fatal(err)
	}
	h, err := d.adopt(t.Context(), "foreign")
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range h.Photos {
		if p.File != "b/good.jpg" && p.File != "short.jpg" {
			t.Errorf("photo %q with the key %q was taken", p.File, p.Key)
		}
	}
}

// What the command wrote into the book of a lot's parents is seen on the page, and kept when the form is sent.
func TestMotherPlantIsShown(t *testing.T) {
	d, c := withHarvest(t)
	for _, e := range []struct {
		kind, name string
		fields     map[string]string
	}{{"planting", "2025 squash", nil}, {"plant", "2025 squash/7", map[string]string{"leaf": "marbled"}}, {"lot", "L-own", map[string]string{"mother": "2025 squash/7", "kind": "open-pollinated"}}} {
		if err := d.book.Set(t.Context(), e.kind, e.name, e.fields); err != nil {
			t.Fatal(err)
		}
	}
	if _, b := c.get("/book/lot?name=L-own"); !strings.Contains(b, `value="2025 squash/7"`) {
		t.Error("the form does not show the mother plant")
	}
	c.post("/book/lot", url.Values{"key": {"L-own"}, "f-mother": {"2025 squash/7"}, "f-kind": {"open-pollinated"}, "f-note": {"seed of one fruit"}})
	lots, err := d.book.Lots(t.Context())
	if err != nil || len(lots) != 1 || lots[0].Mother != "2025 squash/7" || lots[0].Note != "seed of one fruit" {
		t.Errorf("after saving: %+v, %v", lots, err)
	}
	if _, b := c.get("/book/plant"); !strings.Contains(b, "2025 squash/7") || !strings.Contains(b, "marbled") {
		t.Error("the list of plants lacks the plant")
	}
}

// The newest harvest stands first, also when summer time ended in between or the computer travelled.
func TestNewestHarvestFirst(t *testing.T) {
	d, _ := withHarvest(t)
	for i, at := range []time.Time{
		time.Date(2026, 10, 25, 2, 30, 0, 0, time.FixedZone("summer", 2*3600)), time.Date(2026, 10, 25, 2, 10, 0, 0, time.FixedZone("winter", 3600)), time.Date(2026, 10, 24, 22, 0, 0, 0, time.FixedZone("west", -5*3600)),
	} {
		d.opt.Now = func() time.Time { return at }
		if _, err := d.newHarvest(fmt.Sprintf("later %d", i)); err != nil {
			t.Fatal(err)
		}
	}
	var names []string
	for _, h := range d.list() {
		if strings.HasPrefix(h.Name, "later") {
			names = append(names, h.Name)
		}
	}
	if !slices.Equal(names, []string{"later 2", "later 1", "later 0"}) {
		t.Errorf("order %q, want the last made first", names)
	}
}
