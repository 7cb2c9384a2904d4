package book

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"offtype/measure/geom"
	"offtype/pipeline/record"
)

// sample makes an invented run of photos × each fruit; the same seed gives the same run.
func sample(seed uint64, photos, each int) record.Run {
	r := rand.New(rand.NewPCG(seed, 7))
	val := func(m, s float64) record.Value { return record.Value{V: m + s*r.NormFloat64(), U: s / 4} }
	run := record.Run{Program: "test 1", Settings: map[string]string{"seed": fmt.Sprint(seed), "card": "nominal"}}
	run.Judgement.Variety = &record.VarietyRef{Name: "Invented Neck", Species: "Cucurbita moschata", Version: "2"}
	rate := 0.125
	run.Judgement.Lot = record.Lot{Unit: "plant", Seen: 8, Off: 1, Rate: &rate, Confidence: 0.95, Rule: &record.Rule{Standard: 0.01, Acceptance: 0.95, Allowed: 1, Within: true}, Sentences: []string{"one of eight"}}
	for p := range photos {
		name := fmt.Sprintf("table-%d.jpg", p+1)
		run.Photos = append(run.Photos, record.Photo{
			Name: name, Path: "photos/" + name, SHA256: fmt.Sprintf("%064x", seed*1000+uint64(p)), Width: 4000, Height: 3000,
			Taken: "2026:10:03 14:05:11", Make: "Invented", Model: "Phone 1", Status: record.StatusOK, Fruits: each, Cards: []int{0},
			MMPerPx: 0.4, TiltDeg: 21.5, HeightMM: 1400, FocalPx: 3000, FocalFrom: "exif", CardResidual: 0.2, ColourDE00: 1.1, ColourOK: true,
			Quads: [][]geom.Px{{{X: 1, Y: 2}, {X: 3, Y: 2}, {X: 3, Y: 4}}}, Tags: map[int]geom.Px{1 + p: {X: 5, Y: 6}},
		})
		for n := 1; n <= each; n++ {
			cx, cy := float64(200*n), 500+100*r.Float64()
			f := record.Fruit{
				Photo: name, Number: n, Plant: fmt.Sprint(1 + p), X: cx, Y: cy, Pose: record.Side,
				Length: val(220, 10), Width: val(115, 5), Ratio: val(1.9, 0.1), Midline: val(221, 10), Bend: val(5, 2), BroadestAt: val(0.75, 0.02), Volume: val(1300, 90),
				Neck: val(0.5, 0.05), Taper: record.None(), Lopsided: record.None(), SecondShare: record.None(), GrooveDepth: val(0.01, 0.002), Roughness: record.None(), StalkLength: record.Value{V: 30, U: math.NaN()},
				Skin: &record.Lab{L: 70 + r.NormFloat64(), A: 12, B: 37, U: 1.2}, Pattern: "none", Ribs: n%3 - 1, Profile: []float64{1, 2, 3.5},
				ShapeWords: []string{"pear-shaped"}, SkinWords: "tan", Confidence: 0.97, Views: 1,
				Outline: circle(cx, cy, 80), StalkPx: circle(cx, cy-90, 9), StemPx: &geom.Px{X: cx, Y: cy - 80}, LengthLine: [2]geom.Px{{X: cx, Y: cy - 80}, {X: cx, Y: cy + 80}},
			}
			f.Edge = make([]geom.Edge, len(f.Outline))
			f.Edge[7] = geom.EdgeContact
			if n == 2 {
				f.Notes = []string{"cut by the frame", "oblique"}
			}
			run.Fruits = append(run.Fruits, f)
			g := record.Membership{Key: f.Key(), Plant: f.Plant, Group: 1 + n%2, Membership: 0.99}
			run.Groups = append(run.Groups, g)
			d := 1.5
			run.Judgement.Fruits = append(run.Judgement.Fruits, record.FruitVerdict{Photo: name, Fruit: n, Plant: f.Plant, Group: g.Group, Distance: &d, Verdict: record.TrueToType, Reasons: []string{}})
		}
		run.Judgement.Plants = append(run.Judgement.Plants, record.PlantVerdict{Plant: fmt.Sprint(1 + p), Fruits: each, Verdict: record.TrueToType, Reasons: []string{"all alike"}})
	}
	run.Grouping = &record.Grouping{Rows: []record.Key{{Photo: "table-1.jpg", Number: 1}}, Tree: []record.Join{{A: 0, B: 1, Height: 2.5}}, Points: [][2]float64{{1, -2}},
		Axes: [2][]string{{"longer"}, {"redder"}}, Stability: []float64{0.9, math.NaN()}, Alikeness: math.NaN()}
	run.Judgement.Groups = []record.GroupVerdict{{Group: 1, Fruits: 3, Plants: 2, Verdict: record.OffType, Reasons: []string{"longer"}, Apart: []string{"neck"}}}
	return run
}

