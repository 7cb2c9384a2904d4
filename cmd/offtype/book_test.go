package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
)

// offtype runs the program and returns what it printed and its exit status.
func offtype(t *testing.T, args ...string) (out, errs string, code int) {
	t.Helper()
	var o, e bytes.Buffer
	code = run(&env{ctx: context.Background(), out: &o, err: &e}, args)
	return o.String(), e.String(), code
}

// ok runs the program and expects success.
func ok(t *testing.T, args ...string) string {
	t.Helper()
	out, errs, code := offtype(t, args...)
	if code != 0 {
		t.Fatalf("offtype %s: status %d\n%s%s", strings.Join(args, " "), code, out, errs)
	}
	return out
}

// handTable writes an invented table of fruit measured by hand: plants of four fruit; the plants in long bear
// fruit of another type.
func handTable(t *testing.T, seed uint64, plants int, long ...int) string {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 1))
	var b strings.Builder
	b.WriteString("photo,fruit,plant,length_mm,width_mm,volume_cm3,skin_l,skin_a,skin_b\n")
	n := 0
	for p := 1; p <= plants; p++ {
		l, w := 220+6*r.NormFloat64(), 115+3*r.NormFloat64()
		for _, x := range long {
			if x == p {
				l, w = l+120, w-35
			}
		}
		for range 4 {
			n++
			fl, fw := l+4*r.NormFloat64(), w+2*r.NormFloat64()
			fmt.Fprintf(&b, "bench,%d,%d,%.1f,%.1f,%.0f,%.2f,%.2f,%.2f\n", n, p, fl, fw, 0.52*fl*fw*fw/1000, 70+r.NormFloat64(), 12+r.NormFloat64(), 37+r.NormFloat64())
		}
	}
	path := filepath.Join(t.TempDir(), fmt.Sprintf("hand-%d.csv", seed))
	if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// A whole year by command: two harvests recorded, entries made, observations by command and by sheet,
// comparison, seed, trial, export, backup, import.
func TestBookYear(t *testing.T) {
	dir := t.TempDir()
	bk := "--book=" + filepath.Join(dir, "test.book")
	ok(t, "run", "--from", handTable(t, 1, 8), "--out", filepath.Join(dir, "r25"), bk, "--harvest", "2025", "--lot", "L25")
	ok(t, "run", "--from", handTable(t, 2, 8, 3), "--out", filepath.Join(dir, "r26"), bk, "--harvest", "2026", "--lot", "L26")
	ok(t, "book", "add", bk, "variety", "Invented Neck", "species=Cucurbita moschata")
	for _, l := range []string{"L25", "L26"} {
		ok(t, "book", "add", bk, "lot", l, "supplier=Example Seeds", "supplier_lot=A123", "kind=open-pollinated", "variety=Invented Neck")
	}
	ok(t, "book", "add", bk, "planting", "2026", "isolation_m=900")
	ok(t, "book", "add", bk, "plant", "2026/3", "fate=rogued before flowering")
	if out := ok(t, "book", "show", bk); !strings.Contains(out, "2026: season 2026, lot L26, Invented Neck, 0 photos, 32 fruit") {
		t.Errorf("show: %s", out)
	}
	if out := ok(t, "book", "show", bk, "2026"); strings.Contains(out, "at harvest") || strings.Contains(out, "fruit \n") {
		t.Errorf("a stage that nobody entered: %s", out)
	}
	ok(t, "book", "add", bk, "harvest", "2026", "stage=cured")
	if out := ok(t, "book", "show", bk, "2026"); !strings.Contains(out, ", fruit cured\n") {
		t.Errorf("the stage that was entered: %s", out)
	}
	observeByHand(t, dir, bk)
	compareYears(t, dir, bk)
	adviseOnSeed(t, bk)
	exportAndImport(t, dir, bk)
}

