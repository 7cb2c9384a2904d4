package book

import (
	"bytes"
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"offtype/pipeline/exchange"
	"offtype/pipeline/record"
)

func recorded(t *testing.T) (*Book, record.Run) {
	t.Helper()
	b := open(t, filepath.Join(t.TempDir(), "b.book"))
	run := sample(3, 2, 4)
	_, err := b.RecordRun(context.Background(), "2026", "L-1", run)
	must(t, err)
	return b, run
}

func fill(t *testing.T, b *Book) {
	t.Helper()
	ctx := context.Background()
	for _, e := range []struct {
		kind, name string
		f          map[string]string
	}{
		{"grower", "Invented Gardens", map[string]string{"place": "Somewhere", "country": "XX"}},
		{"bed", "long bed", map[string]string{"grower": "Invented Gardens", "length_m": "12.5 m", "width_m": "1,2"}},
		{"variety", "Invented Neck", map[string]string{"protected": "no"}},
		{"lot", "L-1", map[string]string{"supplier": "Example Seeds", "supplier_lot": "=A1", "bought": "2026-02-01", "seeds_sown": "20", "seeds_germinated": "17", "origin": "bought", "kind": "open-pollinated"}},
		{"planting", "2026", map[string]string{"bed": "long bed", "planted": "2026-05-20", "isolation_m": "300"}},
		{"plant", "2026/1", map[string]string{"control": "yes", "habit": "trailing", "fruit_count": "4", "weight_g": "5200"}},
		{"lot", "L-2", map[string]string{"origin": "own", "mother": "2026/1", "father": "2026/2"}},
		{"plant", "2026/9", map[string]string{"lot": "L-2", "fate": "no fruit"}},
		{"harvest", "2026", map[string]string{"picked": "2026-10-01", "stage": "cured", "grower": "Invented Gardens"}},
	} {
		if err := b.Set(ctx, e.kind, e.name, e.f); err != nil {
			t.Fatal(err)
		}
	}
	must(t, b.AddNote(ctx, "harvest", "2026", "dry summer", ""))
}

func TestEntries(t *testing.T) {
	ctx := context.Background()
	b, _ := recorded(t)
	fill(t, b)
	pic := filepath.Join(t.TempDir(), "packet.jpg")
	must(t, os.WriteFile(pic, []byte("not really a picture"), 0o600))
	must(t, b.AddPicture(ctx, pic, "packet front", "L-1", "", "2026-02-01", ""))
	h, err := b.Harvest(ctx, "2026")
	must(t, err)
	if h.Lot == nil || h.Lot.Supplier != "Example Seeds" || h.Lot.Variety != "Invented Neck" || *h.Lot.SeedsGerminated != 17 || len(h.Lot.Pictures) != 1 {
		t.Errorf("lot: %+v", h.Lot)
	}
	if len(h.Lots) != 2 || h.Lots[1].Mother != "2026/1" || h.Lots[1].Father != "2026/2" {
		t.Errorf("lots: %+v", h.Lots)
	}
	if len(h.Plants) != 3 || h.Plants[0].Number != "1" || !h.Plants[0].Control || h.Plants[2].Lot != "L-2" || *h.Plants[0].WeightG != 5200 || h.Plants[0].Bed != "long bed" || *h.Plants[0].IsolationM != 300 {
		t.Errorf("plants: %+v", h.Plants)
	}
	if h.Grower == nil || h.Grower.Country != "XX" || h.Stage != "cured" || h.Picked != "2026-10-01" || h.Notes[0] != "dry summer" || *h.Season != 2026 {
		t.Errorf("harvest: %+v", h)
	}
	for _, c := range []struct{ kind, name, field, value, want string }{
		{"lot", "L-1", "colour", "x", `no field "colour"`},
		{"lot", "L-1", "kind", "hybrid", "none of: open-pollinated"},
		{"lot", "L-1", "bought", "1.2.2026", "write 2026-05-14"},
		{"lot", "L-1", "seeds_germinated", "25", "does not fit"},
		{"lot", "L-1", "isolation_m", "1,500", "two numbers"},
		{"lot", "L-1", "mother", "2026/77", "not in the book"},
		{"plant", "2026", "leaf", "x", "PLANTING/NUMBER"},
		{"shed", "x", "y", "z", "grower, bed"},
		{"bed", "long bed", "length_m", "-3", "does not fit"},
	} {
		if err := b.Set(ctx, c.kind, c.name, map[string]string{c.field: c.value}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s %s=%s: error %v, want %q", c.kind, c.field, c.value, err, c.want)
		}
	}
	if err := b.AddPicture(ctx, pic, "portrait", "L-1", "", "", ""); err == nil {
		t.Error("picture of an unknown kind was taken")
	}
	if err := b.AddPicture(ctx, pic, "leaf", "L-1", "2026/1", "", ""); err == nil {
		t.Error("picture of both lot and plant was taken")
	}
}

