package exchange

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"
)

// MostRaw bounds a table of texts, in bytes: about a million fruit.
const MostRaw = 256 << 20

// mostFile bounds a table, workbook or JSON file of a book from outside, in bytes: several times the outlines of
// ten thousand fruit.
const mostFile = 512 << 20

// bounded reads from r until more than left bytes came.
type bounded struct {
	r    io.Reader
	left int64
}

func (b *bounded) Read(p []byte) (int, error) {
	n, err := b.r.Read(p)
	if b.left -= int64(n); b.left < 0 {
		return 0, tooLarge(mostFile)
	}
	return n, err
}

func tooLarge(most int) error {
	return fmt.Errorf("the file is larger than %d MB, which offtype does not read; split it", most>>20)
}

// RawCSV reads a table filled in by hand as texts, the header first. Comma, semicolon and tab are
// told apart by the header, since spreadsheet programs in many countries write semicolons.
func RawCSV(r io.Reader) ([][]string, error) {
	b, err := io.ReadAll(io.LimitReader(r, MostRaw+1))
	if err != nil {
		return nil, err
	}
	if len(b) > MostRaw {
		return nil, tooLarge(MostRaw)
	}
	b = bytes.TrimPrefix(b, []byte("\ufeff"))
	if !utf8.Valid(b) || bytes.IndexByte(b, 0) >= 0 {
		return nil, errors.New("the file is no table in UTF-8; save it as CSV UTF-8")
	}
	head, _, _ := bufio.NewReader(bytes.NewReader(b)).ReadLine()
	c := csv.NewReader(bytes.NewReader(b))
	c.FieldsPerRecord = -1
	for _, sep := range []rune{';', '\t'} {
		if strings.Count(string(head), string(sep)) > strings.Count(string(head), ",") {
			c.Comma = sep
		}
	}
	rows, err := c.ReadAll()
	if err != nil {
		return nil, err
	}
	for _, row := range rows {
		for i, s := range row {
			row[i] = Unguard(s)
		}
	}
	return rows, nil
}

// RawXLSX reads a sheet filled in by hand as texts, the header first; without a sheet of that name
// the first one is read. Days that the spreadsheet keeps as numbers stay numbers: see SerialDate.
func RawXLSX(r WorkbookFile, sheet string) ([][]string, error) {
	f, err := openWorkbook(r)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	list := f.GetSheetList()
	if len(list) == 0 {
		return nil, fmt.Errorf("read workbook: it has no sheet")
	}
	name := list[0]
	for _, s := range list {
		if s == sheet {
			name = s
		}
	}
	return f.GetRows(name, excelize.Options{RawCellValue: true})
}
