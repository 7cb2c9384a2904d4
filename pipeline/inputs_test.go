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

// A folder of photos may be a link, as ~/Pictures on another disk is. Links within it are left out.
func TestFindInputsThroughALink(t *testing.T) {
	d := t.TempDir()
	touch(t, d, "photos/sub/a.jpg")
	link := filepath.Join(d, "link")
	if err := os.Symlink("photos", link); err != nil {
		t.Skip(err)
	}
	if err := os.Symlink("..", filepath.Join(d, "photos", "sub", "circle")); err != nil {
		t.Fatal(err)
	}
	for _, arg := range []string{link, link + "/", filepath.Join(d, "photos")} {
		ins, problems := FindInputs([]string{arg})
		if len(problems) > 0 || len(ins) != 1 || ins[0].Name != "sub/a.jpg" || ins[0].Path != filepath.Join(arg, "sub", "a.jpg") {
			t.Errorf("%s: %v %v, want sub/a.jpg", arg, ins, problems)
		}
	}
}

// The tables are UTF-8 and a message is one line, whatever bytes a name has: those of an old archive, or a line break.
func TestFindInputsNamesArePlain(t *testing.T) {
	d := t.TempDir()
	touch(t, d, "k\xfcrbis.jpg", "k\xfdrbis.jpg", "new\nline.jpg", "red\x1b[31m.jpg", "kürbis 🎃.jpg")
	ins, problems := FindInputs([]string{d})
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	var names []string
	for _, in := range ins {
		names = append(names, in.Name)
		if _, err := os.Stat(in.Path); err != nil {
			t.Errorf("%q is not found under its path: %v", in.Name, err)
		}
	}
	if got, want := strings.Join(names, "|"), "kürbis 🎃.jpg|k_rbis.jpg|k_rbis-2.jpg|new_line.jpg|red_[31m.jpg"; got != want {
		t.Errorf("names %q, want %q", got, want)
	}
}