func TestHandTraits(t *testing.T) {
	val := func(x float64) *float64 { return &x }
	for _, c := range []struct {
		trait, value, unit string
		want               *float64
		words, err         string
	}{
		{"weight", "712 g", "", val(712), "", ""},
		{"weight", "0,712", "kg", val(712), "", ""},
		{"weight", "1.25kg", "", val(1250), "", ""},
		{"weight", "712", "", nil, "", "no unit"},
		{"weight", "712 lb", "", nil, "", "does not fit"},
		{"weight", "-3", "g", nil, "", "outside"},
		{"weight", "712 g", "kg", nil, "", "another unit"},
		{"rind_force", "7 kgf", "", val(68.64655), "", ""}, // 1 kgf = 9.80665 N by definition
		{"rind_thumbnail", "Hard", "", nil, "hard", ""},
		{"rind_thumbnail", "stone", "", nil, "", "none of"},
		{"rind_thickness", "0.3 cm", "", val(3), "", ""},
		{"brix", "11.5", "", val(11.5), "", ""},
		{"brix", "115", "", nil, "", "outside"},
		{"dry_matter", "18 %", "", val(18), "", ""},
		{"taste", "7 sweet, a little dry", "", val(7), "sweet, a little dry", ""},
		{"taste", "7.5", "", nil, "", "whole score"},
		{"taste", "10", "", nil, "", "outside"},
		{"keeping", "8 weeks", "", val(56), "", ""},
		{"flesh colour", "deep orange", "", nil, "deep orange", ""},
		{"days_to_maturity", "95", "days", val(95), "", ""},
		{"brix", "1.234,5", "", nil, "", "two numbers"},
		{"brix", "NaN", "", nil, "", "not a number"},
	} {
		tr, err := HandTraitNamed(c.trait)
		must(t, err)
		r, err := tr.Read(c.value, c.unit)
		switch {
		case c.err != "":
			if err == nil || !strings.Contains(err.Error(), c.err) {
				t.Errorf("%s %q %q: error %v, want %q", c.trait, c.value, c.unit, err, c.err)
			}
		case err != nil:
			t.Errorf("%s %q %q: %v", c.trait, c.value, c.unit, err)
		case (r.Value == nil) != (c.want == nil) || r.Value != nil && math.Abs(*r.Value-*c.want) > 1e-9 || r.Words != c.words:
			t.Errorf("%s %q %q: %+v, want %v %q", c.trait, c.value, c.unit, r, c.want, c.words)
		}
	}
	if _, err := HandTraitNamed("Flesh"); err == nil || !strings.Contains(err.Error(), "write flesh_colour") {
		t.Errorf("a gardener's word: %v", err)
	}
	for word, near := range meant {
		first, _, _ := strings.Cut(strings.ReplaceAll(near, " or ", ","), ",")
		if _, err := HandTraitNamed(first); err != nil {
			t.Errorf("%q leads to %q, which is no trait", word, first)
		}
	}
	if _, err := HandTraitNamed("smell"); err == nil || !strings.Contains(err.Error(), "weight") {
		t.Errorf("unknown trait: %v", err)
	}
}

