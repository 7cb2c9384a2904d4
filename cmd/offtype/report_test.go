package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"offtype/pipeline/book"
)

// pdfText is the text of a PDF; the test is skipped where pdftotext is missing.
func pdfText(t *testing.T, path string) string {
	t.Helper()
	if _, err := exec.LookPath("pdftotext"); err != nil {
		t.Skip("pdftotext is not installed")
	}
	out, err := exec.Command("pdftotext", "-layout", path, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

const reportVariety = `format: 1
name: Example Tan
species: Cucurbita moschata
version: "7"
traits:
  length: {unit: mm, low: 200, high: 240}
  width: {unit: mm, low: 100, high: 130}
`

func TestReportOfFolder(t *testing.T) {
	dir := t.TempDir()
	v := filepath.Join(dir, "v.yaml")
	if err := os.WriteFile(v, []byte(reportVariety), 0o600); err != nil {
		t.Fatal(err)
	}
	res := filepath.Join(dir, "result")
	ok(t, "run", "--from", handTable(t, 3, 8, 4), "--variety", v, "--out", res, "--quiet")
	out := filepath.Join(dir, "r.pdf")
	said := ok(t, "report", res, "--out", out, "--supplier", "Example Seeds", "--lot", "LOT-55", "--grower", "Åse", "--date", "2026-11-01", "--control", "2")
	if !strings.Contains(said, out) || !strings.Contains(said, filepath.Join(dir, "r.html")) {
		t.Errorf("it says %q", said)
	}
	page, err := os.ReadFile(filepath.Join(dir, "r.html"))
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{string(page), pdfText(t, out)} {
		for _, want := range []string{"Example Seeds", "LOT-55", "Åse", "Example Tan", "2026-11-01", "200 – 240", "of 8 plants", "Control plants", "Clopper", "What this is not"} {
			if !strings.Contains(text, want) {
				t.Errorf("%q is missing", want)
			}
		}
	}
	// the same again is the same file
	again := filepath.Join(dir, "again.pdf")
	ok(t, "report", res, "--out", again, "--supplier", "Example Seeds", "--lot", "LOT-55", "--grower", "Åse", "--date", "2026-11-01", "--control", "2")
	a, _ := os.ReadFile(out)
	b, _ := os.ReadFile(again)
	if len(a) == 0 || string(a) != string(b) {
		t.Error("two reports of one day differ")
	}
}

func TestReportOfBook(t *testing.T) {
	dir := t.TempDir()
	v := filepath.Join(dir, "v.yaml")
	if err := os.WriteFile(v, []byte(reportVariety), 0o600); err != nil {
		t.Fatal(err)
	}
	b := filepath.Join(dir, "my.book")
	ok(t, "book", "add", "lot", "L1", "supplier=Example Seeds", "supplier_lot=B-9", "seed_left=12 seeds in the cellar", "--book", b)
	ok(t, "run", "--from", handTable(t, 4, 5), "--variety", v, "--out", filepath.Join(dir, "result"), "--quiet", "--book", b, "--harvest", "autumn", "--lot", "L1")
	ok(t, "book", "add", "grower", "Ola Normann", "place=Valley", "--book", b)
	ok(t, "book", "add", "harvest", "autumn", "grower=Ola Normann", "--book", b)
	decide(t, b, "autumn", book.Subject{Fruit: 1}, "verdict", "doubtful", "the packet says mixed")
	decide(t, b, "autumn", book.Subject{}, "group name", "1: Long necks", "")
	decide(t, b, "autumn", book.Subject{Fruit: 2}, "group", "1", "")
	out := filepath.Join(dir, "r.pdf")
	ok(t, "report", "autumn", "--book", b, "--out", out) // the book keeps the description of the verdicts
	text := pdfText(t, out)
	for _, want := range []string{"Ola Normann, Valley", "Example Seeds", "B-9, own code L1", "12 seeds in the cellar", "200 – 240", "verdict by hand", "the packet says mixed", "name of the group", "1: Long necks"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing", want)
		}
	}
	bench, wall := filepath.Join(dir, "bench.pdf"), filepath.Join(dir, "wall.pdf")
	ok(t, "report", "autumn", "--book", b, "--bench-sheet", bench, "--wall", wall)
	if s := pdfText(t, bench); !strings.Contains(s, "weight, g") || !strings.Contains(s, "rice grain") {
		t.Errorf("bench sheet:\n%s", s)
	}
	if s := pdfText(t, wall); !strings.Contains(s, "What grew here") {
		t.Errorf("wall sheet:\n%s", s)
	}
}

// decide keeps a decision by hand in a book, as the desk does.
func decide(t *testing.T, file, harvest string, s book.Subject, kind, value, why string) {
	t.Helper()
	b, err := book.Open(t.Context(), file, book.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	if err := b.AddDecision(t.Context(), harvest, s, kind, value, why, ""); err != nil {
		t.Fatal(err)
	}
}

func TestReportFailures(t *testing.T) {
	dir := t.TempDir()
	other := filepath.Join(dir, "other.yaml")
	if err := os.WriteFile(other, []byte(strings.Replace(reportVariety, `"7"`, `"8"`, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	v := filepath.Join(dir, "v.yaml")
	if err := os.WriteFile(v, []byte(reportVariety), 0o600); err != nil {
		t.Fatal(err)
	}
	res := filepath.Join(dir, "result")
	ok(t, "run", "--from", handTable(t, 5, 3), "--variety", v, "--out", res, "--quiet")
	for _, c := range []struct {
		name string
		args []string
		code int
		want string
	}{
		{"no such harvest", []string{"report", "nothing", "--book", filepath.Join(dir, "no.book")}, exitNothing, "no result folder either"},
		{"not a PDF", []string{"report", res, "--out", filepath.Join(dir, "x.txt")}, exitUsage, "must end in .pdf"},
		{"date", []string{"report", res, "--date", "tomorrow"}, exitUsage, "YYYY-MM-DD"},
		{"other version", []string{"report", res, "--variety", other}, exitUsage, `the verdicts used "Example Tan" version 7`},
		{"language", []string{"report", res, "--language", "tlh"}, exitUsage, "language"},
		{"broken result", []string{"report", func() string {
			d := filepath.Join(dir, "broken")
			_ = os.MkdirAll(d, 0o755)
			_ = os.WriteFile(filepath.Join(d, "fruits.csv"), []byte("what\n"), 0o600)
			return d
		}()}, exitNothing, "no known column"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, errs, code := offtype(t, c.args...)
			if code != c.code || !strings.Contains(errs, c.want) {
				t.Errorf("status %d, said %q; want %d and %q", code, errs, c.code, c.want)
			}
		})
	}
}
