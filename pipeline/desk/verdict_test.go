package desk

import (
	"bytes"
	"image"
	"image/jpeg"
	"net/http"
	"net/url"
	"os"
	"strings"
	"testing"
	"time"

	"offtype/measure/geom"
	"offtype/pipeline"
	"offtype/pipeline/book"
	"offtype/pipeline/record"
)

// judgedHarvest puts a judged harvest of two plants on the desk, plant 2 with verdict v.
func judgedHarvest(t *testing.T, d *Desk, v record.Verdict) *harvest {
	t.Helper()
	h, err := d.newHarvest("judged " + string(v))
	if err != nil {
		t.Fatal(err)
	}
	run := &record.Run{}
	run.Judgement.Variety = &record.VarietyRef{Name: "Hollin Tan", Species: "Cucurbita moschata", Version: "1"}
	for i, p := range []string{"1", "2"} {
		is := record.TrueToType
		if i == 1 {
			is = v
		}
		run.Fruits = append(run.Fruits, record.Fruit{Photo: "a.jpg", Number: i + 1, Plant: p})
		run.Judgement.Plants = append(run.Judgement.Plants, record.PlantVerdict{Plant: p, Fruits: 1, Verdict: is, Reasons: []string{"a reason"}})
	}
	run.Judgement.Lot.Sentences = []string{"Of 2 plants seen, 1 is off-type."}
	h.mu.Lock()
	h.Photos = []savedPhoto{{Key: "k1", File: "a.jpg"}}
	h.live = map[string]*live{"k1": {state: measured}}
	h.result = run
	h.mu.Unlock()
	return h
}

// A verdict by hand stands with its reason on the plant's card, in its row and among what was decided.
func TestVerdictByHandIsShown(t *testing.T) {
	d, _ := startDesk(t)
	v := judgedHarvest(t, d, record.OffType).verdictData()
	v.decided([]book.Decision{{Plant: "2", Kind: "verdict", Value: "true to type", Reason: "packet says mixed"}, {Plant: "2", Kind: "group", Value: "1"}})
	const want = "true to type – packet says mixed"
	if len(v.Suspects) != 1 || v.Suspects[0].Hand != want || v.Plants[1].Hand != want || v.Plants[0].Hand != "" {
		t.Errorf("by hand: %+v, %+v", v.Suspects, v.Plants)
	}
	if len(v.Moves) != 1 || v.Moves[0] != "Plant 2: "+want+"." {
		t.Errorf("decided by hand: %q", v.Moves)
	}
}

// The verdict names the off-type plants first, shows their fruit, keeps the cautions above all statistics and leads to
// what is to be done.
func TestVerdictAtAGlance(t *testing.T) {
	d, base := startDesk(t)
	c := newClient(t, d, base)
	h := judgedHarvest(t, d, record.OffType)
	_, b := c.get("/h/" + h.ID + "/verdict")
	at := 0
	for _, want := range []string{"Off-type: plant 2.", "/h/" + h.ID + "/cut/k1/2.jpg", "Take care", "poisonous", "What to do next", "/seed/choose?h=", "/h/" + h.ID + "/report", "how sure is it?"} {
		i := strings.Index(b[at:], want)
		if i < 0 {
			t.Fatalf("%q does not follow on the page:\n%s", want, b)
		}
		at += i
	}
	if strings.Contains(b, "/cut/k1/1.jpg") {
		t.Error("a true plant stands among the off-types")
	}
	_, b = c.get("/h/" + judgedHarvest(t, d, record.TrueToType).ID + "/verdict")
	if !strings.Contains(b, "No plant is off-type.") || strings.Contains(b, `class="suspects"`) {
		t.Error("a clean harvest is not said to be clean")
	}
}

// A harvest that only the command has measured is not called no harvest.
func TestHomeKnowsTheBook(t *testing.T) {
	d, base := startDesk(t)
	c := newClient(t, d, base)
	if _, b := c.get("/"); !strings.Contains(b, "There is no harvest yet") {
		t.Error("an empty book is not said to be empty")
	}
	if _, err := d.book.RecordRun(t.Context(), "autumn 2025", "", record.Run{Fruits: []record.Fruit{{Photo: "a.jpg", Number: 1}}, Photos: []record.Photo{{Name: "a.jpg", Status: record.StatusOK, Width: 10, Height: 10, SHA256: strings.Repeat("a", 64), Taken: time.Now().Format("2006-01-02 15:04:05")}}}); err != nil {
		t.Fatal(err)
	}
	if s, b := c.get("/"); s != http.StatusOK || strings.Contains(b, "There is no harvest yet") || !strings.Contains(b, "autumn 2025") {
		t.Errorf("%d: the harvest of the book is not named on the first page", s)
	}
}