// 712 g typed as 712 kg is caught by the measured volume of 1300 cm³.
func TestWeightSlip(t *testing.T) {
	for _, c := range []struct {
		g, v float64
		says string
	}{{1000, 1300, ""}, {712000, 900, "meant in g"}, {0.712, 900, "meant in kg"}, {71.2, 900, "digit missing"}, {7120, 900, "too many"}, {3e6, 20, "does not fit"}, {500, 0, ""}, {500, math.NaN(), ""}} {
		got := CheckWeight(c.g, c.v)
		if (got == "") != (c.says == "") || !strings.Contains(got, c.says) {
			t.Errorf("%v g, %v cm³: %q, want %q", c.g, c.v, got, c.says)
		}
	}
	ctx := context.Background()
	b, _ := recorded(t)
	s, err := ParseSubject("table-1.jpg/2")
	must(t, err)
	if err := b.AddObservation(ctx, "2026", s, "weight", "712 kg", "", Observation{}, false); !errors.Is(err, ErrSlip) || !strings.Contains(err.Error(), "meant in g") {
		t.Errorf("712 kg: %v", err)
	}
	must(t, b.AddObservation(ctx, "2026", s, "weight", "1012 g", "", Observation{Date: "2026-10-05", By: "me"}, false))
	must(t, b.AddObservation(ctx, "2026", Subject{Photo: "table-1", Fruit: 1}, "weight", "9 kg", "", Observation{}, true))
	if err := b.AddObservation(ctx, "2026", Subject{Fruit: 2}, "brix", "11", "", Observation{}, false); err == nil || !strings.Contains(err.Error(), "2 photos have a fruit 2") {
		t.Errorf("number without photo: %v", err)
	}
	if err := b.AddObservation(ctx, "2026", Subject{Photo: "table-9.jpg", Fruit: 2}, "brix", "11", "", Observation{}, false); !errors.Is(err, ErrNotFound) {
		t.Errorf("unknown photo: %v", err)
	}
	must(t, b.AddObservation(ctx, "2026", Subject{Plant: "2"}, "disease", "mildew", "", Observation{}, false))
	must(t, b.AddObservation(ctx, "2026", Subject{Group: 1}, "taste", "6 mild", "", Observation{}, false))
	if err := b.AddObservation(ctx, "2026", Subject{Group: 9}, "taste", "6", "", Observation{}, false); !errors.Is(err, ErrNotFound) {
		t.Errorf("unknown group: %v", err)
	}
	h, err := b.Harvest(ctx, "2026")
	must(t, err)
	if len(h.Observations) != 4 {
		t.Fatalf("observations: %+v", h.Observations)
	}
	if o := h.Observations[0]; o.Photo != "table-1.jpg" || o.Fruit != 2 || *o.Value != 1012 || o.Unit != "g" || o.Entered != "1012 g" || o.Date != "2026-10-05" {
		t.Errorf("observation: %+v", o)
	}
}

// Measured again with other numbers, hand entries stay with their fruit by the overlap of the
// outlines; what has no outline any more is said and kept.
func TestObservationsFollow(t *testing.T) {
	ctx := context.Background()
	b, run := recorded(t)
	obs := func(n int, v string) {
		t.Helper()
		must(t, b.AddObservation(ctx, "2026", Subject{Photo: "table-1.jpg", Fruit: n}, "brix", v, "", Observation{}, false))
	}
	obs(1, "11")
	obs(2, "12")
	must(t, b.AddObservation(ctx, "2026", Subject{Group: 1}, "taste", "8", "", Observation{}, false))
	must(t, b.AddDecision(ctx, "2026", Subject{Photo: "table-1.jpg", Fruit: 2}, "not assessable", "sick", "spots", "me"))

	again := sample(3, 2, 4)
	again.Settings["new"] = "yes"
	a := again.Fruits[:4] // of table-1: 1 becomes 3, 3 becomes 1; 2 is gone, a new fruit has its number
	a[0].Number, a[2].Number = 3, 1
	a[1].Outline = circle(3000, 2500, 50)
	for i := range again.Groups { // groups change their numbers too
		again.Groups[i].Group = 3 - run.Groups[i].Group
		again.Groups[i].Number = again.Fruits[i].Number
	}
	got, err := b.RecordRun(ctx, "2026", "L-1", again)
	must(t, err)
	h, err := b.Harvest(ctx, "2026")
	must(t, err)
	o := h.Observations
	if o[0].Fruit != 3 || o[0].Photo != "table-1.jpg" || o[0].Lost != "" || *o[0].Value != 11 {
		t.Errorf("did not follow to fruit 3: %+v", o[0])
	}
	if o[1].Lost == "" || o[1].Fruit != 2 || o[1].Photo != "" {
		t.Errorf("lost fruit: %+v", o[1])
	}
	if o[2].Group != 2 || o[2].Lost != "" {
		t.Errorf("group observation: %+v", o[2])
	}
	if h.Decisions[0].Lost == "" {
		t.Errorf("decision: %+v", h.Decisions[0])
	}
	said := strings.Join(got.Said, "\n")
	for _, want := range []string{"brix of fruit 2 in table-1.jpg could not follow", "hand decision: not assessable of fruit 2"} {
		if !strings.Contains(said, want) {
			t.Errorf("not said: %q in\n%s", want, said)
		}
	}
	// The first measurement comes back: so do the entries.
	_, err = b.RecordRun(ctx, "2026", "L-1", run)
	must(t, err)
	h, err = b.Harvest(ctx, "2026")
	must(t, err)
	if o := h.Observations; o[0].Fruit != 1 || o[1].Fruit != 2 || o[1].Lost != "" || o[2].Group != 1 || h.Decisions[0].Lost != "" {
		t.Errorf("after the first measurement came back: %+v %+v", o, h.Decisions)
	}
}

