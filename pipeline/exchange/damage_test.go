package exchange

import (
	"archive/zip"
	"bytes"
	"runtime"
	"strings"
	"testing"
)

// boasting is the sample's workbook with a part more, of 20 packed bytes that say they are of 400 MB.
func boasting(t *testing.T) []byte {
	t.Helper()
	var b, out bytes.Buffer
	if err := WriteXLSX(&b, []Table{sample()}, Workbook{}); err != nil {
		t.Fatal(err)
	}
	r, err := zip.NewReader(bytes.NewReader(b.Bytes()), int64(b.Len()))
	if err != nil {
		t.Fatal(err)
	}
	w := zip.NewWriter(&out)
	for _, f := range r.File {
		if err := w.Copy(f); err != nil {
			t.Fatal(err)
		}
	}
	p, err := w.CreateRaw(&zip.FileHeader{Name: "xl/media/a.bin", Method: zip.Deflate, CompressedSize64: 20, UncompressedSize64: 400 << 20})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.Write(make([]byte, 20)); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// A small damaged workbook whose parts say that they are huge is refused before room is made for them.
func TestBoastingWorkbook(t *testing.T) {
	data := boasting(t)
	for name, read := range map[string]func(WorkbookFile) error{
		"tables": func(r WorkbookFile) error { _, err := ReadXLSX(r, []Table{blank(sample())}); return err },
		"texts":  func(r WorkbookFile) error { _, err := RawXLSX(r, ""); return err },
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		err := read(bytes.NewReader(data))
		runtime.ReadMemStats(&after)
		if err == nil || !strings.Contains(err.Error(), "damaged") {
			t.Errorf("%s: error %v", name, err)
		}
		if got := after.TotalAlloc - before.TotalAlloc; got > 50<<20 {
			t.Errorf("%s: %d MB for a file of %d bytes", name, got>>20, len(data))
		}
	}
}

// Ends of lines within a cell are the same after a second reading, whatever they were.
func TestLineEndsInCSV(t *testing.T) {
	in := blank(sample())
	got, err := ReadCSV(strings.NewReader("id,name\n1,\"a\r\r\nb\rc\r\nd\"\n"), in)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := WriteCSV(&b, got); err != nil {
		t.Fatal(err)
	}
	again, err := ReadCSV(&b, in)
	if err != nil {
		t.Fatal(err)
	}
	for i, f := range in.Fields {
		if f.Name == "name" && (got.Rows[0][i] != again.Rows[0][i] || got.Rows[0][i] != "a\nb\nc\nd") {
			t.Errorf("%q, then %q", got.Rows[0][i], again.Rows[0][i])
		}
	}
}
