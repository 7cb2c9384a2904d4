package exchange

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
)

// WriteCSV writes the table as UTF-8 CSV with a header. Missing cells are empty. Texts that a
// spreadsheet would take for a formula get an apostrophe in front, which ReadCSV takes away.
func WriteCSV(w io.Writer, t Table) error {
	b := bufio.NewWriter(w)
	c := csv.NewWriter(b)
	row := make([]string, len(t.Fields))
	for i, f := range t.Fields {
		row[i] = f.Name
	}
	if err := c.Write(row); err != nil {
		return err
	}
	for n, r := range t.Rows {
		if len(r) != len(t.Fields) {
			return fmt.Errorf("table %q row %d: %d cells, want %d", t.Name, n+1, len(r), len(t.Fields))
		}
		for i, v := range r {
			s, err := text(v)
			if err != nil {
				return fmt.Errorf("table %q row %d column %q: %w", t.Name, n+1, t.Fields[i].Name, err)
			}
			if _, ok := v.(string); ok {
				s = Guard(s)
			}
			row[i] = s
		}
		if err := c.Write(row); err != nil {
			return err
		}
	}
	c.Flush()
	if err := c.Error(); err != nil {
		return err
	}
	return b.Flush()
}

// lineEnds makes all ends of lines within a cell "\n": the reader of CSV does so with "\r\n" only, and what is left of
// "\r\r\n" would be another text the next time.
var lineEnds = strings.NewReplacer("\r\n", "\n", "\r", "\n")

// ReadCSV reads rows for the table's fields; columns may come in any order and those that are not
// required may be left out. Errors name the row (1 is the first under the header).
func ReadCSV(r io.Reader, t Table) (Table, error) {
	c := csv.NewReader(bufio.NewReader(&bounded{r, mostFile}))
	c.ReuseRecord = true
	header, err := c.Read()
	if err != nil {
		return t, fmt.Errorf("table %q: no header: %w", t.Name, err)
	}
	cols, err := columns(t, header)
	if err != nil {
		return t, err
	}
	t.Rows = nil
	for n := 1; ; n++ {
		rec, err := c.Read()
		if errors.Is(err, io.EOF) {
			return t, nil
		}
		if err != nil {
			return t, fmt.Errorf("table %q row %d: %w", t.Name, n, err)
		}
		for i, cell := range rec {
			if t.Fields[cols[i]].Type == String {
				rec[i] = lineEnds.Replace(Unguard(cell))
			}
		}
		row, err := readRow(t, cols, rec)
		if err != nil {
			return t, fmt.Errorf("table %q row %d: %w", t.Name, n, err)
		}
		t.Rows = append(t.Rows, row)
	}
}

// readRow turns the cells of a record into typed cells in field order.
func readRow(t Table, cols []int, rec []string) ([]any, error) {
	row := make([]any, len(t.Fields))
	for i, s := range rec {
		v, err := parse(t.Fields[cols[i]], s)
		if err != nil {
			return nil, err
		}
		row[cols[i]] = v
	}
	return row, nil
}
