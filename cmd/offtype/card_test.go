package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// verb runs the program in an empty folder and returns its exit status and what it printed.
func verb(t *testing.T, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = run(&env{ctx: context.Background(), out: &o, err: &e}, args)
	return code, o.String(), e.String()
}

func TestPrintedVerbs(t *testing.T) {
	dir := t.TempDir()
	file := func(n string) string { return filepath.Join(dir, n) }
	for _, c := range []struct {
		args []string
		code int
		file string
	}{
		{[]string{"card", "--out", file("a.pdf")}, exitOK, "a.pdf"},
		{[]string{"card", "--number", "9", "--paper", "letter", "--out", file("b.pdf"), "--json"}, exitOK, "b.pdf"},
		{[]string{"tags", "1-24", "--out", file("t.pdf")}, exitOK, "t.pdf"},
		{[]string{"lens", "--print", file("l.pdf")}, exitOK, "l.pdf"},
		{[]string{"card", "--number", "10", "--out", file("x.pdf")}, exitUsage, ""},
		{[]string{"card", "--paper", "a5", "--out", file("x.pdf")}, exitUsage, ""},
		{[]string{"tags", "0-3", "--out", file("x.pdf")}, exitUsage, ""},
		{[]string{"tags", "--out", file("x.pdf")}, exitUsage, ""},
		{[]string{"lens", "--out", file("x.json")}, exitUsage, ""},
		{[]string{"lens", file("a.pdf"), "--out", file("x.json")}, exitNothing, ""},
		{[]string{"card", "--out", filepath.Join(dir, "no such folder", "\x00.pdf")}, exitNothing, ""},
	} {
		code, out, errs := verb(t, c.args...)
		if code != c.code {
			t.Errorf("%v: exit status %d, want %d; %s%s", c.args, code, c.code, out, errs)
		}
		if c.file == "" {
			if errs == "" {
				t.Errorf("%v: says nothing", c.args)
			}
			continue
		}
		b, err := os.ReadFile(file(c.file))
		if err != nil || !bytes.HasPrefix(b, []byte("%PDF-")) {
			t.Errorf("%v: no PDF: %v", c.args, err)
		}
		if !strings.Contains(out, c.file) {
			t.Errorf("%v: printed %q", c.args, out)
		}
	}
	for _, x := range []string{"x.pdf", "x.json"} {
		if _, err := os.Stat(file(x)); err == nil {
			t.Errorf("%s was written in spite of an error", x)
		}
	}
}