// observeByHand writes observations down by command and by sheet, a slip and a wrong word among them.
func observeByHand(t *testing.T, dir, bk string) {
	ok(t, "observe", bk, "2026", "bench/1", "weight", "1100", "g", "--date", "2026-10-05")
	if _, errs, code := offtype(t, "observe", bk, "2026", "bench/2", "weight", "1100", "kg"); code != exitUsage || !strings.Contains(errs, "meant in g") || !strings.Contains(errs, "--force") {
		t.Errorf("slip: status %d, %s", code, errs)
	}
	sheet := filepath.Join(dir, "bench.xlsx")
	ok(t, "observe", bk, "2026", "--template", sheet)
	if _, _, code := offtype(t, "observe", bk, "2026", "--template", sheet); code != exitUsage {
		t.Errorf("sheet over a sheet: status %d", code)
	}
	fillSheet(t, sheet)
	out, errs, code := offtype(t, "observe", bk, "2026", "--read", sheet)
	if code != exitPartly || !strings.Contains(out, "2 observations added") || !strings.Contains(errs, "none of") || strings.Contains(errs, "--force") {
		t.Errorf("sheet: status %d\n%s%s", code, out, errs)
	}
}

// compareYears compares the two harvests of the book and their result folders.
func compareYears(t *testing.T, dir, bk string) {
	cmp := filepath.Join(dir, "cmp")
	out := ok(t, "compare", bk, "2025", "2026", "--out", cmp)
	if !strings.Contains(out, "plant 3; 4 fruit) is new") {
		t.Errorf("compare does not name the new type:\n%s", out)
	}
	page, err := os.ReadFile(filepath.Join(cmp, "compare.html"))
	if err != nil || !strings.Contains(string(page), "<th>stage</th>") || !strings.Contains(string(page), "<td>cured</td>") || strings.Contains(string(page), "at harvest") {
		t.Errorf("stages on the page (%v)", err)
	}
	var js struct {
		Pairs []struct {
			Sections []struct{ Traits []struct{ Found bool } }
		}
	}
	text, err := os.ReadFile(filepath.Join(cmp, "compare.json"))
	if err == nil {
		err = json.Unmarshal(text, &js)
	}
	if err != nil || len(js.Pairs) != 1 || len(js.Pairs[0].Sections) == 0 {
		t.Fatalf("compare.json: %v", err)
	}
	for _, x := range js.Pairs[0].Sections[0].Traits {
		if x.Found {
			t.Error("compare found a change between two samples of one type")
		}
	}
	// Result folders in place of names say the same.
	if out = ok(t, "compare", filepath.Join(dir, "r25"), filepath.Join(dir, "r26"), "--out", cmp); !strings.Contains(out, "plant 3; 4 fruit) is new") {
		t.Errorf("compare of folders:\n%s", out)
	}
}

// adviseOnSeed asks which plants are fit for seed, for the trial table and for the count of a lot.
func adviseOnSeed(t *testing.T, bk string) {
	if out := ok(t, "seed", bk, "2026", "--species", "Cucurbita moschata"); !strings.Contains(out, "plant 1: cannot tell") || !strings.Contains(out, "Take care") {
		t.Errorf("seed:\n%s", out)
	}
	if out := ok(t, "plan", bk, "--trial", "2026"); !strings.Contains(out, "Invented Neck: 8 plants, 32 fruit") {
		t.Errorf("trial: %s", out)
	}
	if out := ok(t, "plan", bk, "--pool", "A123"); !strings.Contains(out, "No plant of lot A123 was judged yet") {
		t.Errorf("pool: %s", out)
	}
}

// exportAndImport takes the book through every format and makes a copy.
func exportAndImport(t *testing.T, dir, bk string) {
	for _, to := range []string{"out.xlsx", "out.json", "package"} {
		ok(t, "book", "export", bk, filepath.Join(dir, to))
		n := "--book=" + filepath.Join(dir, to+".book")
		ok(t, "book", "import", n, filepath.Join(dir, to))
		ok(t, "book", "check", n)
		if a, b := ok(t, "book", "show", bk, "2026"), ok(t, "book", "show", n, "2026"); a != b {
			t.Errorf("%s: the imported book shows\n%s\nwant\n%s", to, b, a)
		}
	}
	ok(t, "book", "export", bk, filepath.Join(dir, "one"), "--harvest", "2026")
	for _, f := range []string{"datapackage.json", "fruits.csv", "miappe_study.csv", "miappe_observation_units.csv", "miappe_variables.csv"} {
		if _, err := os.Stat(filepath.Join(dir, "one", f)); err != nil {
			t.Error(err)
		}
	}
	ok(t, "book", "backup", bk, filepath.Join(dir, "copy.book"))
	ok(t, "book", "check", "--book="+filepath.Join(dir, "copy.book"))
}