// Bitter is answered at once, and each field of the grid has its name for narrow screens.
func TestBitterIsAnswered(t *testing.T) {
	for _, c := range []struct {
		cell cell
		head string
		said bool
	}{
		{cell{Trait: "bitter", Value: "yes"}, "Bitter", true},
		{cell{Trait: "bitter", Value: "no"}, "Bitter", false},
		{cell{Trait: "weight", Value: "yes"}, "Weight, g", false},
		{cell{Trait: "brix"}, "Sweetness (°Bx)", false},
	} {
		if c.cell.Head() != c.head || c.cell.Bitter() != c.said {
			t.Errorf("%+v: %q, %v; want %q, %v", c.cell, c.cell.Head(), c.cell.Bitter(), c.head, c.said)
		}
	}
}

// A description that was made elsewhere can be brought as a file; what is no description is refused with the reason.
func TestDescriptionFromAFile(t *testing.T) {
	d, base := startDesk(t)
	c := newClient(t, d, base)
	good, err := os.ReadFile("../../testdata/demo/variety.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct {
		data   string
		status int
		said   string
	}{
		{string(good), http.StatusCreated, ""},
		{"name: x\ntraits: {length: long}\n", http.StatusUnprocessableEntity, "mine.yaml"},
		{"\xff\xd8\xff\xe0 a photo", http.StatusUnprocessableEntity, "it holds no text"},
	} {
		kind, body := multi(t, "file", "mine.yaml", []byte(x.data))
		if s, b := c.send("POST", "/varieties/file", kind, body, map[string]string{"X-Desk-Token": d.token}); s != x.status || !strings.Contains(b, x.said) {
			t.Errorf("%d %q; want %d and %q", s, b, x.status, x.said)
		}
	}
	if got, err := d.readVariety("hollin-tan"); err != nil || got.Version != "2025-1" || len(d.varietyNames()) != 1 {
		t.Errorf("descriptions %v, %v", d.varietyNames(), err)
	}
}

// A plant number that only one fruit carries is asked about.
func TestOnlyFruitOfAPlant(t *testing.T) {
	h := &harvest{live: map[string]*live{"a": {part: &pipeline.Part{Fruits: []record.Fruit{{Plant: "3"}, {Plant: "3"}, {Plant: "33"}, {}}}}, "b": {}}}
	for plant, want := range map[string]bool{"33": true, "3": false, "5": false} {
		if got := h.onlyFruitOf(plant); got != want {
			t.Errorf("plant %s: %v, want %v", plant, got, want)
		}
	}
}

// While verdicts are worked out again after a correction, the old ones are not shown beside the new measurement.
func TestNoOldVerdictBesideANewMeasurement(t *testing.T) {
	d, base := startDesk(t)
	c := newClient(t, d, base)
	h := judgedHarvest(t, d, record.OffType)
	f := record.Fruit{Photo: "a.jpg", Number: 2, Plant: "2", X: 5, Y: 5}
	h.mu.Lock()
	h.live["k1"].part = &pipeline.Part{Photo: record.Photo{Width: 100, Height: 80}, Fruits: []record.Fruit{f}}
	h.result.Judgement.Fruits = []record.FruitVerdict{{Photo: "a.jpg", Fruit: 2, Plant: "2", Verdict: record.OffType, Reasons: []string{"a reason"}}}
	h.mu.Unlock()
	panel := "/h/" + h.ID + "/photo/k1/fruit/2"
	if _, b := c.get(panel); !strings.Contains(b, "off-type") || !strings.Contains(b, "a reason") {
		t.Fatalf("the verdict is not on the panel:\n%s", b)
	}
	h.mu.Lock()
	h.judging = true
	v, _ := h.tableData("k1")
	h.mu.Unlock()
	if _, b := c.get(panel); strings.Contains(b, "a reason") || !strings.Contains(b, "being worked out again") {
		t.Error("an old verdict stands beside the new measurement")
	}
	if s := v.Shapes[0]; s.Off || strings.Contains(s.Sign+s.Label, "▲") || strings.Contains(s.Label, "off-type") {
		t.Errorf("the photo still marks it: %+v", s)
	}
}

