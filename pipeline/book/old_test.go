package book

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A book written with the first version of the tables (testdata/version-1.book, made by the program of that
// version: an invented harvest of 6 fruit with one observation) opens, gets the newer tables and keeps
// what it held; the file itself is only copied here.
func TestOlderBook(t *testing.T) {
	ctx := context.Background()
	old, err := os.ReadFile("testdata/version-1.book")
	must(t, err)
	path := filepath.Join(t.TempDir(), "old.book")
	must(t, os.WriteFile(path, old, 0o600))
	b := open(t, path)
	p, err := newProvider(b.db)
	must(t, err)
	have, err := p.GetDBVersion(ctx)
	must(t, err)
	if src := p.ListSources(); have != src[len(src)-1].Version || have < 2 {
		t.Errorf("tables of version %d", have)
	}
	run, err := b.LoadRun(ctx, "2025")
	must(t, err)
	want := sample(3, 2, 3)
	if len(run.Fruits) != 6 || len(run.Photos) != 2 || len(run.Groups) != 6 {
		t.Fatalf("%d fruit, %d photos, %d groups", len(run.Fruits), len(run.Photos), len(run.Groups))
	}
	for i, f := range run.Fruits {
		if f.Length != want.Fruits[i].Length || f.Plant != want.Fruits[i].Plant || len(f.Outline) != 120 || f.Outline[5] != want.Fruits[i].Outline[5] {
			t.Errorf("fruit %d differs", i)
		}
	}
	h, err := b.Harvest(ctx, "2025")
	must(t, err)
	if len(h.Observations) != 1 || *h.Observations[0].Value != 11 || h.Lot.Code != "L-1" {
		t.Errorf("harvest: %+v", h)
	}
	var n int
	must(t, b.ro.QueryRow("SELECT count(*) FROM newest_values WHERE trait = 'length_mm' AND unit = 'mm'").Scan(&n))
	if n != 6 {
		t.Errorf("view of the newest values: %d lengths, want 6", n)
	}
	if problems, err := b.Check(ctx); err != nil || len(problems) > 0 {
		t.Errorf("check: %v %v", problems, err)
	}
	// It is recorded into as any other.
	got, err := b.RecordRun(ctx, "2025", "L-1", sample(4, 2, 3))
	must(t, err)
	if got.Revision != 2 {
		t.Errorf("revision %d, want 2", got.Revision)
	}
}

// A book of the version before the stage could be left empty opens with the stages it held and all that hangs on its
// harvests; a new harvest says nothing of its stage until somebody does.
func TestStageMayBeEmpty(t *testing.T) {
	ctx := context.Background()
	path := filepath.Join(t.TempDir(), "three.book")
	old, err := os.ReadFile("testdata/version-1.book")
	must(t, err)
	must(t, os.WriteFile(path, old, 0o600))
	db, err := sql.Open("sqlite", dsn(path, time.Second, "immediate"))
	must(t, err)
	db.SetMaxOpenConns(1)
	p, err := newProvider(db)
	must(t, err)
	_, err = p.UpTo(ctx, 3)
	must(t, err)
	_, err = db.Exec("INSERT INTO harvests (name, stage) VALUES ('kept', 'cured'), ('young ones', 'young')")
	must(t, err)
	var rows [2]int
	count := "SELECT (SELECT count(*) FROM fruits) + (SELECT count(*) FROM runs) + (SELECT count(*) FROM observations) + (SELECT count(*) FROM harvest_plantings)"
	must(t, db.QueryRow(count).Scan(&rows[0]))
	must(t, db.Close())

	b := open(t, path)
	must(t, b.ro.QueryRow(count).Scan(&rows[1]))
	if rows[0] == 0 || rows[0] != rows[1] {
		t.Errorf("%d rows hang on the harvests, %d before", rows[1], rows[0])
	}
	if problems, err := b.Check(ctx); err != nil || len(problems) > 0 {
		t.Errorf("check: %v %v", problems, err)
	}
	_, err = b.RecordRun(ctx, "new", "", sample(3, 1, 2))
	must(t, err)
	for name, want := range map[string]string{"2025": "at harvest", "kept": "cured", "young ones": "young", "new": ""} {
		if h, err := b.Harvest(ctx, name); err != nil || h.Stage != want {
			t.Errorf("%s: stage %q, want %q (%v)", name, h.Stage, want, err)
		}
	}
	for _, c := range []struct{ stage, fault string }{{"stored", ""}, {"", ""}, {"dried", "is none of: young"}} {
		err := b.Set(ctx, "harvest", "new", map[string]string{"stage": c.stage})
		if (err == nil) != (c.fault == "") || err != nil && !strings.Contains(err.Error(), c.fault) {
			t.Errorf("stage %q: %v", c.stage, err)
		}
	}
	if h, err := b.Harvest(ctx, "new"); err != nil || h.Stage != "" {
		t.Errorf("stage taken back: %q (%v)", h.Stage, err)
	}
	if _, err := b.db.Exec("UPDATE harvests SET stage = 'dried'"); err == nil {
		t.Error("the table takes any stage")
	}
}

// Two programs (processes) make the same new book and record the same harvest at the same time.
func TestTwoProcesses(t *testing.T) {
	path := filepath.Join(t.TempDir(), "two.book")
	var cmds []*exec.Cmd
	for range 2 {
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), "BOOK_TEST_RECORD="+path)
		cmd.Stderr = os.Stderr
		must(t, cmd.Start())
		cmds = append(cmds, cmd)
	}
	for i, cmd := range cmds {
		if err := cmd.Wait(); err != nil {
			t.Errorf("program %d: %v", i, err)
		}
	}
	b := open(t, path)
	run, err := b.LoadRun(context.Background(), "killed")
	must(t, err)
	sameRun(t, run, killRun())
	var runs int
	must(t, b.ro.QueryRow("SELECT count(*) FROM runs").Scan(&runs))
	if runs != 1 {
		t.Errorf("%d measurements, want 1", runs)
	}
}

// big is a book of 20 000 fruit on 1667 photos.
func big(b *testing.B) (*Book, string) {
	b.Helper()
	path := filepath.Join(b.TempDir(), "big.book")
	k := open(b, path)
	_, err := k.RecordRun(context.Background(), "big", "L", sample(1, 1667, 12))
	must(b, err)
	return k, path
}

func BenchmarkRecord20000(b *testing.B) {
	run := sample(1, 1667, 12)
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		i++
		path := filepath.Join(b.TempDir(), fmt.Sprintf("r%d.book", i))
		k := open(b, path)
		_, err := k.RecordRun(context.Background(), "big", "L", run)
		must(b, err)
		if _, err := k.db.Exec("PRAGMA wal_checkpoint(truncate)"); err != nil {
			b.Fatal(err)
		}
		st, err := os.Stat(path)
		must(b, err)
		b.ReportMetric(float64(st.Size())/20004, "bytes/fruit")
	}
}

func BenchmarkLoad20000(b *testing.B) {
	k, _ := big(b)
	for _, opt := range []LoadOptions{{}, {NoOutlines: true}} {
		b.Run(fmt.Sprintf("NoOutlines=%v", opt.NoOutlines), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				_, err := k.LoadRunWith(context.Background(), "big", opt)
				must(b, err)
			}
		})
	}
}

func BenchmarkExport20000(b *testing.B) {
	k, _ := big(b)
	b.ReportAllocs()
	for b.Loop() {
		_, err := k.Tables(context.Background(), ExportOptions{})
		must(b, err)
	}
}
