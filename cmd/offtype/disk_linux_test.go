package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// A full disk: the run fails with a message that says so, leaves no half-written file, and completes
// when there is room.
func TestDiskFull(t *testing.T) {
	if testing.Short() {
		t.Skip("measures photos")
	}
	small := t.TempDir()
	if err := syscall.Mount("offtype-test", small, "tmpfs", 0, "size=300k"); err != nil {
		t.Skipf("a small disk cannot be mounted here: %v", err)
	}
	defer func() { _ = syscall.Unmount(small, 0) }()
	photos, want, _ := calmHarvest(t)
	out := filepath.Join(small, "out")
	said, code := start(t, nil, "run", "--out", out, photos)
	if code == exitOK || !strings.Contains(said, "no space left on device") {
		t.Errorf("status %d, %q", code, said)
	}
	wholeTables(t, out)
	if left, _ := filepath.Glob(filepath.Join(out, "*", ".part-*")); len(left) > 0 {
		t.Errorf("unfinished files are left: %v", left)
	}
	if err := syscall.Mount("offtype-test", small, "tmpfs", syscall.MS_REMOUNT, "size=100m"); err != nil {
		t.Fatal(err)
	}
	if said, code := start(t, nil, "run", "--out", out, photos); code != exitOK {
		t.Errorf("with room again: status %d\n%s", code, said)
	}
	same(t, "with room again", results(t, out), want)
}

// A result folder that may not be written: said before the photos are measured, status 1.
func TestReadOnlyFolder(t *testing.T) {
	photos := harvest(t, 1)
	dir := filepath.Join(t.TempDir(), "locked")
	if err := os.MkdirAll(dir, 0o555); err != nil {
		t.Fatal(err)
	}
	for _, out := range []string{dir, filepath.Join(dir, "below")} {
		said, code := start(t, []string{plainUser + "=1"}, "run", "--out", out, photos)
		if code != exitNothing || !strings.Contains(said, "permission denied") || !strings.Contains(said, "--out") {
			t.Errorf("%s: status %d, %q", out, code, said)
		}
		if strings.Contains(said, "[1/1]") {
			t.Errorf("%s: the photo was measured all the same: %q", out, said)
		}
	}
}

// A result folder that turns read-only after it was begun: the photos fail, nothing is half written.
func TestReadOnlyPartsFolder(t *testing.T) {
	if testing.Short() {
		t.Skip("measures a photo")
	}
	t.Parallel()
	photos := harvest(t, 1)
	out := filepath.Join(t.TempDir(), "out")
	if err := os.MkdirAll(filepath.Join(out, "parts"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(filepath.Join(out, "parts"), 0o555); err != nil {
		t.Fatal(err)
	}
	said, code := start(t, []string{plainUser + "=1"}, "run", "--out", out, photos)
	if code != exitNothing || !strings.Contains(said, "permission denied") {
		t.Errorf("status %d, %q", code, said)
	}
	wholeTables(t, out)
}

// Photos that vanish, or shrink, after the run began: their own error, the others are complete.
func TestPhotosVanish(t *testing.T) {
	if testing.Short() {
		t.Skip("measures photos")
	}
	t.Parallel()
	photos := harvest(t, 3)
	out := filepath.Join(t.TempDir(), "out")
	c, said := child(t, nil, "run", "--workers", "1", "--out", out, photos)
	ended := begin(t, c)
	until(ended, out, "parts", "*.json") // the first is stored, the second on its way, the third waits
	if err := os.Remove(filepath.Join(photos, "table-3.jpg")); err != nil {
		t.Fatal(err)
	}
	<-ended
	if code := c.ProcessState.ExitCode(); code != exitPartly {
		t.Errorf("status %d\n%s", code, said)
	}
	if !strings.Contains(said.String(), "table-3.jpg: there is no such file") {
		t.Errorf("said %q", said)
	}
	b, err := os.ReadFile(filepath.Join(out, "photos.csv"))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"table-1.jpg,ok,8", "table-2.jpg,ok,8", "table-3.jpg,failed,0"} {
		if !strings.Contains(string(b), want) {
			t.Errorf("photos.csv lacks %q:\n%s", want, b)
		}
	}
}

// A clock that was set back, or photos from the future: resuming goes by the photos' bytes and the
// settings, never by a time, so everything is kept and no byte changes.
func TestClockDoesNotMatter(t *testing.T) {
	if testing.Short() {
		t.Skip("measures photos")
	}
	photos, want, _ := calmHarvest(t)
	out := filepath.Join(t.TempDir(), "out")
	if said, code := start(t, nil, "run", "--out", out, photos); code != exitOK {
		t.Fatalf("status %d\n%s", code, said)
	}
	for i, year := range []int{1980, 2060} {
		when := time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC)
		for k, files := range [3]string{filepath.Join(photos, "*"), filepath.Join(out, "parts", "*"), filepath.Join(out, "*")} {
			names, _ := filepath.Glob(files)
			for _, n := range names {
				if err := os.Chtimes(n, when, when.AddDate(80*((i+k)%2), 0, 0)); err != nil {
					t.Fatal(err)
				}
			}
		}
		said, code := start(t, nil, "run", "--out", out, photos)
		if code != exitOK || strings.Count(said, "measured before") != 2 {
			t.Errorf("year %d: status %d\n%s", year, code, said)
		}
		same(t, fmt.Sprint(year), results(t, out), want)
	}
}

// Too little memory: the program ends with an error or completes; it never leaves half a table, and
// a run with enough memory completes.
func TestMemoryLimit(t *testing.T) {
	if testing.Short() {
		t.Skip("measures photos")
	}
	photos, want, _ := calmHarvest(t)
	out := filepath.Join(t.TempDir(), "out")
	for _, mb := range []int{300, 1300, 1700} { // address space, of which Go reserves much without using it
		said, code := start(t, []string{fmt.Sprintf("%s=%d", memoryMB, mb)}, "run", "--out", out, photos)
		t.Logf("%d MB of address space: status %d, %.160q", mb, code, said)
		if code == exitOK {
			same(t, fmt.Sprintf("%d MB", mb), results(t, out), want)
		} else if said == "" {
			t.Errorf("%d MB: status %d without a word", mb, code)
		}
		wholeTables(t, out)
	}
	if said, code := start(t, []string{"GOMEMLIMIT=50MiB"}, "run", "--again", "--out", filepath.Join(out, "soft"), photos); code != exitOK {
		t.Errorf("GOMEMLIMIT: status %d\n%s", code, said)
	} else {
		same(t, "GOMEMLIMIT of 50 MiB", results(t, filepath.Join(out, "soft")), want)
	}
	if err := os.RemoveAll(filepath.Join(out, "soft")); err != nil {
		t.Fatal(err)
	}
	if said, code := start(t, nil, "run", "--out", out, photos); code != exitOK {
		t.Errorf("with memory again: status %d\n%s", code, said)
	}
	same(t, "with memory again", results(t, out), want)
}
