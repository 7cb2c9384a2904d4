package pipeline

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func touch(t *testing.T, dir string, names ...string) {
	t.Helper()
	for _, n := range names {
		p := filepath.Join(dir, filepath.FromSlash(n))
		if err := os.MkdirAll(filepath.Dir(p), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(p, []byte("x"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func TestFindInputsOrderAndNames(t *testing.T) {
	d := t.TempDir()
	touch(t, d, "b.jpg", "a.JPG", "sub/c.heic", ".hidden/x.jpg", ".y.jpg", "notes.txt", "b.png")
	ins, problems := FindInputs([]string{d, filepath.Join(d, "b.jpg"), filepath.Join(d, "notes.txt")})
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	var names []string
	for _, in := range ins {
		names = append(names, in.Name)
	}
	if got, want := strings.Join(names, " "), "a.JPG b.jpg b-2.png sub/c.heic b-3.jpg notes.txt"; got != want {
		t.Errorf("names %q, want %q", got, want)
	}
}

// A result folder among the photos, or that is the photos' own, must not be measured as photos by the next run.
func TestFindInputsPassesResultsOver(t *testing.T) {
	d := t.TempDir()
	key := partKey("", "", "", "")
	touch(t, d, "a.jpg", "out/parts/run.json", "out/parts/12ab.jpg", "out/masks/a.png", "out/b.jpg",
		"killed/parts/"+key+".json", "killed/parts/"+key+".jpg", "killed/masks/a.png", "parts/c.jpg", "masks/d.jpg", "parts/facade.json")
	ins, problems := FindInputs([]string{d})
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	var names []string
	for _, in := range ins {
		names = append(names, in.Name)
	}
	if got, want := strings.Join(names, " "), "a.jpg masks/d.jpg out/b.jpg parts/c.jpg"; got != want {
		t.Errorf("names %q, want %q", got, want)
	}
	if ins, _ := FindInputs([]string{filepath.Join(d, "out")}); len(ins) != 1 || ins[0].Name != "b.jpg" {
		t.Errorf("photos beside their own results: %v, want b.jpg", ins)
	}
}

func TestFindInputsProblems(t *testing.T) {
	d := t.TempDir()
	touch(t, d, "a.jpg")
	empty := t.TempDir()
	ins, problems := FindInputs([]string{filepath.Join(d, "gone.jpg"), empty, filepath.Join(d, "a.jpg")})
	if len(ins) != 1 || len(problems) != 2 {
		t.Fatalf("%d photos and %d problems, want 1 and 2: %v", len(ins), len(problems), problems)
	}
	if !strings.Contains(problems[0].Error(), "check the name") || !strings.Contains(problems[1].Error(), "no photos in this folder") {
		t.Errorf("problems do not say what to do: %v", problems)
	}
}