func circle(x, y, r float64) []geom.Px {
	out := make([]geom.Px, 120)
	for i := range out {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(len(out)))
		out[i] = geom.Px{X: x + r*c, Y: y + r*s}
	}
	return out
}

// clock is a fixed time, so that books can be compared.
func clock() time.Time { return time.Date(2026, 10, 4, 8, 0, 0, 0, time.UTC) }

func open(t testing.TB, path string) *Book {
	t.Helper()
	b, err := Open(context.Background(), path, Options{Now: clock})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func sameRun(t testing.TB, got, want record.Run) {
	t.Helper()
	if d := cmp.Diff(want, got, cmpopts.EquateNaNs()); d != "" {
		t.Errorf("run differs (-want +got):\n%s", d)
	}
}

func TestRecordAndLoad(t *testing.T) {
	ctx := context.Background()
	b := open(t, filepath.Join(t.TempDir(), "a b?#%.book"))
	want := sample(1, 3, 4)
	got, err := b.RecordRun(ctx, "autumn 2026", "L-1", want)
	must(t, err)
	if got.Revision != 1 || got.Already || got.Photos != 3 || got.Fruits != 12 {
		t.Errorf("first recording: %+v", got)
	}
	run, err := b.LoadRun(ctx, "autumn 2026")
	must(t, err)
	sameRun(t, run, want)

	again, err := b.RecordRun(ctx, "autumn 2026", "L-1", want)
	must(t, err)
	if !again.Already || again.Revision != 1 {
		t.Errorf("the same run again: %+v, want Already at revision 1", again)
	}
	other := sample(1, 3, 4)
	other.Fruits[0].Length.V++
	second, err := b.RecordRun(ctx, "autumn 2026", "L-1", other)
	must(t, err)
	if second.Revision != 2 || second.Already {
		t.Errorf("a changed run: %+v, want revision 2", second)
	}
	run, err = b.LoadRun(ctx, "autumn 2026")
	must(t, err)
	sameRun(t, run, other)
	run, err = b.LoadRunWith(ctx, "autumn 2026", LoadOptions{Revision: 1})
	must(t, err)
	sameRun(t, run, want)
	// Going back to the first result is a third revision, so that the newest is what was said last.
	third, err := b.RecordRun(ctx, "autumn 2026", "L-1", want)
	must(t, err)
	if third.Revision != 3 {
		t.Errorf("the first result again: %+v, want revision 3", third)
	}
}

// The same photos under another name are said, for their fruit would count twice; a harvest measured again is not.
func TestSamePhotosUnderTwoNames(t *testing.T) {
	ctx := context.Background()
	b := open(t, filepath.Join(t.TempDir(), "b.book"))
	for _, c := range []struct {
		harvest string
		seed    uint64
		want    bool
	}{{"2025", 1, false}, {"2026", 2, false}, {"2026", 2, false}, {"2026 again", 2, true}} {
		rec, err := b.RecordRun(ctx, c.harvest, "", sample(c.seed, 3, 2))
		must(t, err)
		if got := len(rec.Twice) == 1 && rec.Twice[0] == (SamePhotos{"2026", 3}); got != c.want || !c.want && len(rec.Twice) > 0 {
			t.Errorf("%s: %+v; want the photos named: %v", c.harvest, rec.Twice, c.want)
		}
	}
}

// Fruit from a table of values have no photo file, no outline and perhaps no photo at all.
func TestRecordWithoutPhotos(t *testing.T) {
	ctx := context.Background()
	b := open(t, filepath.Join(t.TempDir(), "b.book"))
	want := record.Run{Program: "test", Settings: map[string]string{}}
	for n := 1; n <= 3; n++ {
		f := record.Fruit{Photo: "hand", Number: n, Ribs: -1, Pose: record.Unclear}
		f.Length = record.Value{V: 200, U: math.NaN()}
		for _, v := range []*record.Value{&f.Width, &f.Ratio, &f.Midline, &f.Bend, &f.BroadestAt, &f.Volume, &f.Neck, &f.Taper, &f.Lopsided, &f.SecondShare, &f.GrooveDepth, &f.Roughness, &f.StalkLength} {
			*v = record.None()
		}
		want.Fruits = append(want.Fruits, f)
	}
	_, err := b.RecordRun(ctx, "h", "", want)
	must(t, err)
	got, err := b.LoadRun(ctx, "h")
	must(t, err)
	sameRun(t, got, want)
}

func TestRecordRefuses(t *testing.T) {
	ctx := context.Background()
	b := open(t, filepath.Join(t.TempDir(), "b.book"))
	if _, err := b.RecordRun(ctx, " ", "", sample(1, 1, 1)); err == nil || !strings.Contains(err.Error(), "--harvest") {
		t.Errorf("no name: %v", err)
	}
	twice := sample(1, 2, 1)
	twice.Photos[1].Name = twice.Photos[0].Name
	if _, err := b.RecordRun(ctx, "h", "", twice); err == nil || !strings.Contains(err.Error(), "twice") {
		t.Errorf("photo listed twice: %v", err)
	}
	if _, err := b.LoadRun(ctx, "none"); err == nil || !strings.Contains(err.Error(), "not in the book") {
		t.Errorf("unknown harvest: %v", err)
	}
}

// Two books in one file, as two programs would have it, record different harvests at once and the
// same harvest at once.
func TestTwoProgramsAtOnce(t *testing.T) {
	ctx := context.Background()
	path := filepath.Join(t.TempDir(), "b.book")
	var wg sync.WaitGroup
	errs := make([]error, 4)
	for i := range errs {
		wg.Go(func() {
			b, err := Open(ctx, path, Options{Now: clock})
			if err != nil {
				errs[i] = err
				return
			}
			defer b.Close()
			name := fmt.Sprintf("h%d", i/2)
			for s := range 3 {
				if _, err := b.RecordRun(ctx, name, "L", sample(uint64(10*(i/2)+s), 6, 3)); err != nil {
					errs[i] = err
					return
				}
			}
		})
	}
	wg.Wait()
	for i, err := range errs {
		if err != nil {
			t.Errorf("program %d: %v", i, err)
		}
	}
	b := open(t, path)
	for i := range 2 {
		run, err := b.LoadRun(ctx, fmt.Sprintf("h%d", i))
		must(t, err)
		sameRun(t, run, sample(uint64(10*i+2), 6, 3))
	}
	problems, err := b.Check(ctx)
	must(t, err)
	for _, p := range problems {
		t.Error(p)
	}
}

// A square moved sideways by a quarter shares 0.75 of 1.25: overlap 0.6 by formula.
func TestOverlap(t *testing.T) {
	sq := func(x float64) []geom.Px {
		return []geom.Px{{X: x}, {X: x + 100}, {X: x + 100, Y: 100}, {X: x, Y: 100}}
	}
	for _, c := range []struct {
		name string
		a, b []geom.Px
		want float64
	}{
		{"same", sq(0), sq(0), 1},
		{"quarter", sq(0), sq(25), 0.6},
		{"apart", sq(0), sq(101), 0},
		{"inside", sq(0), []geom.Px{{X: 0, Y: 0}, {X: 50, Y: 0}, {X: 50, Y: 100}, {X: 0, Y: 100}}, 0.5},
	} {
		if got := overlap(c.a, c.b); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s: overlap %v, want %v", c.name, got, c.want)
		}
		if got := overlap(c.b, c.a); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s reversed: overlap %v, want %v", c.name, got, c.want)
		}
	}
}
