package main

import (
	"bytes"
	"encoding/csv"
	"image"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// photoRows reads photos.csv: name → status, fruits and message.
func photoRows(t *testing.T, out string) map[string][3]string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(out, "photos.csv"))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	m := map[string][3]string{}
	for _, r := range rows[1:] {
		m[r[0]] = [3]string{r[1], r[2], r[11]}
	}
	return m
}

// Everything that can be wrong with a photo, among good ones: each has its line that says what is
// wrong and what to do, the good ones are complete, the status is 3.
func TestBadPhotosAmongGood(t *testing.T) {
	if testing.Short() {
		t.Skip("measures photos")
	}
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "photos")
	good := halfPhoto(t, 90)
	c := halfTableCard
	rightHalf := image.Rect(c.Min.X+c.Dx()/2, c.Min.Y, c.Max.X, c.Max.Y)
	threeQuarters := image.Rect(c.Min.X, c.Min.Y+c.Dy()/2-10, c.Max.X, c.Max.Y)
	put(t, good, dir, "a-good.jpg")
	put(t, good, dir, "b-copy.jpg")
	put(t, []byte("Dear photo, you are a letter.\n"), dir, "c-text.jpg")
	put(t, good[:len(good)/2], dir, "d-cut.jpg")
	put(t, nil, dir, "e-empty.jpg")
	put(t, halfPhoto(t, 90, c), dir, "f-nocard.jpg")
	put(t, halfPhoto(t, 90, rightHalf), dir, "g-halfcard.jpg")
	put(t, halfPhoto(t, 90, rightHalf, threeQuarters), dir, "h-cornercard.jpg")
	secret := put(t, halfPhoto(t, 89), dir, "i-secret.jpg")
	if err := os.Chmod(secret, 0); err != nil {
		t.Fatal(err)
	}
	put(t, halfPhoto(t, 88), dir, "j-good.jpg")
	if err := syscall.Mkfifo(filepath.Join(dir, "k-pipe.jpg"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(put(t, good[:1000], dir, "l-film.jpg"), 3<<30); err != nil {
		t.Fatal(err)
	}

	out := filepath.Join(t.TempDir(), "out")
	said, code := start(t, []string{plainUser + "=1"}, "run", "--out", out, dir)
	if code != exitPartly {
		t.Fatalf("status %d, want %d\n%s", code, exitPartly, said)
	}
	rows := photoRows(t, out)
	for name, want := range map[string][3]string{ // status, fruits, part of the message
		"a-good.jpg":       {"ok", "8", ""},
		"b-copy.jpg":       {"duplicate", "0", "the same photo as a-good.jpg"},
		"c-text.jpg":       {"failed", "0", ""},
		"d-cut.jpg":        {"failed", "0", "cut off"},
		"e-empty.jpg":      {"failed", "0", "empty"},
		"f-nocard.jpg":     {"failed", "0", "card"},
		"h-cornercard.jpg": {"failed", "0", "card"},
		"i-secret.jpg":     {"failed", "0", "permission denied"},
		"j-good.jpg":       {"ok", "8", ""},
		"k-pipe.jpg":       {"failed", "0", "not a file"}, // nobody writes to it: reading would wait for ever
		"l-film.jpg":       {"failed", "0", "larger than"},
	} {
		got, there := rows[name]
		if !there || got[0] != want[0] || got[1] != want[1] || !strings.Contains(got[2], want[2]) {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
		if want[0] != "failed" {
			continue
		}
		if !strings.Contains(got[2], ";") {
			t.Errorf("%s: %q does not say what to do", name, got[2])
		}
		if n := strings.Count(said, name+": "); n != 1 {
			t.Errorf("%s: %d lines on standard error, want 1\n%s", name, n, said)
		}
	}
	// Two markers of a card are enough: the half-covered card measures the same fruit or says why not.
	if got := rows["g-halfcard.jpg"]; got[0] == "failed" && !strings.Contains(got[2], "card") {
		t.Errorf("g-halfcard.jpg: %q", got)
	} else {
		t.Logf("card half covered: %q", got)
	}
}

// What stops a run before or after the photos: status and message.
func TestRunRefuses(t *testing.T) {
	dir := t.TempDir()
	bare := filepath.Join(dir, "bare")
	if err := os.MkdirAll(bare, 0o755); err != nil {
		t.Fatal(err)
	}
	put(t, []byte("notes"), bare, "notes.txt")
	text := put(t, []byte("no photo"), dir, "text.jpg")
	file := put(t, []byte("a file"), dir, "file")
	broken := put(t, []byte("format: 1\nname: [never closed\n"), dir, "broken.yaml")
	table := handTable(t, 1, 4)
	const variety = "../../testdata/demo/variety.yaml" // of Cucurbita moschata
	for _, c := range []struct {
		what string
		args []string
		code int
		says []string
	}{
		{"a folder without photos", []string{bare}, exitNothing, []string{"no photos in this folder", "JPEG"}},
		{"a photo that is not there", []string{filepath.Join(dir, "none.jpg")}, exitNothing, []string{"none.jpg", "check the name"}},
		{"only broken photos", []string{text}, exitNothing, []string{"text.jpg: "}},
		{"no photos named", nil, exitUsage, []string{"no photos named"}},
		{"a result folder that is a file", []string{"--out", file, text}, exitNothing, []string{"result folder", "--out"}},
		{"a broken description", []string{"--variety", broken, text}, exitUsage, []string{"broken.yaml", "line"}},
		{"a description that is not there", []string{"--variety", filepath.Join(dir, "none.yaml"), text}, exitUsage, []string{"none.yaml", "check the name"}},
		{"a description of another crop", []string{"--variety", variety, "--species", "Capsicum annuum", text}, exitUsage, []string{"Capsicum annuum", "Cucurbita moschata"}},
		{"the same for a table", []string{"--variety", variety, "--species", "Capsicum annuum", "--from", table}, exitUsage, []string{"Capsicum annuum"}},
		{"a table that is not there", []string{"--from", filepath.Join(dir, "none.csv")}, exitUsage, []string{"none.csv", "check the name"}},
		{"a table of nothing", []string{"--from", text}, exitUsage, []string{"text.jpg"}},
		{"a lens file that is none", []string{"--camera", file, text}, exitUsage, []string{"--camera", "offtype lens"}},
		{"card colours that are none", []string{"--card-colours", "0=" + file, text}, exitUsage, []string{"--card-colours"}},
		{"a share that is none", []string{"--shard", "3/2", text}, exitUsage, []string{"--shard"}},
		{"a card length that cannot be", []string{"--card-length", "10", text}, exitUsage, []string{"--card-length"}},
	} {
		args := append([]string{"run", "-q"}, c.args...)
		if !strings.Contains(strings.Join(args, " "), "--out") {
			args = append(args, "--out", filepath.Join(t.TempDir(), "out"))
		}
		_, errs, code := offtype(t, args...)
		if code != c.code {
			t.Errorf("%s: status %d, want %d\n%s", c.what, code, c.code, errs)
		}
		for _, s := range c.says {
			if !strings.Contains(errs, s) {
				t.Errorf("%s: the message lacks %q:\n%s", c.what, s, errs)
			}
		}
		if strings.Contains(errs, "goroutine ") {
			t.Errorf("%s: a stack trace in place of a message:\n%s", c.what, errs)
		}
	}
}

// A share to which no photo falls has nothing to do and has not failed: a scheduler would start it again for ever.
func TestShareWithoutPhotos(t *testing.T) {
	text := put(t, []byte("no photo"), t.TempDir(), "text.jpg")
	got := map[int]int{}
	for _, share := range []string{"1/3", "2/3", "3/3"} {
		_, errs, code := offtype(t, "run", "-q", "--shard", share, "--out", t.TempDir(), text)
		if got[code]++; (code == exitNothing) != strings.Contains(errs, "text.jpg: ") {
			t.Errorf("share %s: status %d\n%s", share, code, errs)
		}
	}
	if got[0] != 2 || got[exitNothing] != 1 {
		t.Errorf("statuses %v, want twice 0 and, of the share that holds the broken photo, %d", got, exitNothing)
	}
}
