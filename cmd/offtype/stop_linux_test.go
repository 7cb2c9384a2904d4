package main

import (
	"database/sql"
	"encoding/csv"
	"encoding/json"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	_ "modernc.org/sqlite" // holds a book as another program would
)

const calmPhotos = 2

// calm is what an undisturbed run over harvest(t, calmPhotos) writes, measured once, and how long
// it took.
var calm struct {
	results map[string]string
	took    time.Duration
}

// calmHarvest returns the photos of the undisturbed run, what it wrote and how long it took.
func calmHarvest(t *testing.T) (photos string, want map[string]string, took time.Duration) {
	t.Helper()
	photos = harvest(t, calmPhotos)
	if calm.results == nil {
		out := filepath.Join(t.TempDir(), "calm")
		began := time.Now()
		if said, code := start(t, nil, "run", "--out", out, photos); code != exitOK {
			t.Fatalf("undisturbed run: status %d\n%s", code, said)
		}
		calm.results, calm.took = results(t, out), time.Since(began)
	}
	return photos, calm.results, calm.took
}

// wholeTables checks that each table there is can be read to its end; half a file could not.
func wholeTables(t *testing.T, out string) {
	t.Helper()
	for _, name := range []string{"fruits.csv", "photos.csv", "groups.csv"} {
		f, err := os.Open(filepath.Join(out, name))
		if err != nil {
			continue // not written yet
		}
		rows, err := csv.NewReader(f).ReadAll()
		f.Close()
		if err != nil || len(rows) == 0 {
			t.Errorf("%s: %d rows, %v", name, len(rows), err)
		}
	}
	if b, err := os.ReadFile(filepath.Join(out, "judgement.json")); err == nil && !json.Valid(b) {
		t.Error("judgement.json is not whole")
	}
	if b, err := os.ReadFile(filepath.Join(out, "report.html")); err == nil && !strings.HasSuffix(strings.TrimSpace(string(b)), "</html>") {
		t.Error("report.html is not whole")
	}
}

// Ctrl-C and SIGTERM at random moments: status 130 with the finished photos in the tables, and the
// same command once more completes the harvest, byte for byte as if it had never been stopped.
func TestStoppedBySignal(t *testing.T) {
	if testing.Short() {
		t.Skip("measures photos")
	}
	photos, want, took := calmHarvest(t)
	r := rand.New(rand.NewPCG(7, 11))
	stopped := 0
	for _, sig := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM, syscall.SIGINT, syscall.SIGTERM} {
		out := filepath.Join(t.TempDir(), "out")
		c, said := child(t, nil, "run", "--workers", "1", "--out", out, photos)
		ended := begin(t, c)
		// The program listens for signals from its first lines on; the folder shows that it does.
		until(ended, out)
		time.Sleep(time.Duration(r.Float64() * 0.9 * float64(took)))
		_ = c.Process.Signal(sig)
		<-ended
		switch code := c.ProcessState.ExitCode(); code {
		case exitStopped:
			stopped++
			if !strings.Contains(said.String(), "what was finished is written") {
				t.Errorf("%v: %q does not say what became of the work", sig, said)
			}
			for _, name := range []string{"fruits.csv", "photos.csv", "groups.csv", "judgement.json", "report.html"} {
				if _, err := os.Stat(filepath.Join(out, name)); err != nil {
					t.Errorf("%v: %v", sig, err)
				}
			}
		case exitOK: // was done before the signal came
		default:
			t.Errorf("%v: status %d\n%s", sig, code, said)
		}
		wholeTables(t, out)
		if said, code := start(t, nil, "run", "--out", out, photos); code != exitOK {
			t.Errorf("run after %v: status %d\n%s", sig, code, said)
		}
		same(t, "run after "+sig.String(), results(t, out), want)
	}
	t.Logf("%d of 4 runs were stopped before their end", stopped)
}

