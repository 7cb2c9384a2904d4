package pipeline

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"offtype/pipeline/record"
	"offtype/pipeline/scene"
)

const scenes = "../testdata/scenes"

func runInto(t *testing.T, out string, change func(*Options), photos ...string) (*Result, error) {
	t.Helper()
	o := Options{Inputs: photos, Out: out, Program: "test", CardLength: 100, Workers: runtime.NumCPU()}
	if change != nil {
		change(&o)
	}
	return Run(context.Background(), o)
}

func read(t *testing.T, p string) []byte {
	t.Helper()
	b, err := os.ReadFile(p)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

var tables = []string{"fruits.csv", "photos.csv", "groups.csv", "judgement.json", "report.html"}

// TestDemoHarvest runs the main job on the demo photos: plants 3 and 7 are painted as other types,
// the six others as the variety (testdata/scenes/demo-2026-*.truth.json).
func TestDemoHarvest(t *testing.T) {
	if testing.Short() {
		t.Skip("measures four photos")
	}
	photos, _ := filepath.Glob(scenes + "/demo-2026-*.jpg")
	one := t.TempDir()
	res, err := runInto(t, one, func(o *Options) { o.Variety, o.Workers = "../testdata/demo/variety.yaml", 1 }, photos...)
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]record.Verdict{"1": record.TrueToType, "2": record.TrueToType, "3": record.OffType, "4": record.TrueToType,
		"5": record.TrueToType, "6": record.TrueToType, "7": record.OffType, "8": record.TrueToType}
	if n := len(res.Run.Judgement.Plants); n != len(want) {
		t.Errorf("%d plants, want %d", n, len(want))
	}
	for _, p := range res.Run.Judgement.Plants {
		if p.Verdict != want[p.Plant] {
			t.Errorf("plant %s: %s, want %s (%s)", p.Plant, p.Verdict, want[p.Plant], strings.Join(p.Reasons, "; "))
		}
	}
	if l := res.Run.Judgement.Lot; l.Unit != "plant" || l.Seen != 8 || l.Off != 2 {
		t.Errorf("lot %+v, want 2 of 8 plants off", l)
	}
	checkSizes(t, res, photos)
	two := t.TempDir()
	if _, err := runInto(t, two, func(o *Options) { o.Variety, o.Workers = "../testdata/demo/variety.yaml", 4 }, photos...); err != nil {
		t.Fatal(err)
	}
	for _, n := range tables {
		if !bytes.Equal(read(t, filepath.Join(one, n)), read(t, filepath.Join(two, n))) {
			t.Errorf("%s differs between one worker and four", n)
		}
	}
	again, err := runInto(t, one, func(o *Options) { o.Variety = "../testdata/demo/variety.yaml" }, photos...)
	if err != nil {
		t.Fatal(err)
	}
	if again.Measured != 0 || again.Kept != len(photos) {
		t.Errorf("second run measured %d photos and kept %d, want 0 and %d", again.Measured, again.Kept, len(photos))
	}
	if !bytes.Equal(read(t, filepath.Join(one, "fruits.csv")), read(t, filepath.Join(two, "fruits.csv"))) {
		t.Error("the second run changed fruits.csv")
	}
}

// checkSizes compares found fruit with the callipers of the truth: all found, none invented,
// median errors within the limits of the main job (2 % of length and width).
func checkSizes(t *testing.T, res *Result, photos []string) {
	t.Helper()
	var le, we []float64
	for _, p := range photos {
		name := filepath.Base(p)
		s, err := scene.Read(scenes, strings.TrimSuffix(name, ".jpg"))
		if err != nil {
			t.Fatal(err)
		}
		full, ok := readPart(res.Out, partOf(res, name).Key)
		if !ok {
			t.Fatalf("no part of %s", name)
		}
		if len(full.Fruits) != len(s.Fruits) {
			t.Errorf("%s: %d fruit found, want %d", name, len(full.Fruits), len(s.Fruits))
		}
		for _, f := range full.Fruits {
			tr := at(s, f.X, f.Y)
			if tr == nil {
				t.Errorf("%s: fruit %d at %.0f,%.0f is invented", name, f.Number, f.X, f.Y)
				continue
			}
			le = append(le, abs(f.Length.V/tr.LengthMM-1))
			we = append(we, abs(f.Width.V/tr.WidthMM-1))
			if tr.Plant != nil && f.Plant != fmt.Sprint(*tr.Plant) {
				t.Errorf("%s: fruit %d given to plant %q, want %d", name, f.Number, f.Plant, *tr.Plant)
			}
		}
	}
	if m := median(le); !(m < .02) {
		t.Errorf("median error of length %.2f %%, limit 2 %%", 100*m)
	}
	if m := median(we); !(m < .02) {
		t.Errorf("median error of width %.2f %%, limit 2 %%", 100*m)
	}
}

func partOf(r *Result, name string) *Part {
	for _, p := range r.Parts {
		if p.Photo.Name == name {
			return p
		}
	}
	return &Part{}
}

func at(s *scene.Scene, x, y float64) *scene.Fruit {
	l := int(s.Labels.GrayAt(int(x+.5), int(y+.5)).Y)
	for i := range s.Fruits {
		if l > 0 && s.Fruits[i].Label == l {
			return &s.Fruits[i]
		}
	}
	return nil
}

func abs(v float64) float64 {
	if v < 0 {
		return -v
	}
	return v
}

func median(v []float64) float64 {
	for i := range v {
		for j := i; j > 0 && v[j] < v[j-1]; j-- {
			v[j], v[j-1] = v[j-1], v[j]
		}
	}
	if len(v) == 0 {
		return 1
	}
	return v[len(v)/2]
}

