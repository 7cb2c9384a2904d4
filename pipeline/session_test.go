package pipeline

import (
	"os"
	"path/filepath"
	"reflect"
	"testing"

	"offtype/measure/geom"
	"offtype/pipeline/segment"
)

// sessionShot copies a scene to a folder of the test's own.
func sessionShot(t testing.TB, scene string) Shot {
	t.Helper()
	dir := t.TempDir()
	b, err := os.ReadFile(filepath.Join("..", "testdata", "scenes", scene))
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "p.jpg")
	if err := os.WriteFile(path, b, 0o644); err != nil {
		t.Fatal(err)
	}
	return Shot{Input: Input{Path: path, Name: "p.jpg"}, Out: filepath.Join(dir, "out")}
}

// measuredSession opens a session and measures a photo of the demo in it.
func measuredSession(t testing.TB) (*Session, Shot, *Part) {
	t.Helper()
	s, err := NewSession("test", 1)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Close)
	x := sessionShot(t, "demo-2026-table-1.jpg")
	first, err := s.Measure(x)
	if err != nil {
		t.Fatal(err)
	}
	return s, x, first
}

// fromScratch stores the corrections beside the photo and measures it into a folder of its own.
func fromScratch(t testing.TB, s *Session, x Shot, fixes *segment.Fixes) *Part {
	t.Helper()
	if err := fixes.Write(segment.FixPath(x.Path, "")); err != nil {
		t.Fatal(err)
	}
	x.Out = t.TempDir()
	fresh, err := s.Measure(x)
	if err != nil {
		t.Fatal(err)
	}
	return fresh
}

// sameRows checks that each fruit of fresh has the same row in got.
func sameRows(t testing.TB, got, fresh *Part) {
	t.Helper()
	for i := range fresh.Fruits {
		if !reflect.DeepEqual(got.Fruits[i].Row(), fresh.Fruits[i].Row()) {
			t.Errorf("fruit %d from memory\n%v\nfrom scratch\n%v", i+1, got.Fruits[i].Row(), fresh.Fruits[i].Row())
		}
	}
}

// A corrected photo must come out the same from memory and from scratch, and a correction that
// cannot be applied must change nothing.
func TestSessionCorrect(t *testing.T) {
	s, x, first := measuredSession(t)
	if len(first.Fruits) < 2 {
		t.Fatalf("the outlining finds %d fruit, want several", len(first.Fruits))
	}
	f := first.Fruits[0]
	at := segment.Point{f.X, f.Y}
	if !geom.Contains(f.Outline, at.Px()) {
		t.Fatal("the first fruit's centre lies outside it: a point names no fruit")
	}
	bad := &segment.Fixes{Version: 1, Fixes: []segment.Fix{{Op: "split", At: &at, Line: []segment.Point{{1, 1}, {2, 1}}}}}
	if _, err := s.Correct(x, bad); err == nil {
		t.Error("a cut that misses the fruit was taken")
	}
	fixes := &segment.Fixes{Version: 1, Fixes: []segment.Fix{{Op: "drop", At: &at}}}
	got, err := s.Correct(x, fixes)
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Fruits) != len(first.Fruits)-1 {
		t.Errorf("%d fruit after dropping one of %d", len(got.Fruits), len(first.Fruits))
	}
	fresh := fromScratch(t, s, x, fixes)
	if got.Key != fresh.Key {
		t.Errorf("key %s from memory, %s from scratch", got.Key, fresh.Key)
	}
	sameRows(t, got, fresh)
	if _, err := s.Finish([]*Part{got}, Finishing{Out: x.Out}); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(filepath.Join(x.Out, "report.html")); err != nil {
		t.Error(err)
	}
}

// Numbers written on fruit are set one after the other: the photo, the bodies and the skins are kept, and what
// comes out is what a measurement from scratch gives.
func TestSessionPlants(t *testing.T) {
	s, x, first := measuredSession(t)
	fixes := &segment.Fixes{Version: 1}
	for i := range 3 {
		at := segment.Point{first.Fruits[i].X, first.Fruits[i].Y}
		fixes.Fixes = append(fixes.Fixes, segment.Fix{Op: "plant", At: &at, Plant: []string{"7", "8", "0"}[i]})
		if _, err := s.Correct(x, fixes); err != nil {
			t.Fatal(err)
		}
	}
	at := segment.Point{first.Fruits[3].X, first.Fruits[3].Y}
	fixes.Fixes = append(fixes.Fixes, segment.Fix{Op: "drop", At: &at}) // and then an outline goes
	got, err := s.Correct(x, fixes)
	if err != nil {
		t.Fatal(err)
	}
	fresh := fromScratch(t, s, x, fixes)
	if len(got.Fruits) != len(fresh.Fruits) || got.Fruits[0].Plant != "7" || got.Fruits[2].Plant != "" {
		t.Fatalf("%d fruit, %d from scratch, plants %q %q", len(got.Fruits), len(fresh.Fruits), got.Fruits[0].Plant, got.Fruits[2].Plant)
	}
	sameRows(t, got, fresh)
}

// Every fruit can be drawn again with few points, turn by turn, as people do on the page.
func TestSessionRedraws(t *testing.T) {
	s, x, first := measuredSession(t)
	for i := range first.Fruits {
		f := &first.Fruits[i]
		n := []int{3, 8, 30}[i%3]
		fix := segment.Fix{Op: "redraw", At: &segment.Point{f.X, f.Y}}
		for k := range n {
			q := f.Outline[k*len(f.Outline)/n]
			fix.Outline = append(fix.Outline, segment.Point{q.X, q.Y})
		}
		got, err := s.Correct(x, &segment.Fixes{Version: 1, Fixes: []segment.Fix{fix}})
		if err != nil {
			t.Errorf("fruit %d with %d points: %v", f.Number, n, err)
		} else if len(got.Fruits) != len(first.Fruits) {
			t.Errorf("fruit %d with %d points: %d fruit, were %d", f.Number, n, len(got.Fruits), len(first.Fruits))
		}
	}
}

func BenchmarkSessionCorrect(b *testing.B) {
	s, x, p := measuredSession(b)
	at := segment.Point{p.Fruits[0].X, p.Fruits[0].Y}
	pose := []string{"side", "unclear"}
	if err := s.Hold(x); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	n := 0
	for b.Loop() {
		n++
		if _, err := s.Correct(x, &segment.Fixes{Version: 1, Fixes: []segment.Fix{{Op: "pose", At: &at, Pose: pose[n%2]}}}); err != nil {
			b.Fatal(err)
		}
	}
}