// fillSheet writes a value, a word and a wrong word into the sheet as a person would.
func fillSheet(t *testing.T, path string) {
	t.Helper()
	f, err := excelize.OpenFile(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	head, err := f.GetRows("bench")
	if err != nil {
		t.Fatal(err)
	}
	set := func(column string, row int, v any) {
		for i, h := range head[0] {
			if strings.HasPrefix(h, column) {
				cell, err := excelize.CoordinatesToCellName(i+1, row)
				if err == nil {
					err = f.SetCellValue("bench", cell, v)
				}
				if err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	set("brix", 2, 11.5)
	set("taste", 3, "7 nutty")
	set("rind_thumbnail", 4, "stone")
	if err := f.Save(); err != nil {
		t.Fatal(err)
	}
}

func TestBookRefusals(t *testing.T) {
	dir := t.TempDir()
	bk := "--book=" + filepath.Join(dir, "none.book")
	text := filepath.Join(dir, "notes.txt")
	if err := os.WriteFile(text, []byte(strings.Repeat("no book\n", 400)), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"book", "show", bk}, exitNothing, "record a harvest first"},
		{[]string{"book", "check", "--book=" + text}, exitNothing, "not a harvest book"},
		{[]string{"book", "add", bk, "shed", "x"}, exitUsage, "grower, bed"},
		{[]string{"book", "add", bk, "lot", "x", "supplier"}, exitUsage, "field=value"},
		{[]string{"compare", bk, "a"}, exitUsage, "at least two"},
		{[]string{"compare", bk, "a", "b"}, exitNothing, "no result folder either"},
		{[]string{"observe", bk, "h"}, exitNothing, "record a harvest first"},
		{[]string{"seed", bk, "h"}, exitNothing, "record a harvest first"},
		{[]string{"plan"}, exitUsage, "room for"},
		{[]string{"plan", "--sow", "x"}, exitUsage, "VARIETY:LOT:PLANTS"},
		{[]string{"plan", "--sow", "x:y:3", "--rate", "0"}, exitUsage, "between 0 and 1"},
		{[]string{"plan", "--trial", "a", "--pool", "b"}, exitUsage, "one of"},
	} {
		out, errs, code := offtype(t, c.args...)
		if code != c.code || !strings.Contains(errs, c.want) {
			t.Errorf("%v: status %d, want %d with %q\n%s%s", c.args, code, c.code, c.want, out, errs)
		}
	}
	for _, verb := range []string{"book", "book add", "book export", "observe", "compare", "seed", "plan"} {
		if out, _, code := offtype(t, append(strings.Fields(verb), "--help")...); code != 0 || !strings.Contains(out, "Example") || !strings.Contains(out, "Exit status: 0") {
			t.Errorf("%s --help: status %d\n%s", verb, code, out)
		}
	}
	if out := ok(t, "book", "add", "lot"); !strings.Contains(out, "supplier_lot") || !strings.Contains(out, "F1 hybrid") {
		t.Errorf("fields of a lot: %s", out)
	}
	if out := ok(t, "plan", "--sow", "Squash:L:6", "--sow", "Squash:T:1:control", "--spacing", "0.9", "--out", filepath.Join(dir, "bed.html")); !strings.Contains(out, "59 plants") || !strings.Contains(out, "(control)") {
		t.Errorf("plan: %s", out)
	}
}

// What book show prints is what book remove takes.
func TestBookRemoveByShownNumber(t *testing.T) {
	dir := t.TempDir()
	bk := "--book=" + filepath.Join(dir, "x.book")
	ok(t, "run", "--from", handTable(t, 7, 3), "--out", filepath.Join(dir, "out"), bk, "--harvest", "2026", "--lot", "L-1")
	picture := filepath.Join(dir, "packet.jpg")
	if err := os.WriteFile(picture, []byte("not really a picture"), 0o600); err != nil {
		t.Fatal(err)
	}
	ok(t, "book", "note", bk, "harvest", "2026", "hail on 12 August")
	ok(t, "book", "picture", bk, picture, "--kind", "packet front", "--lot", "L-1")
	out := ok(t, "book", "show", bk, "2026")
	for _, want := range []string{"note 1, harvest 2026: hail on 12 August", "picture 1, lot L-1: packet front"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is not shown:\n%s", want, out)
		}
	}
	if all := ok(t, "book", "show", bk, "--notes"); !strings.Contains(all, "note 1") || !strings.Contains(all, "picture 1") {
		t.Errorf("book show --notes:\n%s", all)
	}
	ok(t, "book", "remove", bk, "note", "1")
	ok(t, "book", "remove", bk, "picture", "1")
	if out := ok(t, "book", "show", bk, "2026"); strings.Contains(out, "hail") || strings.Contains(out, "packet.jpg") {
		t.Errorf("still there:\n%s", out)
	}
}

// The words of a plant or group need no quotation marks, and too many words say what to do.
func TestObserveWithoutQuotes(t *testing.T) {
	bk := "--book=" + filepath.Join(t.TempDir(), "a.book")
	ok(t, "run", "-q", "--from", handTable(t, 3, 4), "--out", t.TempDir(), bk, "--harvest", "h")
	for _, c := range []struct {
		say  string
		code int
		want string
	}{
		{"plant 4 weight 4.2 kg", exitOK, "weight of plant 4 written: 4.2 kg"}, {"group 1 taste 7", exitOK, "taste of group 1 written: 7"},
		{"plant 4 weight 4.2", exitUsage, "has no unit"}, {"plant 4", exitUsage, "name fruit, trait and value"}, {"plant 4 disease mildew on leaves", exitUsage, "quotation marks"},
	} {
		out, errs, code := offtype(t, append([]string{"observe", bk, "h"}, strings.Fields(c.say)...)...)
		if code != c.code || !strings.Contains(out+errs, c.want) {
			t.Errorf("%s: exit %d, %s%s", c.say, code, out, errs)
		}
	}
	if _, errs, _ := offtype(t, "seed", bk, `Anna's "big" bed`); !strings.Contains(errs, `harvest "Anna's "big" bed"`) {
		t.Errorf("a name with quotation marks: %s", errs)
	}
}

// run knows from the book that the plants are of two seed lots, and which are control plants.
func TestRunKnowsTheLotsOfTheBook(t *testing.T) {
	dir := t.TempDir()
	bk, table, v := "--book="+filepath.Join(dir, "a.book"), handTable(t, 3, 6, 2), filepath.Join(dir, "v.yaml")
	ok(t, "describe", "--from", handTable(t, 4, 8), "--name", "A", "--species", "Cucurbita moschata", "--out", v)
	judge := []string{"run", "--from", table, "--variety", v, "--out", filepath.Join(dir, "out"), bk, "--harvest", "h", "--lot", "L1"}
	if said := ok(t, judge...); !strings.Contains(said, "rate in the whole seed lot") || strings.Contains(said, "seed lots") {
		t.Errorf("one lot:\n%s", said)
	}
	ok(t, "book", "add", bk, "lot", "L2", "supplier_lot=B7")
	ok(t, "book", "add", bk, "plant", "h/1", "lot=L2")
	ok(t, "book", "add", bk, "plant", "h/2", "lot=L2")
	ok(t, "book", "add", bk, "plant", "h/6", "control=yes")
	said, errs, _ := offtype(t, judge...)
	for _, want := range []string{"these plants are of 2 seed lots", "Seed lot B7: 1 off-type of 2 plants. The rate in it lies between 1.3 % and 99 %", "Seed lot L1: 0 off-type of 4 plants. The rate in it lies between 0 % and 60 %"} {
		if !strings.Contains(said, want) {
			t.Errorf("two lots: %q is not in\n%s", want, said)
		}
	}
	if strings.Contains(said, "rate in the whole seed lot") || !strings.Contains(errs, "the book has plant 6 as control") {
		t.Errorf("two lots:\n%s%s", said, errs)
	}
	page, err := os.ReadFile(filepath.Join(dir, "out", "report.html"))
	if err != nil || !strings.Contains(string(page), "Seed lot B7: 1 off-type of 2 plants") || strings.Contains(string(page), "off-types in the seed lot (95 %)") {
		t.Errorf("the page: %v", err)
	}
}
