package pipeline

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestMergeEqualsOneMachine measures the same photos in one run and in two shares; the tables and
// the report must be the same bytes.
func TestMergeEqualsOneMachine(t *testing.T) {
	if testing.Short() {
		t.Skip("measures photos")
	}
	d := t.TempDir()
	photos := filepath.Join(d, "photos")
	for _, n := range []string{"demo-2025-table-1.jpg", "demo-2026-table-2.jpg"} {
		b := read(t, filepath.Join(scenes, n))
		touchBytes(t, filepath.Join(photos, n), b)
	}
	touchBytes(t, filepath.Join(photos, "z-copy.jpg"), read(t, filepath.Join(scenes, "demo-2025-table-1.jpg")))
	touchBytes(t, filepath.Join(photos, "broken.jpg"), []byte("no photo"))
	one := filepath.Join(d, "one")
	if _, err := runInto(t, one, nil, photos); err != nil {
		t.Fatal(err)
	}
	var dirs []string
	for i := 2; i >= 1; i-- {
		dir := filepath.Join(d, "share", string(rune('0'+i)))
		if _, err := runInto(t, dir, func(o *Options) { o.ShardI, o.ShardN = i, 2 }, photos); err != nil {
			t.Fatal(err)
		}
		dirs = append(dirs, dir)
	}
	if _, err := Merge(t.Context(), dirs[:1], Options{Out: filepath.Join(d, "half")}); err == nil || !strings.Contains(err.Error(), "is missing") {
		t.Errorf("merging one share of two: %v, want an error that names the missing one", err)
	}
	merged := filepath.Join(d, "merged")
	if _, err := Merge(t.Context(), dirs, Options{Out: merged}); err != nil {
		t.Fatal(err)
	}
	for _, n := range append(tables, filepath.Join("masks", "demo-2026-table-2.png")) {
		if !bytes.Equal(read(t, filepath.Join(one, n)), read(t, filepath.Join(merged, n))) {
			t.Errorf("%s differs between one machine and merged shares", n)
		}
	}
}

func touchBytes(t *testing.T, p string, b []byte) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(p), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(p, b, 0o644); err != nil {
		t.Fatal(err)
	}
}

// A merged folder is read back like that of one run: report and page find its photos, and another run into it goes on
// there.
func TestMergedFolderIsARun(t *testing.T) {
	share, out := t.TempDir(), t.TempDir()
	touchBytes(t, filepath.Join(share, "parts", "run.json"), []byte(`{"Program": "x", "Settings": "s", "ShardI": 1, "ShardN": 1, "Parts": [{"Photo": {"Name": "a/b.jpg", "Status": "failed", "Message": "cut off"}}]}`))
	if _, err := Merge(t.Context(), []string{share}, Options{Out: out}); err != nil {
		t.Fatal(err)
	}
	res, _, err := ReadResult(out)
	if err != nil {
		t.Fatal(err)
	}
	if ps := res.Run.Photos; len(ps) != 1 || ps[0].Name != "a/b.jpg" || ps[0].Message != "cut off" || res.Run.Program != "x" {
		t.Errorf("read back: %+v", res.Run)
	}
	if ps, err := Listed(out); err != nil || len(ps) != 1 {
		t.Errorf("listed: %v, %v", ps, err)
	}
}

// A share stays a share: merging into its folder would make it the whole run, and another merge would fail.
func TestMergeKeepsItsShares(t *testing.T) {
	share := t.TempDir()
	touchBytes(t, filepath.Join(share, "parts", "run.json"), []byte(`{"ShardI": 1, "ShardN": 1, "Parts": []}`))
	if _, err := Merge(t.Context(), []string{share}, Options{Out: filepath.Join(share, "parts", "..")}); !errors.Is(err, ErrUsage) || !strings.Contains(err.Error(), "another folder") {
		t.Errorf("merging into a share: %v", err)
	}
}

// The list of photos of a share may come from elsewhere: no name in it leads out of the result folder.
func TestMergeTakesNoForeignPaths(t *testing.T) {
	const key = "0123456789abcdef0123456789abcdef"
	for _, parts := range []string{
		`{"Key": "../../../evil", "Photo": {"Name": "a.jpg", "Status": "ok"}}`, `{"Key": "` + key + `", "Photo": {"Name": "../../evil.jpg", "Status": "ok"}}`,
		`{"Key": "` + key + `", "Photo": {"Name": "/tmp/evil.jpg", "Status": "ok"}}`, `{"Key": "` + key[1:] + `/", "Photo": {"Name": "a.jpg"}}`, `{"Key": "", "Photo": {"Name": ""}}`, `null`,
	} {
		share := t.TempDir()
		touchBytes(t, filepath.Join(share, "parts", "run.json"), []byte(`{"ShardI": 1, "ShardN": 1, "Parts": [`+parts+`]}`))
		if _, err := Merge(t.Context(), []string{share}, Options{Out: t.TempDir()}); err == nil || !strings.Contains(err.Error(), "damaged") {
			t.Errorf("%s: error %v", parts, err)
		}
	}
}

// Shares of different photos would make a harvest that lacks some: a folder that was not copied whole to one machine.
func TestMergeTakesOneListOfPhotos(t *testing.T) {
	d := t.TempDir()
	touch(t, d, "all/a.jpg", "all/b.jpg", "all/c.jpg", "some/a.jpg", "some/b.jpg")
	share := func(i int, photos string) string {
		dir := filepath.Join(d, photos+string(rune('0'+i)))
		if _, err := runInto(t, dir, func(o *Options) { o.ShardI, o.ShardN = i, 2 }, filepath.Join(d, photos)); err != nil {
			t.Fatal(err)
		}
		return dir
	}
	one, two, other := share(1, "all"), share(2, "all"), share(2, "some")
	if _, err := Merge(t.Context(), []string{one, other}, Options{Out: filepath.Join(d, "x")}); err == nil || !strings.Contains(err.Error(), "another list of photos") {
		t.Errorf("shares of different photos: %v", err)
	}
	res, err := Merge(t.Context(), []string{one, two}, Options{Out: filepath.Join(d, "y")})
	if err != nil || len(res.Run.Photos) != 3 {
		t.Errorf("shares of the same photos: %v", err)
	}
}
