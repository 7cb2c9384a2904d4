package pipeline

import (
	"bytes"
	"image"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"offtype/measure/geom"
	"offtype/pipeline/judge"
	"offtype/pipeline/picture"
	"offtype/pipeline/record"
)

// finished writes a result folder of two photos, one of them failed, as Run leaves it.
func finished(t *testing.T) (dir string, run *record.Run, v *judge.Variety) {
	t.Helper()
	dir = t.TempDir()
	none := record.None()
	f := record.Fruit{Photo: "a.jpg", Number: 1, Plant: "=7", X: 50, Y: 40, Pose: record.Side, Length: record.Value{V: 200, U: 2}, Width: record.Value{V: 100, U: 1}, Ratio: record.Value{V: 2, U: .02},
		Midline: none, Bend: none, BroadestAt: none, Volume: none, Neck: none, Taper: none, Lopsided: none, SecondShare: none, GrooveDepth: none, Roughness: none, StalkLength: none, Confidence: 1,
		Outline: []geom.Px{{X: 10, Y: 10}, {X: 90, Y: 10}, {X: 50, Y: 70}}}
	ok := &Part{Key: "aa", Photo: record.Photo{Name: "a.jpg", Width: 100, Height: 80, Status: record.StatusOK, Fruits: 1, SHA256: "abc"}, Fruits: []record.Fruit{f}}
	bad := &Part{Index: 1, Photo: record.Photo{Name: "b.jpg", Status: record.StatusFailed, Message: "no card"}}
	jpg, err := picture.JPEG(image.NewNRGBA(image.Rect(0, 0, 50, 40)), 80)
	if err != nil {
		t.Fatal(err)
	}
	if err := writePart(dir, ok, jpg); err != nil {
		t.Fatal(err)
	}
	res := &Result{Parts: []*Part{ok, bad}}
	if err := writeManifest(res, &Options{Program: "test", Out: dir}, "set"); err != nil {
		t.Fatal(err)
	}
	run = collect(res.Parts, &Options{Program: "test"}, "set")
	run.Groups = []record.Membership{{Key: f.Key(), Plant: "=7", Group: 1, Membership: .5, Unsure: true}}
	run.Judgement = record.Judgement{Variety: &record.VarietyRef{Name: "V", Version: "3"}, Fruits: []record.FruitVerdict{{Photo: "a.jpg", Fruit: 1, Group: 1, Verdict: record.OffType}}}
	if err := writeTables(run, &Options{Out: dir}); err != nil {
		t.Fatal(err)
	}
	if v, err = judge.ParseVariety("v.yaml", []byte("format: 1\nname: V\nspecies: Cucurbita pepo\nversion: \"3\"\ntraits:\n  length: {unit: mm, low: 100, high: 150}\n")); err != nil {
		t.Fatal(err)
	}
	if err := writeVariety(v, dir); err != nil {
		t.Fatal(err)
	}
	return dir, run, v
}

func TestReadResult(t *testing.T) {
	dir, run, _ := finished(t)
	res, v, err := ReadResult(dir)
	if err != nil {
		t.Fatal(err)
	}
	if v == nil || v.Description.Name != "V" || *v.Description.Traits.Length.High != 150 {
		t.Errorf("description %+v", v)
	}
	var want, got bytes.Buffer
	for b, r := range map[*bytes.Buffer]*record.Run{&want: run, &got: res.Run} {
		_ = record.WriteFruits(b, r.Fruits, record.D65)
		_ = record.WritePhotos(b, r.Photos)
		_ = record.WriteGroups(b, r.Groups)
		_ = record.WriteJudgement(b, &r.Judgement)
	}
	if want.String() != got.String() {
		t.Errorf("read back\n%s\nwant\n%s", got.String(), want.String())
	}
	if n := len(res.Run.Fruits[0].Outline); n != 0 {
		t.Errorf("%d points of the outline are in memory before they are asked for", n)
	}
	m, scale, fs, err := res.Loader()("a.jpg")
	if err != nil || m.Bounds().Dx() != 50 || scale != .5 || len(fs) != 1 || len(fs[0].Outline) != 3 || fs[0].Plant != "=7" {
		t.Errorf("preview %v, scale %v, fruit %+v, error %v", m.Bounds(), scale, fs, err)
	}
	if m, _, fs, err := res.Loader()("b.jpg"); m != nil || len(fs) != 0 || err != nil {
		t.Errorf("a failed photo gives %v, %d fruit, %v", m, len(fs), err)
	}
	if err := res.Outlines(); err != nil || len(res.Run.Fruits[0].Outline) != 3 {
		t.Errorf("%d points of the outline, want 3 (%v)", len(res.Run.Fruits[0].Outline), err)
	}
}

func TestReadResultErrors(t *testing.T) {
	for _, c := range []struct {
		name  string
		spoil func(dir string) error
		want  string
	}{
		{"no folder", func(dir string) error { return os.RemoveAll(dir) }, "name the result folder"},
		{"stored result gone", func(dir string) error { return os.Remove(filepath.Join(dir, "parts", "aa.json")) }, "run again"},
		{"list damaged", func(dir string) error {
			return os.WriteFile(filepath.Join(dir, "parts", "run.json"), []byte("{"), 0o600)
		}, "damaged"},
		{"judgement damaged", func(dir string) error {
			return os.WriteFile(filepath.Join(dir, "judgement.json"), []byte("["), 0o600)
		}, "judgement.json"},
		{"groups damaged", func(dir string) error {
			return os.WriteFile(filepath.Join(dir, "groups.csv"), []byte("photo,fruit,plant,group,membership,unsure,alone\na,x,,1,,0,0\n"), 0o600)
		}, `fruit "x" is not a number`},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir, _, _ := finished(t)
			if err := c.spoil(dir); err != nil {
				t.Fatal(err)
			}
			if _, _, err := ReadResult(dir); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("error %v, want one with %q", err, c.want)
			}
		})
	}
}

// TestVarietyCopyGoes: a run without a description leaves none of an earlier run.
func TestVarietyCopyGoes(t *testing.T) {
	dir, _, _ := finished(t)
	if err := writeVariety(nil, dir); err != nil {
		t.Fatal(err)
	}
	if _, v, err := ReadResult(dir); err != nil || v != nil {
		t.Errorf("description %v, error %v", v, err)
	}
}
