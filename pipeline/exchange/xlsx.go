package exchange

import (
	"archive/zip"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"
)

// Limits of the XLSX format (ECMA-376 as spreadsheet programs apply it).
const (
	maxCell = 32767
	maxRows = 1 << 20
)

// Limits for workbooks from outside, in bytes unpacked.
const (
	maxUnzipped = 512 << 20
	maxSheet    = 256 << 20
)

// maxEmpty is how many empty rows in a sheet are passed over: one cell in the last row of a sheet would make a million.
const maxEmpty = 50_000

// Workbook says how a workbook is written.
type Workbook struct {
	Created time.Time // fixed, so that the same tables give the same bytes
	About   []string  // lines of a first sheet, when there are any
}

// WriteXLSX writes one sheet a table: typed cells, header in bold and frozen, a filter, columns
// as wide as their names. Texts are text cells, so that "=1+1" stays a text.
//
// A table of more than 1 048 575 rows or a text of more than 32 767 characters is an error.
func WriteXLSX(w io.Writer, tables []Table, opt Workbook) error {
	f := excelize.NewFile()
	defer f.Close()
	stamp := opt.Created.UTC().Format(time.RFC3339)
	if err := f.SetDocProps(&excelize.DocProperties{Created: stamp, Modified: stamp, Creator: "offtype"}); err != nil {
		return err
	}
	s, err := newStyles(f)
	if err != nil {
		return err
	}
	first := true
	sheet := func(name string) error {
		if first {
			first = false
			return f.SetSheetName("Sheet1", name)
		}
		_, err := f.NewSheet(name)
		return err
	}
	if len(opt.About) > 0 {
		if err := sheet("about"); err != nil {
			return err
		}
		for i, l := range opt.About {
			if err := f.SetCellStr("about", "A"+strconv.Itoa(i+1), l); err != nil {
				return err
			}
		}
		if err := f.SetColWidth("about", "A", "A", 100); err != nil {
			return err
		}
	}
	for _, t := range tables {
		if err := sheet(sheetName(t.Name)); err != nil {
			return err
		}
		if err := writeSheet(f, t, s); err != nil {
			return fmt.Errorf("table %q: %w", t.Name, err)
		}
	}
	f.SetActiveSheet(0)
	return f.Write(w)
}

// sheetName cuts a name to the 31 characters a sheet may have.
func sheetName(s string) string {
	if len(s) > 31 {
		return s[:31]
	}
	return s
}

type styles struct{ head, date int }

func newStyles(f *excelize.File) (s styles, err error) {
	if s.head, err = f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}, Fill: excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{"E8E8E8"}}}); err != nil {
		return s, err
	}
	iso := "yyyy-mm-dd"
	s.date, err = f.NewStyle(&excelize.Style{CustomNumFmt: &iso})
	return s, err
}

func writeSheet(f *excelize.File, t Table, s styles) error {
	if len(t.Rows) >= maxRows {
		return fmt.Errorf("%d rows; a sheet holds %d; use CSV", len(t.Rows), maxRows-1)
	}
	name := sheetName(t.Name)
	sw, err := f.NewStreamWriter(name)
	if err != nil {
		return err
	}
	for i, c := range t.Fields {
		if err := sw.SetColWidth(i+1, i+1, float64(max(10, min(40, utf8.RuneCountInString(c.Name)+3)))); err != nil {
			return err
		}
	}
	if err := sw.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	row := make([]any, len(t.Fields))
	for i, c := range t.Fields {
		row[i] = excelize.Cell{StyleID: s.head, Value: c.Name}
	}
	if err := sw.SetRow("A1", row); err != nil {
		return err
	}
	for n, r := range t.Rows {
		for i, v := range r {
			if row[i], err = cell(t.Fields[i], v, s); err != nil {
				return fmt.Errorf("row %d column %q: %w", n+1, t.Fields[i].Name, err)
			}
		}
		if err := sw.SetRow("A"+strconv.Itoa(n+2), row); err != nil {
			return err
		}
	}
	return sw.Flush()
}

func cell(f Field, v any, s styles) (any, error) {
	x, ok := v.(string)
	if !ok {
		return v, nil
	}
	if utf8.RuneCountInString(x) > maxCell {
		return nil, fmt.Errorf("text of %d characters; a cell holds %d; use CSV", utf8.RuneCountInString(x), maxCell)
	}
	if strings.ContainsFunc(x, func(r rune) bool { return r < ' ' && r != '\n' && r != '\t' && r != '\r' }) {
		return nil, errors.New("text with control characters; use CSV")
	}
	if f.Type == Date && x != "" {
		day, err := time.Parse(time.DateOnly, x)
		if err != nil {
			return nil, fmt.Errorf("%q is not a date", x)
		}
		return excelize.Cell{StyleID: s.date, Value: day}, nil
	}
	return x, nil
}

