package report

import (
	"bytes"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"offtype/pipeline/record"
)

// write makes PDF and page of a document; with KEEP_REPORTS set it leaves them there to be looked at.
func write(t testing.TB, name string, d *Document) (pdf, page string) {
	t.Helper()
	dir := os.Getenv("KEEP_REPORTS")
	if dir == "" {
		dir = t.TempDir()
	}
	var a, b bytes.Buffer
	if err := d.Both(&a, &b); err != nil {
		t.Fatal(err)
	}
	pdf, page = filepath.Join(dir, name+".pdf"), filepath.Join(dir, name+".html")
	for p, x := range map[string][]byte{pdf: a.Bytes(), page: b.Bytes()} {
		if err := os.WriteFile(p, x, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return pdf, page
}

// tool runs a checking program of the system; the test is skipped where it is missing.
func tool(t testing.TB, name string, args ...string) string {
	t.Helper()
	if _, err := exec.LookPath(name); err != nil {
		t.Skipf("%s is not installed", name)
	}
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
	}
	return string(out)
}

func cases() map[string]func() *Document {
	return map[string]func() *Document{
		"sixty":  func() *Document { return synthetic(60).doc() },
		"one":    func() *Document { return synthetic(1).doc() },
		"none":   func() *Document { return synthetic(0).doc() },
		"letter": func() *Document { d := synthetic(9).doc(); d.Paper = "letter"; return d },
		"hard":   func() *Document { s := synthetic(30); d := s.doc(); s.hard(d); return d },
		"bare": func() *Document { // no description, nothing entered, no plants, photos gone
			s := synthetic(10)
			d := s.doc()
			s.run.Judgement.Variety, s.run.Judgement.Plants, d.Description, d.Entered, s.pics = nil, nil, nil, Entered{}, nil
			s.run.Judgement.Lot.Unit, s.run.Judgement.Lot.Rate = "fruit", nil
			return d
		},
	}
}

func TestPDFIsSound(t *testing.T) {
	for name, make := range cases() {
		t.Run(name, func(t *testing.T) {
			pdf, page := write(t, name, make())
			if out := tool(t, "qpdf", "--check", pdf); strings.Contains(out, "WARNING") {
				t.Errorf("qpdf --check: %s", out)
			}
			for i, l := range strings.Split(strings.TrimSpace(tool(t, "pdffonts", pdf)), "\n") {
				if f := strings.Fields(l); i >= 2 && (len(f) < 5 || f[len(f)-5] != "yes") {
					t.Errorf("font not embedded: %q", l)
				}
			}
			if st, err := os.Stat(pdf); err != nil || st.Size() > 15e6 {
				t.Errorf("size %d bytes, more than 15 MB", st.Size())
			}
			b, err := os.ReadFile(page)
			b = regexp.MustCompile(`base64,[^"]*`).ReplaceAll(b, nil)
			if err != nil {
				t.Fatal(err)
			}
			for _, bad := range []string{"NaN", "%!", "/home/someone"} {
				if strings.Contains(string(b), bad) {
					t.Errorf("the page holds %q", bad)
				}
			}
		})
	}
}

func TestTextIsSearchable(t *testing.T) {
	pdf, _ := write(t, "hard-text", cases()["hard"]())
	text := tool(t, "pdftotext", "-layout", pdf, "-")
	for _, want := range []string{"Page 1 of ", "What this is not", "Clopper", "1 % / 95 %", "SHA-256", "Checklist", "קיבוץ", "Ελληνικά", "Söhne <GmbH>", "plant 3", "ΔE00"} {
		if !strings.Contains(text, want) {
			t.Errorf("pdftotext does not find %q", want)
		}
	}
	for _, bad := range []string{"NaN", "%!", "{p:", "{nb}", "/home/someone"} {
		if strings.Contains(text, bad) {
			t.Errorf("the text holds %q", bad)
		}
	}
}

// TestBookmarks: every part and every fruit can be found in the reader's side bar.
func TestBookmarks(t *testing.T) {
	pdf, _ := write(t, "bookmarks", synthetic(9).doc())
	out := tool(t, "qpdf", "--json", "--json-key=outlines", pdf)
	for _, want := range []string{"What was found", "Table photos", "The seed lot", "What to do", "How it was measured", "Annex: a sheet for each fruit", "Fruit 1 of table-02.jpg"} {
		if !strings.Contains(out, `"`+want+`"`) {
			t.Errorf("no bookmark %q", want)
		}
	}
}

// TestSameBytes: the same input gives the same files.
func TestSameBytes(t *testing.T) {
	var first, firstPage []byte
	for range 3 {
		var a, b bytes.Buffer
		if err := synthetic(10).doc().Both(&a, &b); err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first, firstPage = a.Bytes(), b.Bytes()
		}
		if !bytes.Equal(first, a.Bytes()) || !bytes.Equal(firstPage, b.Bytes()) {
			t.Fatal("two reports of one harvest differ")
		}
	}
}

// TestPrivate: no places, no serial numbers, no paths.
func TestPrivate(t *testing.T) {
	pdf, page := write(t, "private", synthetic(9).doc())
	for _, p := range []string{pdf, page} {
		out := strings.ToLower(tool(t, "exiftool", "-a", "-G1", "-ee3", p))
		for _, bad := range []string{"gps", "serial", "/home/someone"} {
			if strings.Contains(out, bad) {
				t.Errorf("exiftool finds %q in %s", bad, filepath.Base(p))
			}
		}
	}
}

