package card

import (
	"bytes"
	"math"
	"slices"
	"testing"

	"offtype/pipeline/vision"
)

// TestCardIsPrintedAtSize reads the PDF with poppler at 300 dpi and measures what was drawn: the
// outer edges of all markers and patches lie within a printer's dot (0.085 mm) of the layout.
func TestCardIsPrintedAtSize(t *testing.T) {
	p := rasterCard(t, 3)
	if math.Abs(float64(p.W)-297/25.4*300) > 1 || math.Abs(float64(p.H)-210/25.4*300) > 1 {
		t.Fatalf("page of %d × %d px", p.W, p.H)
	}
	l := Revision1()
	x0, y0 := (297-l.WidthMM)/2, (210-l.HeightMM)/2
	const k = 300 / 25.4
	at := func(x, y float64) float64 {
		i := 3 * (int((y0+y)*k)*p.W + int((x0+x)*k))
		return linearLUT[p.RGB[i+1]]
	}
	es, err := l.cardEdges(3)
	if err != nil {
		t.Fatal(err)
	}
	const d = 0.1 // mm on either side of the edge
	for _, e := range es {
		x, y := (e.x0+e.x1)/2, (e.y0+e.y1)/2
		if in, out := at(x+d*e.nx, y+d*e.ny), at(x-d*e.nx, y-d*e.ny); out < 0.99 || in > 0.85 {
			t.Errorf("edge at %.1f, %.1f mm: %.2f inside, %.2f outside", x, y, in, out)
		}
	}
	// the markers are OpenCV's own
	found, err := vision.DetectMarkersRGB(p.RGB, p.W, p.H, []vision.Dictionary{vision.Dict4x4x50}, vision.MarkerOptions{})
	if err != nil {
		t.Fatal(err)
	}
	var ids []int
	for _, m := range found[0] {
		ids = append(ids, m.ID)
	}
	slices.Sort(ids)
	if !slices.Equal(ids, []int{12, 13, 14, 15}) {
		t.Errorf("markers %v, want 12 to 15", ids)
	}
}

func TestTagsArePrinted(t *testing.T) {
	for _, paper := range []Paper{A4, Letter} {
		var b bytes.Buffer
		if err := WriteTags(&b, []int{1, 2, 249, 17}, paper); err != nil {
			t.Fatal(err)
		}
		p := raster(t, b.Bytes())
		found, err := vision.DetectMarkersRGB(p.RGB, p.W, p.H, []vision.Dictionary{vision.Dict5x5x250}, vision.MarkerOptions{})
		if err != nil {
			t.Fatal(err)
		}
		var ids []int
		for _, m := range found[0] {
			ids = append(ids, m.ID)
			k := toMark(m)
			if mm := k.sidePx() * 25.4 / 300; math.Abs(mm-32) > 0.15 {
				t.Errorf("tag %d: marker of %.2f mm, want 32", m.ID, mm)
			}
		}
		slices.Sort(ids)
		if !slices.Equal(ids, []int{1, 2, 17, 249}) {
			t.Errorf("%s: tags %v", paper, ids)
		}
	}
}

func TestPDFRefusesAndRepeats(t *testing.T) {
	var a, b bytes.Buffer
	if err := WritePDF(&a, 0, Letter); err != nil {
		t.Fatal(err)
	}
	if err := WritePDF(&b, 0, Letter); err != nil || !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Errorf("the same card is not the same file: %v", err)
	}
	for _, n := range []int{-1, 10} {
		if err := WritePDF(&b, n, A4); err == nil {
			t.Errorf("card number %d was accepted", n)
		}
	}
	if err := WritePDF(&b, 0, "a5"); err == nil {
		t.Error("paper a5 was accepted")
	}
	for _, p := range [][]int{nil, {0}, {250}} {
		if err := WriteTags(&b, p, A4); err == nil {
			t.Errorf("tags %v were accepted", p)
		}
	}
}

func TestParseNumbers(t *testing.T) {
	got, err := ParseNumbers("1-4, 9,12-13")
	if err != nil || !slices.Equal(got, []int{1, 2, 3, 4, 9, 12, 13}) {
		t.Errorf("%v, %v", got, err)
	}
	for _, bad := range []string{"", "0", "250", "4-1", "a", "1-", "1,,2", "1-999999999"} {
		if n, err := ParseNumbers(bad); err == nil {
			t.Errorf("%q gave %v", bad, n)
		}
	}
}
