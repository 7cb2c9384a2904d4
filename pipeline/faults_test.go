package pipeline

import (
	"context"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"offtype/pipeline/record"
)

// ours counts the goroutines that run code of this project, this test's own left out.
func ours() (n int, stacks string) {
	b := make([]byte, 1<<20)
	b = b[:runtime.Stack(b, true)]
	for _, g := range strings.Split(string(b), "\n\n") {
		if strings.Contains(g, "offtype/") && !strings.Contains(g, "testing.tRunner") {
			n++
			stacks += g + "\n\n"
		}
	}
	return n, stacks
}

// noneLeft waits a little for goroutines on their way out and fails when some stay.
func noneLeft(t *testing.T) {
	t.Helper()
	var n int
	var stacks string
	for range 200 {
		if n, stacks = ours(); n == 0 {
			return
		}
		time.Sleep(5 * time.Millisecond)
	}
	t.Errorf("%d goroutines are left:\n%s", n, stacks)
}

// damage lists photos that cannot be measured, which is quick, and one that is not there.
func damage(t *testing.T, n int) []string {
	t.Helper()
	dir := t.TempDir()
	var photos []string
	for i := range n {
		p := filepath.Join(dir, "broken-"+string(rune('a'+i))+".jpg")
		if err := os.WriteFile(p, []byte("\xff\xd8\xff\xe0 broken "+p), 0o644); err != nil {
			t.Fatal(err)
		}
		photos = append(photos, p)
	}
	return append(photos, filepath.Join(dir, "none.jpg"))
}

// A run that ends, in any way, leaves no goroutine behind.
func TestNoGoroutineIsLeft(t *testing.T) {
	photos := damage(t, 6)
	t.Run("ended", func(t *testing.T) {
		if _, err := runInto(t, t.TempDir(), func(o *Options) { o.Workers = 4 }, photos...); err != nil {
			t.Fatal(err)
		}
		noneLeft(t)
	})
	t.Run("stopped before it began", func(t *testing.T) {
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		res, err := Run(ctx, Options{Inputs: photos, Out: t.TempDir(), Program: "test", CardLength: 100, Workers: 3})
		if err != nil {
			t.Fatal(err)
		}
		if !res.Stopped {
			t.Error("the result does not say that the run was stopped")
		}
		noneLeft(t)
	})
	t.Run("stopped in the middle", func(t *testing.T) {
		ctx, cancel := context.WithCancel(context.Background())
		defer cancel()
		o := Options{Inputs: photos, Out: t.TempDir(), Program: "test", CardLength: 100, Workers: 2, Progress: stopAfter{cancel}}
		if res, err := Run(ctx, o); err != nil || !res.Stopped {
			t.Fatalf("%+v, %v", res, err)
		}
		noneLeft(t)
	})
	t.Run("no result folder", func(t *testing.T) {
		file := filepath.Join(t.TempDir(), "file")
		if err := os.WriteFile(file, nil, 0o644); err != nil {
			t.Fatal(err)
		}
		if _, err := runInto(t, file, nil, photos...); err == nil {
			t.Error("a file was taken for the result folder")
		}
		noneLeft(t)
	})
}

// A stored result that was cut off, emptied or belongs to another photo is not taken.
func TestDamagedPartIsNotTaken(t *testing.T) {
	out := t.TempDir()
	key := strings.Repeat("ab", 16)
	p := &Part{Key: key, Photo: record.Photo{Name: "a.jpg", Status: record.StatusOK}}
	if err := writePart(out, p, []byte("preview")); err != nil {
		t.Fatal(err)
	}
	if _, ok := readPart(out, key); !ok {
		t.Fatal("a sound part was not taken")
	}
	file := partPath(out, key, ".json")
	whole := read(t, file)
	for at := range whole {
		if err := os.WriteFile(file, whole[:at], 0o644); err != nil {
			t.Fatal(err)
		}
		if _, ok := readPart(out, key); ok {
			t.Fatalf("a part cut off at byte %d of %d was taken", at, len(whole))
		}
	}
	if err := os.WriteFile(partPath(out, strings.Repeat("cd", 16), ".json"), whole, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, ok := readPart(out, strings.Repeat("cd", 16)); ok {
		t.Error("the part of another photo was taken")
	}
	if err := os.WriteFile(file, whole, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(partPath(out, key, ".jpg")); err != nil {
		t.Fatal(err)
	}
	if _, ok := readPart(out, key); ok {
		t.Error("a part without its preview was taken")
	}
}