func TestSheets(t *testing.T) {
	cols := []BenchColumn{{Name: "weight", Unit: "g"}, {Name: "rind thumbnail", Words: []string{"soft", "dents", "hard"}}}
	for name, make := range cases() {
		d := make()
		var bench, wall bytes.Buffer
		if err := d.BenchSheet(&bench, cols); err != nil {
			t.Fatal(err)
		}
		if err := d.WallSheet(&wall); err != nil {
			t.Fatal(err)
		}
		dir := t.TempDir()
		if k := os.Getenv("KEEP_REPORTS"); k != "" {
			dir = k
		}
		for n, b := range map[string][]byte{"bench": bench.Bytes(), "wall": wall.Bytes()} {
			p := filepath.Join(dir, name+"-"+n+".pdf")
			if err := os.WriteFile(p, b, 0o644); err != nil {
				t.Fatal(err)
			}
			tool(t, "qpdf", "--check", p)
			if n == "wall" {
				if got := strings.TrimSpace(tool(t, "qpdf", "--show-npages", p)); got != "1" {
					t.Errorf("%s: the wall sheet has %s pages, want 1", name, got)
				}
			}
		}
	}
}

// A sheet for the bench takes nothing from the report that is made of the same document after it.
func TestSheetLeavesTheDocument(t *testing.T) {
	d := synthetic(9).doc()
	before := *d
	var b bytes.Buffer
	if err := d.WallSheet(&b); err != nil {
		t.Fatal(err)
	}
	if d.MostPhotos != before.MostPhotos || d.MostSheets != before.MostSheets {
		t.Errorf("after the sheet the report would show %d photos and %d sheets, was %d and %d", d.MostPhotos, d.MostSheets, before.MostPhotos, before.MostSheets)
	}
}

func TestUnknownChoices(t *testing.T) {
	d := synthetic(1).doc()
	d.Language = "xx"
	if err := d.PDF(&bytes.Buffer{}); err == nil || !strings.Contains(err.Error(), `language "xx"`) {
		t.Errorf("language: %v", err)
	}
	d.Language, d.Paper = "en", "a3"
	if err := d.PDF(&bytes.Buffer{}); err == nil || !strings.Contains(err.Error(), "a4 or letter") {
		t.Errorf("paper: %v", err)
	}
}

func BenchmarkSixtyFruit(b *testing.B) {
	s := synthetic(60)
	b.ReportAllocs()
	for b.Loop() {
		var pdf, page bytes.Buffer
		if err := s.doc().Both(&pdf, &page); err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(pdf.Len())/1e6, "PDF-MB")
		b.ReportMetric(float64(page.Len())/1e6, "page-MB")
	}
}

// TestWhiteBesideTheNumbers: every printed CIELAB value stands beside its white, and D50 on request is the value that
// testdata/reference/srgb_lab_check.csv gives for its row butternut_tan (computed outside this program).
func TestWhiteBesideTheNumbers(t *testing.T) {
	value := regexp.MustCompile(`L\*? (-?[0-9.]+) +a\*? (-?[0-9.]+) +b\*? (-?[0-9.]+)(.{0,8})`)
	for white, want := range map[record.White]string{record.D65: "71.6 6.0 30.5", record.D50: "71.9 8.3 30.8", "": "71.6 6.0 30.5"} {
		d := synthetic(4).doc()
		for i := range d.Run.Fruits {
			d.Run.Fruits[i].Skin = &record.Lab{L: 71.612389, A: 6.023793, B: 30.541917}
		}
		d.White = white
		_, file := write(t, "white"+white.String(), d)
		doc, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		pages, err := htmlPages(d.Run, d.Load, Options{White: white})
		if err != nil {
			t.Fatal(err)
		}
		for name, page := range map[string]string{"document": string(doc), "page": string(pages[0].Data)} {
			page = regexp.MustCompile(`base64,[^"]*`).ReplaceAllString(page, "") // a picture may hold any letters
			found, right := 0, 0
			for _, m := range value.FindAllStringSubmatch(strings.ReplaceAll(page, "&nbsp;", " "), -1) {
				found++
				if !strings.Contains(m[4], "("+white.String()+")") {
					t.Errorf("%s, %q: %q has no white", name, white, m[0])
				}
				if m[1]+" "+m[2]+" "+m[3] == want || name == "page" && m[1]+m[2]+m[3] == rounded(want) {
					right++
				}
			}
			if right < len(d.Run.Fruits) {
				t.Errorf("%s, %q: %d values, %d of them %s; %d fruit", name, white, found, right, want, len(d.Run.Fruits))
			}
			if strings.Contains(page, "%!") || name == "page" && !strings.Contains(page, "white "+white.String()+", 2°") {
				t.Errorf("%s, %q: the intro does not name the white", name, white)
			}
			if other := map[string]string{"D65": "D50", "D50": "D65"}[white.String()]; strings.Contains(page, other) {
				t.Errorf("%s, %q: speaks of %s", name, white, other)
			}
		}
	}
}

// rounded writes the three numbers without decimals.
func rounded(s string) (out string) {
	for _, w := range strings.Fields(s) {
		v, _ := strconv.ParseFloat(w, 64)
		out += strconv.FormatFloat(math.Round(v), 'f', 0, 64)
	}
	return out
}