// SIGKILL at random moments: no table is ever half written, and the next run completes the harvest.
func TestKilledAtRandom(t *testing.T) {
	if testing.Short() {
		t.Skip("measures photos")
	}
	photos, want, took := calmHarvest(t)
	r := rand.New(rand.NewPCG(5, 3))
	out := filepath.Join(t.TempDir(), "out")
	killed := 0
	for range 4 { // into one folder: what one leaves the next must cope with
		c, _ := child(t, nil, "run", "--again", "--out", out, photos)
		ended := begin(t, c)
		time.Sleep(time.Duration((0.2 + 0.8*r.Float64()) * float64(took)))
		_ = c.Process.Kill()
		<-ended
		if c.ProcessState.ExitCode() == -1 {
			killed++
		}
		wholeTables(t, out)
	}
	t.Logf("%d of 4 runs were killed before their end", killed)
	if said, code := start(t, nil, "run", "--out", out, photos); code != exitOK {
		t.Fatalf("run after the kills: status %d\n%s", code, said)
	}
	same(t, "run after the kills", results(t, out), want)
}

// Two runs into one folder at once: both end well and the tables are whole.
func TestTwoRunsInOneFolder(t *testing.T) {
	if testing.Short() {
		t.Skip("measures photos")
	}
	photos, want, _ := calmHarvest(t)
	out := filepath.Join(t.TempDir(), "out")
	one, saidOne := child(t, nil, "run", "--out", out, photos)
	two, saidTwo := child(t, nil, "run", "--out", out, photos)
	endOne, endTwo := begin(t, one), begin(t, two)
	if <-endOne; !one.ProcessState.Success() {
		t.Errorf("first: %v\n%s", one.ProcessState, saidOne)
	}
	if <-endTwo; !two.ProcessState.Success() {
		t.Errorf("second: %v\n%s", two.ProcessState, saidTwo)
	}
	same(t, "two runs", results(t, out), want)
}

// holdBook takes the write lock of a book until the returned function is called.
func holdBook(t *testing.T, path string) func() {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+path+"?_txlock=immediate")
	if err != nil {
		t.Fatal(err)
	}
	tx, err := db.Begin()
	if err != nil {
		t.Fatal(err)
	}
	return func() {
		_ = tx.Rollback()
		_ = db.Close()
	}
}

// A book that another program is writing to: the run waits for it (30 s at most) and then records.
func TestBookHeldForAWhile(t *testing.T) {
	dir := t.TempDir()
	table := handTable(t, 3, 6)
	bookFile := filepath.Join(dir, "h.book")
	ok(t, "run", "--from", table, "--out", filepath.Join(dir, "a"), "--book", bookFile, "--harvest", "first", "-q")
	release := holdBook(t, bookFile)
	out := filepath.Join(dir, "b")
	c, said := child(t, nil, "run", "--from", table, "--out", out, "--book", bookFile, "--harvest", "second", "-q")
	ended := begin(t, c)
	until(ended, out, "report.html")
	time.Sleep(100 * time.Millisecond) // it stands before the book now, or soon will; either is right
	release()
	if <-ended; !c.ProcessState.Success() {
		t.Fatalf("%v\n%s", c.ProcessState, said)
	}
	if list := ok(t, "book", "show", "--book", bookFile); !strings.Contains(list, "second") {
		t.Errorf("the second harvest is not in the book:\n%s", list)
	}
}

// A book that stays held: the result is written, the book is as it was, and the message says what to do.
func TestBookHeldForLong(t *testing.T) {
	if testing.Short() {
		t.Skip("waits 30 s for the book")
	}
	t.Parallel()
	dir := t.TempDir()
	table := handTable(t, 4, 6)
	bookFile := filepath.Join(dir, "h.book")
	ok(t, "run", "--from", table, "--out", filepath.Join(dir, "a"), "--book", bookFile, "--harvest", "first", "-q")
	release := holdBook(t, bookFile)
	defer release()
	out := filepath.Join(dir, "b")
	said, code := start(t, nil, "run", "--from", table, "--out", out, "--book", bookFile, "--harvest", "second", "-q")
	if code != exitNothing || !strings.Contains(said, "another program is writing to the book; try again") {
		t.Errorf("status %d, %q", code, said)
	}
	if _, err := os.Stat(filepath.Join(out, "fruits.csv")); err != nil {
		t.Errorf("the result was not written: %v", err)
	}
}