// mostDeflated is how many bytes one byte of a ZIP file can stand for: 1032 by the format of its packing (RFC 1951).
const mostDeflated = 1032

// WorkbookFile is what a workbook is read from: an open file, or a bytes.Reader.
type WorkbookFile interface {
	io.ReadSeeker
	io.ReaderAt
}

// openWorkbook opens a workbook that may be damaged or foreign. The file says how large each of its parts is unpacked, and
// the reader makes room for as much: a part that says more than its packed bytes can hold is refused.
func openWorkbook(r WorkbookFile) (*excelize.File, error) {
	size, err := r.Seek(0, io.SeekEnd)
	if err == nil && size > mostFile {
		err = tooLarge(mostFile)
	}
	if err == nil {
		_, err = r.Seek(0, io.SeekStart)
	}
	if err != nil {
		return nil, fmt.Errorf("read workbook: %w", err)
	}
	if z, err := zip.NewReader(r, size); err == nil {
		for _, p := range z.File {
			if packed := min(p.CompressedSize64, uint64(size)); p.UncompressedSize64 > mostDeflated*(packed+1) {
				return nil, fmt.Errorf("read workbook: its part %q is damaged; save it as .xlsx again and try again", p.Name)
			}
		}
	}
	f, err := excelize.OpenReader(r, excelize.Options{RawCellValue: true, UnzipSizeLimit: maxUnzipped, UnzipXMLSizeLimit: maxSheet})
	if err != nil {
		return nil, fmt.Errorf("read workbook: %w; save it as .xlsx and try again", err)
	}
	return f, nil
}

// ReadXLSX reads the sheets named like the tables; sheets that are missing give empty tables.
// Formula cells are read by the value that was saved with them.
func ReadXLSX(r WorkbookFile, tables []Table) ([]Table, error) {
	f, err := openWorkbook(r)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	have := map[string]bool{}
	for _, s := range f.GetSheetList() {
		have[s] = true
	}
	out := make([]Table, len(tables))
	for i, t := range tables {
		t.Rows = nil
		if have[sheetName(t.Name)] {
			if err := readSheet(f, &t); err != nil {
				return nil, err
			}
		}
		out[i] = t
	}
	return out, nil
}

func readSheet(f *excelize.File, t *Table) error {
	rows, err := f.Rows(sheetName(t.Name))
	if err != nil {
		return fmt.Errorf("table %q: %w", t.Name, err)
	}
	defer rows.Close()
	var cols []int
	empty := 0
	for n := 0; rows.Next(); n++ {
		rec, err := rows.Columns(excelize.Options{RawCellValue: true})
		if err != nil {
			return fmt.Errorf("table %q row %d: %w", t.Name, n, err)
		}
		for len(rec) > 0 && rec[len(rec)-1] == "" {
			rec = rec[:len(rec)-1]
		}
		if n == 0 {
			if cols, err = columns(*t, rec); err != nil {
				return err
			}
			continue
		}
		if len(rec) == 0 {
			if empty++; empty > maxEmpty {
				return fmt.Errorf("table %q row %d: more than %d empty rows; delete them and save again", t.Name, n, maxEmpty)
			}
			continue
		}
		if len(rec) > len(cols) {
			return fmt.Errorf("table %q row %d: a cell has no column name above it", t.Name, n)
		}
		for len(rec) < len(cols) {
			rec = append(rec, "")
		}
		for i := range rec {
			if t.Fields[cols[i]].Type == Date {
				rec[i] = SerialDate(rec[i])
			}
		}
		row, err := readRow(*t, cols, rec)
		if err != nil {
			return fmt.Errorf("table %q row %d: %w", t.Name, n, err)
		}
		t.Rows = append(t.Rows, row)
	}
	return rows.Error()
}

// SerialDate turns a spreadsheet's day number (days since 1899-12-30) into a date; other texts stay as they are.
func SerialDate(s string) string {
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || x < 1 || x > 2958465 {
		return s
	}
	return time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC).AddDate(0, 0, int(x)).Format(time.DateOnly)
}