// Everything goes out and comes back the same, in each format that holds all of it.
func TestExportImport(t *testing.T) {
	ctx := context.Background()
	b, run := recorded(t)
	fill(t, b)
	must(t, b.AddObservation(ctx, "2026", Subject{Photo: "table-1.jpg", Fruit: 1}, "taste", "7 nutty", "", Observation{Note: "=x"}, false))
	tables, err := b.Tables(ctx, ExportOptions{})
	must(t, err)
	layout, err := b.Layout(ctx)
	must(t, err)
	dir := filepath.Join(t.TempDir(), "p")
	must(t, exchange.WritePackage(dir, exchange.Package{Name: "book", Tables: tables}))
	fromPackage, err := exchange.ReadPackage(dir, layout)
	must(t, err)
	var buf bytes.Buffer
	must(t, exchange.WriteJSON(&buf, tables))
	fromJSON, err := exchange.ReadJSON(&buf, layout)
	must(t, err)
	buf.Reset()
	must(t, exchange.WriteXLSX(&buf, tables, exchange.Workbook{}))
	fromXLSX, err := exchange.ReadXLSX(bytes.NewReader(buf.Bytes()), layout)
	must(t, err)
	for _, c := range []struct {
		name   string
		tables []exchange.Table
		exact  bool
	}{{"package", fromPackage, true}, {"JSON", fromJSON, true}, {"XLSX", fromXLSX, false}} {
		n := open(t, filepath.Join(t.TempDir(), "n.book"))
		must(t, n.Import(ctx, c.tables))
		back, err := n.Tables(ctx, ExportOptions{})
		must(t, err)
		if d := cmp.Diff(tables, back, cmp.Comparer(func(a, b float64) bool {
			return a == b || !c.exact && math.Abs(a-b) <= 1e-14*math.Abs(a) // 15 digits in a workbook
		})); d != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, d)
		}
		got, err := n.LoadRun(ctx, "2026")
		must(t, err)
		if c.exact {
			want := run
			want.Photos = append([]record.Photo(nil), run.Photos...)
			for i := range want.Photos {
				want.Photos[i].Path = "" // where photos lie stays on the computer
			}
			sameRun(t, got, want)
		}
		if err := n.Import(ctx, c.tables); err == nil || !strings.Contains(err.Error(), "not empty") {
			t.Errorf("%s: import into a full book: %v", c.name, err)
		}
		if p, err := n.Check(ctx); err != nil || len(p) > 0 {
			t.Errorf("%s: check: %v %v", c.name, p, err)
		}
	}
	for i := range fromJSON {
		if fromJSON[i].Name == "fruits" {
			fromJSON[i].Rows = fromJSON[i].Rows[1:]
		}
	}
	if err := open(t, filepath.Join(t.TempDir(), "n.book")).Import(ctx, fromJSON); err == nil {
		t.Error("import with a missing fruit was taken")
	}
}

