package exchange

import (
	"archive/zip"
	"bytes"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"
)

func sample() Table {
	return Table{
		Name: "fruits", Title: "Fruit", PrimaryKey: []string{"id"},
		Fields: []Field{
			{Name: "id", Type: Integer, Required: true}, {Name: "name", Type: String, Required: true}, {Name: "length_mm", Type: Number, Unit: "mm"},
			{Name: "sick", Type: Boolean}, {Name: "picked", Type: Date}, {Name: "note", Type: String},
		},
		Rows: [][]any{
			{int64(1), "courge d'été", 201.35, true, "2026-10-03", nil},
			{int64(2), "", 1.0 / 3, false, nil, "two\nlines, \"quoted\""},
			{int64(3), "=1+1", nil, nil, "1999-12-31", "'=cmd|' /C calc'!A0"},
			{int64(4), "+49", -0.1, nil, nil, "@SUM(A1)"},
			{int64(5), "قرع", 1e-9, true, nil, "-2"},
			{int64(6), "''=x", 123456789.125, nil, nil, "'plain"},
			{int64(1) << 40, "\tz", 5e300, nil, nil, "0012"},
		},
	}
}

func blank(t Table) Table { t.Rows = nil; return t }

func TestRoundTrips(t *testing.T) {
	want := sample()
	var b bytes.Buffer
	if err := WriteCSV(&b, want); err != nil {
		t.Fatal(err)
	}
	got, err := ReadCSV(&b, blank(want))
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("CSV (-want +got):\n%s", d)
	}

	b.Reset()
	if err := WriteJSON(&b, []Table{want}); err != nil {
		t.Fatal(err)
	}
	list, err := ReadJSON(&b, []Table{blank(want)})
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, list[0]); d != "" {
		t.Errorf("JSON (-want +got):\n%s", d)
	}

	b.Reset()
	if err := WriteXLSX(&b, []Table{want}, Workbook{About: []string{"invented"}}); err != nil {
		t.Fatal(err)
	}
	if list, err = ReadXLSX(bytes.NewReader(b.Bytes()), []Table{blank(want)}); err != nil {
		t.Fatal(err)
	}
	// A spreadsheet shows 15 digits, and so does the reader used here.
	digits := cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) <= 1e-15*math.Abs(a) })
	if d := cmp.Diff(want, list[0], digits); d != "" {
		t.Errorf("XLSX (-want +got):\n%s", d)
	}

	dir := filepath.Join(t.TempDir(), "p")
	if err := WritePackage(dir, Package{Name: "demo", Created: "2026-10-03T10:00:00Z", Tables: []Table{want}}); err != nil {
		t.Fatal(err)
	}
	if list, err = ReadPackage(dir, []Table{blank(want)}); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, list[0]); d != "" {
		t.Errorf("package (-want +got):\n%s", d)
	}
	// A cell changed in an editor is noticed.
	file := filepath.Join(dir, "fruits.csv")
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, bytes.Replace(text, []byte("201.35"), []byte("301.35"), 1), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := ReadPackage(dir, []Table{blank(want)}); err == nil || !strings.Contains(err.Error(), "changed") {
		t.Errorf("changed file: %v", err)
	}
}

// What a spreadsheet would run as a formula has an apostrophe before it in CSV and is a text cell
// in XLSX; numbers are never guarded.
func TestFormulas(t *testing.T) {
	var b bytes.Buffer
	if err := WriteCSV(&b, sample()); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{",'=1+1,", ",'+49,-0.1,", "'@SUM(A1)"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("CSV lacks %q:\n%s", want, b.String())
		}
	}
	b.Reset()
	if err := WriteXLSX(&b, []Table{sample()}, Workbook{}); err != nil {
		t.Fatal(err)
	}
	sheet := part(t, b.Bytes(), "xl/worksheets/sheet1.xml")
	if strings.Contains(sheet, "<f>") {
		t.Error("XLSX holds a formula")
	}
	for _, want := range []string{`state="frozen"`, `ySplit="1"`, `t="b"`, `<v>201.35</v>`, "=1+1</t>"} {
		if !strings.Contains(sheet, want) {
			t.Errorf("XLSX lacks %q", want)
		}
	}
}

func TestSameBytes(t *testing.T) {
	var a, b bytes.Buffer
	opt := Workbook{Created: time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)}
	for _, w := range []io.Writer{&a, &b} {
		if err := WriteXLSX(w, []Table{sample()}, opt); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("two workbooks of the same table differ")
	}
}

func part(t *testing.T, b []byte, name string) string {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	f, err := z.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	text, err := io.ReadAll(f)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func TestRefusals(t *testing.T) {
	for _, c := range []struct{ name, csv, want string }{
		{"empty", "", "no header"},
		{"unknown column", "id,name,colour\n", `column "colour" is not known`},
		{"twice", "id,name,id\n", "twice"},
		{"required missing", "name\n", `column "id" is missing`},
		{"not a number", "id,name,length_mm\n1,a,long\n", `row 1: column "length_mm": "long" is not a number`},
		{"not finite", "id,name,length_mm\n1,a,NaN\n", "is not a number"},
		{"empty key", "id,name\n,a\n", "row 1: column \"id\" is empty"},
		{"date", "id,name,picked\n1,a,3.10.2026\n", "not a date"},
		{"cells", "id,name\n1,a,2\n", "row 1"},
	} {
		if _, err := ReadCSV(strings.NewReader(c.csv), blank(sample())); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want %q", c.name, err, c.want)
		}
	}
	for _, text := range []string{`{}`, `{"resources": []}`, `{"resources": [{"name": "Bad Name", "path": "a.csv"}]}`, `{"resources": [{"name": "a", "path": "../a.csv"}]}`,
		`{"resources": [{"name": "a", "path": "a.csv", "schema": {"fields": [{"name": "x", "type": "float"}]}}]}`} {
		if err := CheckDescriptor([]byte(text)); err == nil {
			t.Errorf("descriptor accepted: %s", text)
		}
	}
}

