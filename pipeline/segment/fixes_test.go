package segment

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"offtype/measure/geom"
)

// twoDiscs is a grey table with two orange discs of radius 60 at (150, 150) and (320, 150), as a
// result that found them exactly.
func twoDiscs() (Image, *Result) {
	im := discImage(480, 300, []disc{{150, 150, 60}, {320, 150, 60}}, 0.8)
	res := &Result{}
	for i, x := range []float64{150, 320} {
		line := circleLine(x, 150, 60, 300)
		res.Fruits = append(res.Fruits, Fruit{Number: i + 1, Outline: line, Edge: make([]geom.Edge, len(line)), Confidence: .9})
	}
	return im, res
}

func mustFix(t *testing.T, op, text string) Fix {
	t.Helper()
	x, err := FixFromText(op, text)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func apply(t *testing.T, fs ...Fix) []Fruit {
	t.Helper()
	im, res := twoDiscs()
	out, err := (&Fixes{1, fs}).Apply(im, res)
	if err != nil {
		t.Fatal(err)
	}
	if len(res.Fruits) != 2 || len(res.Fruits[0].Notes) != 0 {
		t.Error("the automatic result was changed")
	}
	return out
}

func TestDropKeepsNumbers(t *testing.T) {
	out := apply(t, mustFix(t, "drop", "150,150"))
	if len(out) != 1 || out[0].Number != 2 {
		t.Fatalf("got %d fruit, number %d; want fruit 2 alone", len(out), out[0].Number)
	}
}

func TestAddTakesNextNumberAndFindsTheEdge(t *testing.T) {
	im, res := twoDiscs()
	res.Fruits = res.Fruits[:1]
	// Hand-drawn octagon 1 to 2 px off the disc of radius 60.
	out, err := (&Fixes{1, []Fix{mustFix(t, "add", "320,88; 364,106; 382,150; 364,194; 320,212; 276,194; 258,150; 276,106")}}).Apply(im, res)
	if err != nil {
		t.Fatal(err)
	}
	if len(out) != 2 || out[1].Number != 2 || out[1].Confidence != 1 {
		t.Fatalf("got %+v", out)
	}
	const want = 3.14159265 * 60 * 60
	if a := geom.Area(out[1].Outline); a < want-38 || a > want+38 { // 0.1 px × perimeter
		t.Errorf("area %.0f px², want %.0f ± 38", a, want)
	}
}

func TestSplitAndMergeNumbers(t *testing.T) {
	out := apply(t, mustFix(t, "split", "150,150:160,0,160,300"))
	if len(out) != 3 || out[0].Number != 1 || out[1].Number != 3 || out[2].Number != 2 {
		t.Fatalf("numbers %v %v %v, want 1, 3 (new) and 2", out[0].Number, out[1].Number, out[2].Number)
	}
	if a := geom.Area(out[0].Outline) + geom.Area(out[1].Outline); a < 11000 || a > 11600 { // π 60² = 11310
		t.Errorf("parts have %.0f px² together, want about 11310", a)
	}
	n := 0
	for _, e := range out[0].Edge {
		if e == geom.EdgeContact {
			n++
		}
	}
	if n < 60 {
		t.Errorf("%d contact points along a cut of 118 px", n)
	}
	out = apply(t, mustFix(t, "merge", "150,150:320,150"))
	if len(out) != 1 || out[0].Number != 1 {
		t.Fatalf("merged into %d fruit, first number %d", len(out), out[0].Number)
	}
	if out[0].Outline == nil || !geom.Contains(out[0].Outline, geom.Px{X: 235, Y: 150}) {
		t.Error("the strip between the parts is not in the outline")
	}
}

func TestPoseStemPlant(t *testing.T) {
	out := apply(t, mustFix(t, "pose", "150,150=upright"), mustFix(t, "stem", "320,150:320,92"), mustFix(t, "plant", "320,150=7"))
	if out[0].Pose != "upright" || out[0].UprightScore != 1 {
		t.Errorf("pose %q, score %v", out[0].Pose, out[0].UprightScore)
	}
	if out[1].StemBase == nil || *out[1].StemBase != (geom.Px{X: 320, Y: 92}) || out[1].Plant != "7" {
		t.Errorf("stem %v plant %q", out[1].StemBase, out[1].Plant)
	}
}

func TestFixErrorsNameTheEntry(t *testing.T) {
	im, res := twoDiscs()
	out, err := (&Fixes{1, []Fix{mustFix(t, "drop", "150,150"), mustFix(t, "drop", "5,5"), mustFix(t, "split", "320,150:0,0,9,0")}}).Apply(im, res)
	var fe *FixError
	if !errors.As(err, &fe) || fe.Entry != 2 || !strings.Contains(err.Error(), "correction 3 (split)") {
		t.Errorf("error %v, want entries 2 and 3", err)
	}
	if len(out) != 1 {
		t.Errorf("%d fruit, want the good correction applied", len(out))
	}
	for text, want := range map[string]string{
		`{"version":2,"fixes":[]}`:                                                    "version 2",
		`{"version":1,"fixes":[{"op":"drop","at":[1,2]},{"op":"drop"}]}`:              "correction 2 (drop)",
		`{"version":1,"fixes":[{"op":"burn","at":[1,2]}]}`:                            "unknown op",
		`{"version":1,"fixes":[{"op":"drop","at":[1,2],"colour":3}]}`:                 `unknown field "colour"`,
		`{"version":1,"fixes":[{"op":"plant","at":[1,2],"plant":"x"}]}`:               "number on the tag",
		`{"version":1,"fixes":[{"op":"split","at":[1,2],"line":[[1,2],[1,2]]}]}`:      "two different points",
		`{"version":1,"fixes":[{"op":"pose","at":[1,2],"pose":"side","exact":true}]}`: "another kind",
		`{"version":1,`: "JSON",
	} {
		if _, err := ParseFixes([]byte(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: error %v, want %q in it", text, err, want)
		}
	}
}

func TestFixFileRoundTrip(t *testing.T) {
	dir := t.TempDir()
	p := FixPath(filepath.Join("photos", "a.jpg"), dir)
	if filepath.Base(p) != "a.jpg.fix.json" {
		t.Fatalf("path %s", p)
	}
	none, err := ReadFixes(p)
	if err != nil || none.Hash() != "" {
		t.Fatalf("missing file: %v, hash %q", err, none.Hash())
	}
	f := &Fixes{1, []Fix{mustFix(t, "drop", "1.5,2"), mustFix(t, "plant", "3,4=0")}}
	if err := f.Write(p); err != nil {
		t.Fatal(err)
	}
	g, err := ReadFixes(p)
	if err != nil || g.Hash() != f.Hash() || len(g.Fixes) != 2 {
		t.Errorf("read back %+v, %v", g, err)
	}
	g.Fixes = nil
	if err := g.Write(p); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(p); !errors.Is(err, os.ErrNotExist) {
		t.Error("a file without corrections stays behind")
	}
}

func FuzzParseFixes(f *testing.F) {
	f.Add([]byte(`{"version":1,"fixes":[{"op":"drop","at":[1,2]}]}`))
	f.Add([]byte(`{"version":1,"fixes":[{"op":"add","outline":[[1,2],[30,4],[5,60]]}]}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		x, err := ParseFixes(b)
		if err != nil {
			return
		}
		im, res := twoDiscs()
		_, _ = x.Apply(im, res) // must not panic
	})
}