func TestBackupAndStrangers(t *testing.T) {
	ctx := context.Background()
	b, run := recorded(t)
	file := filepath.Join(t.TempDir(), "copy.book")
	must(t, b.Backup(ctx, file))
	if err := b.Backup(ctx, file); !errors.Is(err, os.ErrExist) {
		t.Errorf("backup over a file: %v", err)
	}
	got, err := open(t, file).LoadRun(ctx, "2026")
	must(t, err)
	sameRun(t, got, run)

	text := filepath.Join(t.TempDir(), "notes.txt")
	must(t, os.WriteFile(text, bytes.Repeat([]byte("not a book\n"), 500), 0o600))
	if _, err := Open(ctx, text, Options{}); !errors.Is(err, ErrNotABook) {
		t.Errorf("text file: %v", err)
	}
	if after, _ := os.ReadFile(text); !bytes.HasPrefix(after, []byte("not a book\nnot")) {
		t.Error("the text file was changed")
	}
	if _, err := Open(ctx, filepath.Join(t.TempDir(), "none.book"), Options{MustExist: true}); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("missing file: %v", err)
	}
	if _, err := Open(ctx, t.TempDir(), Options{}); err == nil || !strings.Contains(err.Error(), "folder") {
		t.Errorf("folder: %v", err)
	}
	// A book of a newer program is left alone.
	_, err = b.db.Exec("INSERT INTO goose_db_version (version_id, is_applied) VALUES (9999, 1)")
	must(t, err)
	if _, err := Open(ctx, b.Path(), Options{}); !errors.Is(err, ErrNewer) {
		t.Errorf("newer book: %v", err)
	}
}

func TestParseSubject(t *testing.T) {
	for in, want := range map[string]Subject{
		"3": {Fruit: 3}, "a/b.jpg/3": {Photo: "a/b.jpg", Fruit: 3}, "b.jpg#12": {Photo: "b.jpg", Fruit: 12}, "plant 4": {Plant: "4"}, "Plant: 4b": {Plant: "4b"}, "group 2": {Group: 2},
	} {
		got, err := ParseSubject(in)
		if err != nil || got != want {
			t.Errorf("%q: %+v %v, want %+v", in, got, err, want)
		}
	}
	for _, in := range []string{"", "plant", "group x", "a.jpg/0", "a.jpg", "-1"} {
		if got, err := ParseSubject(in); err == nil {
			t.Errorf("%q: %+v, want an error", in, got)
		}
	}
}

// The text of the description that the verdicts used is kept and found again.
func TestDescriptions(t *testing.T) {
	ctx := context.Background()
	b := open(t, filepath.Join(t.TempDir(), "b.book"))
	for _, text := range []string{"format: 1\n", "format: 1\n", "format: 1 # changed\n"} {
		must(t, b.AddDescription(ctx, "Invented Neck", "Cucurbita moschata", "2", text))
	}
	_, err := b.RecordRun(ctx, "2026", "", sample(3, 1, 1))
	must(t, err)
	got, err := b.Description(ctx, "2026")
	must(t, err)
	if got != "format: 1 # changed\n" {
		t.Errorf("description %q", got)
	}
	var n int
	must(t, b.ro.QueryRow("SELECT count(*) FROM descriptions").Scan(&n))
	if n != 2 {
		t.Errorf("%d descriptions, want 2", n)
	}
	if _, err := b.Description(ctx, "none"); !errors.Is(err, ErrNotFound) {
		t.Errorf("unknown harvest: %v", err)
	}
}

// A note written shortly after midnight bears the grower's day, though the book keeps UTC.
func TestNoteBearsTheLocalDay(t *testing.T) {
	here := time.Local
	defer func() { time.Local = here }()
	time.Local = time.FixedZone("east", 2*3600)
	for made, want := range map[string]string{"2026-11-01T22:30:00Z": "2026-11-02", "2026-11-01T21:30:00Z": "2026-11-01", "2026-11-01": "2026-11-01", "": ""} {
		if got := (Note{Made: made}).Day(); got != want {
			t.Errorf("a note made %s is of the day %q, want %q", made, got, want)
		}
	}
}