func FuzzReadCSV(f *testing.F) {
	var b bytes.Buffer
	if err := WriteCSV(&b, sample()); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add([]byte("id,name\n1,\"a\n"))
	f.Fuzz(func(t *testing.T, in []byte) {
		got, err := ReadCSV(bytes.NewReader(in), blank(sample()))
		if err != nil {
			return
		}
		// What was read can be written and read again and is the same.
		var b bytes.Buffer
		if err := WriteCSV(&b, got); err != nil {
			t.Fatal(err)
		}
		again, err := ReadCSV(bytes.NewReader(b.Bytes()), blank(sample()))
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(got, again); d != "" {
			t.Errorf("differs:\n%s", d)
		}
	})
}

// One cell in the last row of a sheet makes a million empty rows before it: that is refused, a few empty rows are not.
func TestXLSXEmptyRows(t *testing.T) {
	for row, ok := range map[int]bool{100: true, 1 << 20: false} {
		var b bytes.Buffer
		if err := WriteXLSX(&b, []Table{sample()}, Workbook{}); err != nil {
			t.Fatal(err)
		}
		w, err := excelize.OpenReader(&b)
		if err != nil {
			t.Fatal(err)
		}
		if err := w.SetCellValue(sheetName(sample().Name), "A"+strconv.Itoa(row), "7"); err != nil {
			t.Fatal(err)
		}
		var far bytes.Buffer
		if err := w.Write(&far); err != nil {
			t.Fatal(err)
		}
		w.Close()
		_, err = ReadXLSX(bytes.NewReader(far.Bytes()), []Table{blank(sample())})
		if refused := err != nil && strings.Contains(err.Error(), "empty rows"); refused == ok {
			t.Errorf("a cell in row %d: %v", row, err)
		}
	}
}

func FuzzReadXLSX(f *testing.F) {
	var b bytes.Buffer
	if err := WriteXLSX(&b, []Table{sample()}, Workbook{}); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add([]byte("PK\x03\x04"))
	f.Fuzz(func(t *testing.T, in []byte) {
		ReadXLSX(bytes.NewReader(in), []Table{blank(sample())})
	})
}

// A foreign JSON file that puts the wrong thing into a column is an error that names it, whatever the reader of the
// table expects there.
func TestJSONTypes(t *testing.T) {
	for _, c := range []struct {
		cells string
		ok    bool
	}{
		{`"id": 1, "name": "a", "sick": true, "picked": "2026-10-03"`, true},
		{`"id": 1, "name": true`, false},
		{`"id": true, "name": "a"`, false},
		{`"id": 1, "name": "a", "length_mm": false`, false},
		{`"id": 1, "name": "a", "length_mm": "long"`, false},
		{`"id": 1, "name": "a", "sick": "yes"`, false},
		{`"id": 1, "name": "a", "picked": "in autumn"`, false},
		{`"id": 1, "name": ["a"]`, false},
	} {
		text := `{"format": "offtype tables 1", "tables": {"fruits": [{` + c.cells + `}]}}`
		if _, err := ReadJSON(strings.NewReader(text), []Table{blank(sample())}); (err == nil) != c.ok {
			t.Errorf("%s: error %v", c.cells, err)
		} else if err != nil && !strings.Contains(err.Error(), "row 1") {
			t.Errorf("%s: %v does not name the row", c.cells, err)
		}
	}
}

// endless is a file of which the system says that it is too large.
type endless struct{ *strings.Reader }

func (endless) Seek(int64, int) (int64, error) { return mostFile + 1, nil }

// A table or workbook that is larger than any book's is refused before it fills the memory.
func TestForeignFilesHaveALimit(t *testing.T) {
	for n, ok := range map[int]bool{99: true, 100: true, 101: false, 100000: false} {
		_, err := io.Copy(io.Discard, &bounded{strings.NewReader(strings.Repeat(" ", n)), 100})
		if (err == nil) != ok || err != nil && !strings.Contains(err.Error(), "split it") {
			t.Errorf("%d bytes of 100: %v", n, err)
		}
	}
	text := `{"format": "offtype tables 1", "tables": {}}` + "\n"
	if _, err := ReadJSON(&bounded{strings.NewReader(text), 10}, nil); err == nil || !strings.Contains(err.Error(), "larger than 512 MB") {
		t.Errorf("the reason is lost on the way: %v", err)
	}
	if _, err := ReadXLSX(endless{strings.NewReader(text)}, nil); err == nil || !strings.Contains(err.Error(), "larger than 512 MB") {
		t.Errorf("the reason is lost on the way: %v", err)
	}
}
