package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"offtype/cluster/reference"
)

// measured is a table of hand measurements: the fixed columns that are known, the rest left empty.
func measured(t *testing.T, dir string) string {
	t.Helper()
	var b strings.Builder
	b.WriteString("photo,fruit,plant,length_mm,width_mm,ratio\n")
	for i, r := range []string{"1,210,110,1.909", "1,215,112,1.920", "2,204,108,1.889", "2,220,111,1.982", "3,208,109,1.908", "3,212,113,1.876"} {
		b.WriteString("by hand," + string(rune('1'+i)) + "," + r + "\n")
	}
	file := filepath.Join(dir, "fruits.csv")
	if err := os.WriteFile(file, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	return file
}

func TestDescribe(t *testing.T) {
	dir := t.TempDir()
	file := func(n string) string { return filepath.Join(dir, n) }
	csv := measured(t, dir)
	broken := file("broken.yaml")
	if err := os.WriteFile(broken, []byte("format: 1\nname: A\nspecies: B\nversion: \"1\"\ntraits:\n  length: {low: 9, high: 3}\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	hand := file("hand.yaml")
	filled := strings.NewReplacer("name: Name of the variety", "name: A", "#species", "species", "  #bend", "  bend").Replace(reference.Template)
	if err := os.WriteFile(hand, []byte(filled), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		args []string
		code int
		says string
	}{
		{"template", []string{"--new", file("new.yaml")}, exitOK, "Fill it in"},
		{"the template as it is says nothing", []string{"--check", file("new.yaml")}, exitUsage, "fill in the name"},
		{"not over an existing file", []string{"--new", file("new.yaml")}, exitUsage, "not overwritten"},
		{"learnt", []string{"--from", csv, "--name", "A", "--species", "Cucurbita moschata", "--out", file("learnt.yaml")}, exitOK, "3 plants"},
		{"learnt from a folder", []string{"--from", dir, "--plants", "1,2", "--name", "A", "--species", "Cucurbita moschata", "--out", file("two.yaml")}, exitOK, "2 plants"},
		{"learnt file is valid", []string{"--check", file("learnt.yaml")}, exitOK, "no fault found"},
		{"with hand-written traits", []string{"--from", csv, "--base", hand, "--name", "A", "--species", "B", "--out", file("both.yaml")}, exitOK, ""},
		{"words", []string{"--packet", "20 to 25 cm long, tan, plain", "--name", "A", "--species", "B", "--out", file("words.yaml")}, exitOK, "not from measurements"},
		{"words not understood", []string{"--packet", "about 8 inches, buff skin, 3 lb", "--name", "X", "--species", "Cucurbita moschata", "--out", file("pk2.yaml")}, exitOK, "Taken: colour buff. Not understood: about 8 inches, 3 lb."},
		{"no such plant", []string{"--from", csv, "--plants", "9", "--name", "A", "--species", "B", "--out", file("x.yaml")}, exitUsage, `plant "9"`},
		{"no name", []string{"--from", csv, "--out", file("x.yaml")}, exitUsage, "--name"},
		{"nothing asked", nil, exitUsage, "give one of"},
		{"two ways", []string{"--new", file("x.yaml"), "--check", broken}, exitUsage, "give one of"},
		{"no such table", []string{"--from", file("none.csv"), "--name", "A", "--species", "B", "--out", file("x.yaml")}, exitUsage, "cannot be read"},
		{"broken", []string{"--check", broken}, exitUsage, "line 6: length: low (9) is above high (3); exchange them"},
	} {
		code, out, errs := verb(t, append([]string{"describe"}, c.args...)...)
		if code != c.code || !strings.Contains(out+errs, c.says) {
			t.Errorf("%s: exit %d, %q %q; want %d and %q", c.name, code, out, errs, c.code, c.says)
		}
	}
	if _, err := os.Stat(file("x.yaml")); err == nil {
		t.Error("a failed command left a file")
	}
}

// A harvest that taught a description is known by its photos, also when it was measured with another scale since.
func TestTeachersAreKnownByTheirPhotos(t *testing.T) {
	dir := t.TempDir()
	photo, out, v := filepath.Join("..", "..", "testdata", "scenes", "demo-2025-table-1.jpg"), filepath.Join(dir, "result"), filepath.Join(dir, "v.yaml")
	ok(t, "run", "-q", "--out", out, photo)
	ok(t, "describe", "--from", out, "--plants", "1,2", "--name", "A", "--species", "Cucurbita moschata", "--out", v)
	for _, length := range []string{"100", "99.8"} {
		said := ok(t, "run", "--card-length", length, "--variety", v, "--out", out, photo)
		if !strings.Contains(said, "Plants 1 and 2 of this harvest taught the description") || strings.Contains(said, "rate in the whole seed lot") {
			t.Errorf("card line of %s mm:\n%s", length, said)
		}
	}
}