// Where no volume was measured, and for a plant, only a weight that hardly ever occurs is a slip. The volume of a fruit
// on a photo without a scale means nothing.
func TestWeightSlipWithoutVolume(t *testing.T) {
	ctx := context.Background()
	b := open(t, filepath.Join(t.TempDir(), "b.book"))
	run := sample(3, 1, 3)
	run.Fruits[0].Volume = record.None()
	run.Fruits[1].Unscaled = true // 1300 cm³ of nothing
	_, err := b.RecordRun(ctx, "2026", "", run)
	must(t, err)
	for _, c := range []struct {
		of, weight, says string
	}{
		{"table-1.jpg/1", "712 kg", "a fruit (1 g to 50 kg); perhaps it was meant in g"}, {"table-1.jpg/1", "0,712 g", "meant in kg"}, {"table-1.jpg/1", "31 kg", ""},
		{"table-1.jpg/2", "712 kg", "meant in g"}, {"table-1.jpg/2", "200 g", ""}, {"table-1.jpg/3", "200 g", "does not fit a fruit of"},
		{"plant 1", "712 kg", "all fruit of a plant (1 g to 150 kg); perhaps it was meant in g"}, {"plant 1", "80 kg", ""}, {"group 1", "712 kg", ""},
	} {
		s, err := ParseSubject(c.of)
		must(t, err)
		err = b.AddObservation(ctx, "2026", s, "weight", c.weight, "", Observation{}, false)
		if c.says == "" && err != nil || c.says != "" && (!errors.Is(err, ErrSlip) || !strings.Contains(err.Error(), c.says)) {
			t.Errorf("%s, %s: %v, want %q", c.of, c.weight, err, c.says)
		}
		must(t, b.AddObservation(ctx, "2026", s, "weight", c.weight, "", Observation{}, true))
	}
}

// A new book and its copy are for their owner alone; the mode of one that was there stays.
func TestBookIsPrivate(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no such modes there")
	}
	dir := t.TempDir()
	old := filepath.Join(dir, "old.book")
	must(t, open(t, old).Close())
	must(t, os.Chmod(old, 0o640))
	open(t, old)
	b := open(t, filepath.Join(dir, "new.book"))
	must(t, b.Set(context.Background(), "grower", "A", map[string]string{"contact": "b@example.org"}))
	must(t, b.Backup(context.Background(), filepath.Join(dir, "copy.book")))
	for name, want := range map[string]os.FileMode{"old.book": 0o640, "new.book": 0o600, "new.book-wal": 0o600, "copy.book": 0o600} {
		if st, err := os.Stat(filepath.Join(dir, name)); err != nil || st.Mode().Perm() != want {
			t.Errorf("%s: %v, %v, want %v", name, st.Mode(), err, want)
		}
	}
}

// A plant number that was a slip and was taken back is no plant: nobody is told that it flowered beside the others.
func TestPlantNumberTakenBack(t *testing.T) {
	ctx := context.Background()
	b := open(t, filepath.Join(t.TempDir(), "b.book"))
	numbers := func() string {
		h, err := b.Harvest(ctx, "2026")
		must(t, err)
		var out []string
		for _, p := range h.Plants {
			out = append(out, p.Number)
		}
		return strings.Join(out, " ")
	}
	rec := func(run record.Run, want string) {
		t.Helper()
		_, err := b.RecordRun(ctx, "2026", "", run)
		must(t, err)
		if got := numbers(); got != want {
			t.Errorf("plants %s, want %s", got, want)
		}
	}
	was := sample(3, 2, 4) // plants 1 and 2
	slip := sample(3, 2, 4)
	slip.Fruits[0].Plant, slip.Fruits[1].Plant = "77", "78"
	rec(slip, "1 2 77 78")
	must(t, b.AddObservation(ctx, "2026", Subject{Plant: "78"}, "disease", "mildew", "", Observation{}, false))
	rec(was, "1 2 78") // something was written down of 78
	must(t, b.Set(ctx, "plant", "2026/80", map[string]string{"fate": "no fruit"}))
	must(t, b.Set(ctx, "plant", "2026/81", nil)) // by hand: never had fruit
	rec(slip, "1 2 77 78 80 81")
	fewer := sample(3, 1, 4)
	rec(fewer, "1 2 78 80 81") // the photo of plant 2 is not among them: it grew all the same
}