// A slip in the plan names its field.
func TestPlanNamesTheField(t *testing.T) {
	d, base := startDesk(t)
	c := newClient(t, d, base)
	if _, b := c.get("/plan?v1=X&n1=3&length=abc"); !strings.Contains(b, "Length of the row:") {
		t.Error("the wrong field is not named")
	}
}

// In winter the form of the plan and the list are for the next season.
func TestPlanOfTheNextSeason(t *testing.T) {
	d, base := startDesk(t)
	c := newClient(t, d, base)
	for day, want := range map[string]string{"2026-12-01": "2027", "2026-04-01": "2026"} {
		at, err := time.Parse(time.DateOnly, day)
		if err != nil {
			t.Fatal(err)
		}
		d.opt.Now = func() time.Time { return at }
		if _, b := c.get("/plan"); !strings.Contains(b, `name="year" inputmode="numeric" value="`+want+`"`) {
			t.Errorf("%s: the form is not for %s", day, want)
		}
		if _, b := c.get("/plan/page?v1=X&n1=3"); !strings.Contains(b, "Bed list "+want) {
			t.Errorf("%s: the list is not for %s", day, want)
		}
	}
}

// A card that was not printed at 100 % can be told on the page, as with --card-length.
func TestRulerOnTheCard(t *testing.T) {
	d, c := withHarvest(t)
	h := d.harvest("2026-squash")
	for _, x := range []struct {
		text string
		want float64
		code int
	}{{"97,5", 97.5, http.StatusSeeOther}, {"12", 97.5, http.StatusUnprocessableEntity}, {"wide", 97.5, http.StatusUnprocessableEntity}, {"", 0, http.StatusSeeOther}} {
		if s, b := c.post("/h/2026-squash/camera", url.Values{"ruler": {x.text}}); s != x.code {
			t.Errorf("%q: %d %s", x.text, s, b)
		}
		h.mu.Lock()
		if got := h.shot(&savedPhoto{File: "a.jpg"}).CardLength; got != x.want {
			t.Errorf("%q: measured with %v mm, want %v", x.text, got, x.want)
		}
		h.mu.Unlock()
	}
}

// Lengths of a photo without a scale are in nobody's millimetres: they do not set the scale that the other fruit are
// shown at.
func TestOneScaleWithoutTheUnscaled(t *testing.T) {
	d, c := withHarvest(t)
	h := judgedHarvest(t, d, record.TrueToType)
	h.mu.Lock()
	h.result.Fruits[0].Length = record.Value{V: 200, U: 2}
	h.result.Fruits[1].Length, h.result.Fruits[1].Unscaled = record.Value{V: 5000, U: 50}, true
	ppm := h.pxPerMM()
	h.mu.Unlock()
	if ppm != cutSide/200. {
		t.Errorf("%v px a mm, want %v", ppm, cutSide/200.)
	}
	if _, b := c.get("/h/" + h.ID + "/groups"); !strings.Contains(b, "1 fruit is without a scale: made equally high") || !strings.Contains(b, "</svg> 100 mm") {
		t.Errorf("the page does not say what is shown at which scale: %s", b)
	}
	f := record.Fruit{Unscaled: true, Width: record.Value{V: 900, U: 9}, WidthLine: [2]geom.Px{{X: 10, Y: 20}, {X: 90, Y: 20}}, Outline: []geom.Px{{X: 10, Y: 10}, {X: 90, Y: 10}, {X: 90, Y: 50}, {X: 10, Y: 50}}}
	b, err := cutJPEG(image.NewRGBA(image.Rect(0, 0, 100, 100)), 1, &f, ppm*2)
	if err != nil {
		t.Fatal(err)
	}
	if m, err := jpeg.DecodeConfig(bytes.NewReader(b)); err != nil || m.Height > 2*cutSide {
		t.Errorf("a fruit without a scale is %d px high, %v", m.Height, err)
	}
}
