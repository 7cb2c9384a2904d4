package book

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"offtype/pipeline/exchange"
	"offtype/pipeline/record"
)

// TestMain lets the test program record a run as a program of its own, to be killed.
func TestMain(m *testing.M) {
	if path := os.Getenv("BOOK_TEST_RECORD"); path != "" {
		b, err := Open(context.Background(), path, Options{Now: clock})
		if err == nil {
			fmt.Println("open")
			_, err = b.RecordRun(context.Background(), "killed", "L", killRun())
			b.Close()
		}
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

func killRun() record.Run { return sample(5, 24, 5) }

// dump gives everything a book holds, without the row numbers that depend on the way it came there.
func dump(t *testing.T, b *Book) map[string][][]any {
	t.Helper()
	tables, err := b.Tables(context.Background(), ExportOptions{})
	must(t, err)
	out := map[string][][]any{}
	for _, x := range tables {
		out[x.Name] = withoutIDs(x)
	}
	return out
}

func withoutIDs(x exchange.Table) [][]any {
	var rows [][]any
	for _, r := range x.Rows {
		var row []any
		for i, f := range x.Fields {
			if f.Name == "id" || len(f.Name) > 3 && f.Name[len(f.Name)-3:] == "_id" || f.Name == "revision" {
				continue
			}
			row = append(row, r[i])
		}
		rows = append(rows, row)
	}
	return rows
}

// The recording is killed (SIGKILL) at a random moment, fifty times. Each time the book must be sound, hold
// no photo with part of its fruit and show no unfinished run; the next recording must complete it,
// and then it equals a book that was never disturbed.
func TestKilled(t *testing.T) {
	ctx := context.Background()
	times := 50
	if testing.Short() {
		times = 8
	}
	want := killRun()
	calm := open(t, filepath.Join(t.TempDir(), "calm.book"))
	_, err := calm.RecordRun(ctx, "killed", "L", want)
	must(t, err)
	undisturbed := dump(t, calm)

	start := func(path string) *exec.Cmd {
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), "BOOK_TEST_RECORD="+path)
		must(t, cmd.Start())
		return cmd
	}
	began := time.Now()
	cmd := start(filepath.Join(t.TempDir(), "timed.book"))
	must(t, cmd.Wait())
	whole := time.Since(began)

	rng := rand.New(rand.NewPCG(1, 2))
	killed, within := 0, 0
	for i := range times {
		path := filepath.Join(t.TempDir(), fmt.Sprintf("k%d.book", i))
		cmd := start(path)
		time.Sleep(time.Duration(rng.Float64() * float64(whole)))
		cmd.Process.Kill()
		if cmd.Wait() != nil {
			killed++
		}
		b := open(t, path)
		var broken string
		must(t, b.ro.QueryRow("PRAGMA integrity_check").Scan(&broken))
		if broken != "ok" {
			t.Fatalf("kill %d: integrity: %s", i, broken)
		}
		var photos, half int
		must(t, b.ro.QueryRow(`SELECT count(*), coalesce(sum((SELECT count(*) FROM measurements m WHERE m.photo_id = p.id) <> 5), 0) FROM photos p`).Scan(&photos, &half))
		if half > 0 {
			t.Fatalf("kill %d: %d of %d photos half recorded", i, half, photos)
		}
		if photos > 0 && photos < 24 {
			within++
		}
		_, err := b.RecordRun(ctx, "killed", "L", want)
		must(t, err)
		if problems, err := b.Check(ctx); err != nil || len(problems) > 0 {
			t.Fatalf("kill %d: after completing: %v %v", i, problems, err)
		}
		run, err := b.LoadRun(ctx, "killed")
		must(t, err)
		sameRun(t, run, want)
		if got := dump(t, b); fmt.Sprint(got) != fmt.Sprint(undisturbed) {
			t.Fatalf("kill %d: book differs from an undisturbed one:\n%s", i, cmp.Diff(undisturbed, got))
		}
		b.Close()
		if t.Failed() {
			t.FailNow()
		}
	}
	t.Logf("%d recordings, %d killed before their end, %d of them between the first and the last photo", times, killed, within)
	if within == 0 {
		t.Error("no kill fell within the recording: the test shows nothing")
	}
}