// TestBadPhotos puts broken input among a good photo: each has its own line, the good one is complete.
func TestBadPhotos(t *testing.T) {
	if testing.Short() {
		t.Skip("measures a photo")
	}
	d := t.TempDir()
	good := read(t, scenes+"/demo-2025-table-1.jpg")
	put := func(name string, b []byte) string {
		p := filepath.Join(d, name)
		if err := os.WriteFile(p, b, 0o644); err != nil {
			t.Fatal(err)
		}
		return p
	}
	photos := []string{put("good.jpg", good), put("copy.jpg", good), put("text.jpg", []byte("not a photo")), put("empty.jpg", nil),
		put("half.jpg", good[:len(good)/2])}
	out := filepath.Join(d, "out")
	res, err := runInto(t, out, nil, photos...)
	if err != nil {
		t.Fatal(err)
	}
	want := []record.Status{record.StatusOK, record.StatusDuplicate, record.StatusFailed, record.StatusFailed, record.StatusFailed}
	for i, p := range res.Run.Photos {
		if p.Status != want[i] {
			t.Errorf("%s: %s, want %s (%s)", p.Name, p.Status, want[i], p.Message)
		}
		if p.Status == record.StatusFailed && !strings.Contains(p.Message, ";") {
			t.Errorf("%s: %q does not say what to do", p.Name, p.Message)
		}
	}
	if n := len(res.Run.Fruits); n != 8 {
		t.Errorf("%d fruit on the good photo, want 8", n)
	}
	rows, err := csv.NewReader(bytes.NewReader(read(t, filepath.Join(out, "photos.csv")))).ReadAll()
	if err != nil || len(rows) != 6 {
		t.Errorf("photos.csv has %d lines (%v), want 6", len(rows), err)
	}
}

func TestUsageErrorsComeFirst(t *testing.T) {
	d := t.TempDir()
	bad := filepath.Join(d, "bad.yaml")
	if err := os.WriteFile(bad, []byte("name: [unclosed\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	for name, change := range map[string]func(*Options){
		"broken variety":  func(o *Options) { o.Variety = bad },
		"missing variety": func(o *Options) { o.Variety = filepath.Join(d, "none.yaml") },
		"missing colours": func(o *Options) { o.CardColours = map[int]string{0: filepath.Join(d, "none.txt")} },
		"missing lens":    func(o *Options) { o.CameraFile = filepath.Join(d, "none.json") },
	} {
		_, err := runInto(t, filepath.Join(d, "out"), change, scenes+"/demo-2025-table-1.jpg")
		if !errors.Is(err, ErrUsage) {
			t.Errorf("%s: %v is not a usage error", name, err)
		}
	}
}

// TestFromTable judges fruit measured by hand.
func TestFromTable(t *testing.T) {
	d := t.TempDir()
	p := filepath.Join(d, "hand.csv")
	var b strings.Builder
	b.WriteString("photo,fruit,plant,length_mm,width_mm\n")
	for i, l := range []float64{210, 214, 205, 208, 216, 207, 330, 322, 211, 209} {
		fmt.Fprintf(&b, "hand,%d,%d,%.0f,%.0f\n", i+1, i/2+1, l, 110+float64(i%3))
	}
	if err := os.WriteFile(p, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	res, err := Run(context.Background(), Options{From: p, Out: filepath.Join(d, "out"), Program: "test"})
	if err != nil {
		t.Fatal(err)
	}
	if len(res.Run.Judgement.Groups) != 2 {
		t.Errorf("%d groups, want 2 (plant 4 bears fruit 110 mm longer)", len(res.Run.Judgement.Groups))
	}
	var j record.Judgement
	if err := json.Unmarshal(read(t, filepath.Join(d, "out", "judgement.json")), &j); err != nil {
		t.Fatal(err)
	}
	for _, f := range j.Fruits {
		if f.Verdict != record.NotJudged {
			t.Errorf("fruit %d is %q without a description", f.Fruit, f.Verdict)
		}
	}
}

// TestStopped cancels a run after its first photo: what was finished is written.
func TestStopped(t *testing.T) {
	if testing.Short() {
		t.Skip("measures a photo")
	}
	photos, _ := filepath.Glob(scenes + "/demo-202*-*.jpg")
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	out := t.TempDir()
	o := Options{Inputs: photos, Out: out, Program: "test", CardLength: 100, Workers: 1, Progress: stopAfter{cancel}}
	res, err := Run(ctx, o)
	if err != nil {
		t.Fatal(err)
	}
	if !res.Stopped || len(res.Run.Photos) == 0 || len(res.Run.Photos) >= len(photos) {
		t.Errorf("stopped %v with %d of %d photos", res.Stopped, len(res.Run.Photos), len(photos))
	}
	if _, err := os.Stat(filepath.Join(out, "fruits.csv")); err != nil {
		t.Error(err)
	}
}

type stopAfter struct{ cancel func() }

func (s stopAfter) Start(int)                               {}
func (s stopAfter) Done(*record.Photo, time.Duration, bool) { s.cancel() }
func (s stopAfter) Finish()                                 {}

// A photo that was measured before is measured again when its steps are asked for: they are not kept.
func TestStepsOfAKeptPhoto(t *testing.T) {
	out, steps := t.TempDir(), t.TempDir()
	photo := filepath.Join(scenes, "dev-4-touching-mesh.jpg")
	for _, show := range []string{"", steps} {
		if _, err := runInto(t, out, func(o *Options) { o.ShowSteps = show }, photo); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := os.Stat(filepath.Join(steps, "dev-4-touching-mesh-3-outlines.png")); err != nil {
		t.Error(err)
	}
}
