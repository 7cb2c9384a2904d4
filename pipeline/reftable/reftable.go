// Package reftable reads the tables that tests compare with: CSV whose lines beginning with # name the source, then a row
// of column names. It is for tests only; those of measure and cluster may use it, since it knows nothing of the program.
package reftable

import (
	"encoding/csv"
	"os"
	"strconv"
	"testing"
)

// Rows reads the table at path: its column names, and its rows in their order. A table without rows ends the test.
func Rows(t testing.TB, path string) (head []string, rows [][]string) {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil || len(all) < 2 {
		t.Fatalf("reference table %s: %d rows, %v", path, len(all), err)
	}
	return all[0], all[1:]
}

// Records reads the table at path, each row by its column names.
func Records(t testing.TB, path string) []map[string]string {
	t.Helper()
	head, rows := Rows(t, path)
	out := make([]map[string]string, len(rows))
	for i, row := range rows {
		out[i] = map[string]string{}
		for k, c := range row {
			out[i][head[k]] = c
		}
	}
	return out
}

// Num reads a cell as a number.
func Num(t testing.TB, cell string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
