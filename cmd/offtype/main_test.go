package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"image"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"offtype/measure/geom"
	"offtype/pipeline"
	"offtype/pipeline/atomic"
	"offtype/pipeline/book"
	"offtype/pipeline/picture"
	"offtype/pipeline/record"
)

// full is a disk without room.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no space left on device") }

// What could not be printed is no success: a script would go on with half a result.
func TestPrintingFails(t *testing.T) {
	book := "--book=" + filepath.Join(t.TempDir(), "h.book")
	for _, args := range [][]string{
		{"run", "--from", handTable(t, 1, 4), "--out", t.TempDir()}, {"observe", "x", "--traits"}, {"plan", book, "--sow", "a:b:12"}, {"book", "add", book, "lot"},
	} {
		var errs bytes.Buffer
		code := run(&env{ctx: t.Context(), out: full{}, err: &errs}, args)
		if code != exitNothing || !strings.Contains(errs.String(), "no space left on device") {
			t.Errorf("offtype %s: status %d, %q", args[0], code, errs.String())
		}
	}
}

// Every verb that is stopped says so with status 130, not as a failure of its own.
func TestStoppedVerbs(t *testing.T) {
	dir := t.TempDir()
	book := "--book=" + filepath.Join(dir, "h.book")
	table := handTable(t, 1, 6)
	ok(t, "run", "--from", table, "--out", filepath.Join(dir, "a"), book, "--harvest", "a", "-q")
	photo := filepath.Join(dir, "p.jpg")
	if err := os.WriteFile(photo, []byte("no photo"), 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	for _, args := range [][]string{
		{"lens", photo}, {"card-check", photo}, {"book", "show", book, "a"}, {"seed", book, "a"}, {"report", book, "a", "--out", filepath.Join(dir, "r.pdf")},
		{"run", "--from", table, "--out", filepath.Join(dir, "b"), book, "--harvest", "b", "-q"},
	} {
		var out, errs bytes.Buffer
		if code := run(&env{ctx: ctx, out: &out, err: &errs}, args); code != exitStopped || strings.Contains(errs.String(), "context canceled") {
			t.Errorf("offtype %s: status %d, %q", args[0], code, errs.String())
		}
	}
}

// A run that was stopped is not recorded as if it were the harvest; its summary and its status are those of any
// stopped run.
func TestStoppedRunIsNotRecorded(t *testing.T) {
	book := filepath.Join(t.TempDir(), "h.book")
	ctx, stop := context.WithCancel(t.Context())
	stop()
	var out, errs bytes.Buffer
	e := &env{ctx: ctx, out: &out, err: &errs, now: time.Now}
	c := &runCmd{recordFlags: recordFlags{Book: book, Harvest: "a"}, Out: t.TempDir()}
	res := &pipeline.Result{Stopped: true, Run: &record.Run{Fruits: []record.Fruit{{Photo: "a", Number: 1}}, Photos: []record.Photo{{Name: "a", Status: record.StatusOK}}}}
	if code := status(e, c.done(e, res)); code != exitStopped || !strings.Contains(errs.String(), "what was finished is written") || !strings.Contains(out.String(), "1 fruit") {
		t.Errorf("status %d, %q, %q", code, errs.String(), out.String())
	}
	if _, err := os.Stat(book); err == nil {
		t.Error("a stopped run made a book")
	}
}

// The report bears the grower's day, not that of Greenwich.
func TestReportBearsTheLocalDay(t *testing.T) {
	dir := t.TempDir()
	ok(t, "run", "--from", handTable(t, 1, 4), "--out", dir, "-q")
	early := time.Date(2026, 11, 2, 0, 30, 0, 0, time.FixedZone("east", 2*3600)) // 1 November in UTC
	var out, errs bytes.Buffer
	if code := run(&env{ctx: t.Context(), out: &out, err: &errs, now: func() time.Time { return early }}, []string{"report", dir}); code != 0 {
		t.Fatalf("status %d, %s", code, errs.String())
	}
	page, err := os.ReadFile(filepath.Join(dir, "measurement-report.html"))
	if err != nil || !strings.Contains(string(page), "2026-11-02") || strings.Contains(string(page), "2026-11-01") {
		t.Errorf("the report does not bear 2026-11-02, %v", err)
	}
}

func TestWrongOptions(t *testing.T) {
	table := handTable(t, 1, 4)
	for _, args := range [][]string{
		{"run", "--from", table, "--card-length", "NaN"}, {"run", "--from", table, "--coin", "NaN"}, {"run", "--from", table, "--coin", "Inf"}, {"run", "--from", table, "--standard", "NaN"},
		{"run", "--from", table, "--acceptance", "100"}, {"run", "--from", table, "--shard", "1/3x"}, {"run", "--from", table, "--shard", "2"}, {"run", "--from", table, "--shard", "4/3"},
		{"run", "--from", table, "--card-colours", "12=a.txt"}, {"run", "--from", table, "--not-assessable", "3"}, {"run", "--from", table, "--groups", "-1"},
		{"merge", "--out", "x", "--standard", "0", "a"}, {"merge", "--out", "x", "--not-assessable", "3", "a"}, {"merge", "--out", "x", "--variety", "missing.yaml", "a"},
		{"plan", "--sow", "a:b:2000000000"}, {"plan", "--sow", "a:b:3", "--rate", "NaN"}, {"plan", "--sow", "a:b:3", "--length", "Inf", "--spacing", "1"}, {"plan", "--sow", "a:b:3", "--first-tag", "9223372036854775807"},
	} {
		if _, errs, code := offtype(t, append(args, "--json")...); code != exitUsage {
			t.Errorf("offtype %s: status %d, want %d\n%s", strings.Join(args, " "), code, exitUsage, errs)
		}
	}
}

// A harvest measured in shares is judged and shown with the same options as one of one machine.
func TestMergeTakesTheOptionsOfRun(t *testing.T) {
	share, out := t.TempDir(), t.TempDir()
	if err := os.MkdirAll(filepath.Join(share, "parts"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(share, "parts", "run.json"), []byte(`{"Program": "dev", "ShardI": 1, "ShardN": 1, "Parts": []}`), 0o600); err != nil {
		t.Fatal(err)
	}
	ok(t, "merge", "--white", "d50", "--stage", "cured", "--standard", "2", "--plants", "12", "--out", out, share)
	head, err := os.ReadFile(filepath.Join(out, "fruits.csv"))
	if err != nil || !strings.Contains(string(head), ",skin_l_d50,") {
		t.Errorf("fruits.csv has no colours for D50: %s %v", head, err)
	}
	variety := filepath.Join(t.TempDir(), "v.yaml")
	if err := os.WriteFile(variety, []byte(reportVariety), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, errs, code := offtype(t, "merge", "--variety", variety, "--species", "Cucumis melo", "--out", out, share); code != exitUsage || !strings.Contains(errs, "another crop") {
		t.Errorf("a description of another crop: status %d, %q", code, errs)
	}
}

// A harvest measured in shares is recorded in the book as one of one machine is, with how it was measured, so that the
// page can go on with it.
func TestMergeRecordsTheHarvest(t *testing.T) {
	share, out, file := t.TempDir(), t.TempDir(), filepath.Join(t.TempDir(), "h.book")
	none := record.None()
	part := pipeline.Part{Key: "aa", Photo: record.Photo{Name: "a.jpg", Width: 100, Height: 80, Status: record.StatusOK, Fruits: 1, SHA256: "abc"}, Fruits: []record.Fruit{{
		Photo: "a.jpg", Number: 1, Plant: "7", X: 50, Y: 30, Pose: record.Side, Length: record.Value{V: 200, U: 2}, Width: record.Value{V: 100, U: 1}, Ratio: record.Value{V: 2, U: .02},
		Midline: none, Bend: none, BroadestAt: none, Volume: none, Neck: none, Taper: none, Lopsided: none, SecondShare: none, GrooveDepth: none, Roughness: none, StalkLength: none,
		Outline: []geom.Px{{X: 10, Y: 10}, {X: 90, Y: 10}, {X: 50, Y: 70}}, Confidence: 1, Views: 1,
	}}}
	jpg, err := picture.JPEG(image.NewNRGBA(image.Rect(0, 0, 50, 40)), 80)
	if err != nil {
		t.Fatal(err)
	}
	list := map[string]any{"Program": "dev", "ShardI": 1, "ShardN": 1, "Measured": pipeline.Measuring{CardLength: 98.5, Pose: "side"}, "Parts": []pipeline.Part{part}}
	for name, v := range map[string]any{"run.json": list, "aa.json": part, "aa.jpg": jpg} {
		b, isPicture := v.([]byte)
		if !isPicture {
			if b, err = json.Marshal(v); err != nil {
				t.Fatal(err)
			}
		}
		if err := atomic.WriteBytes(filepath.Join(share, "parts", name), b); err != nil {
			t.Fatal(err)
		}
	}
	if _, errs, code := offtype(t, "merge", "--book", file, "--out", out, share); code != exitUsage || !strings.Contains(errs, "--harvest") {
		t.Errorf("a book and no harvest: status %d, %q", code, errs)
	}
	ok(t, "merge", "--book", file, "--harvest", "autumn", "--stage", "cured", "--out", out, share)
	b, err := book.Open(t.Context(), file, book.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	run, err := b.LoadRun(t.Context(), "autumn")
	if err != nil || len(run.Fruits) != 1 || len(run.Fruits[0].Outline) != 3 || run.Fruits[0].Plant != "7" {
		t.Errorf("recorded: %+v, %v", run.Fruits, err)
	}
	p, err := b.PlaceOf(t.Context(), "autumn")
	if err != nil || p.Result != out || p.Options.CardLength != 98.5 || p.Options.Pose != "side" || p.Options.Stage != "cured" {
		t.Errorf("place: %+v, %v", p, err)
	}
}
