package report

import (
	"bytes"
	"image"
	_ "image/png"
	"math"
	"os"
	"path/filepath"
	"testing"

	"offtype/measure/geom"
	"offtype/pipeline/record"
)

// onPaper is what lengths on paper may be wrong by.
const onPaper = 0.005

// TestDrawnSizes: in the drawing both dimensions are the measured ones, though the photo was stretched
// by synthStretch in one direction. Closed form, no pixels: the tolerance is rounding.
func TestDrawnSizes(t *testing.T) {
	b := built(t, synthetic(9))
	for k, v := range b.views {
		for _, c := range []struct {
			name      string
			ends      [2]spot
			want      float64
			tolerance float64
		}{{"length", v.length, v.f.Length.V, 1e-9}, {"width", v.width, v.f.Width.V, 1e-9}} {
			if got := c.ends[1].sub(c.ends[0]).norm(); math.Abs(got-c.want) > c.tolerance*c.want {
				t.Errorf("%v: %s is drawn %.4f mm, measured %.4f mm", k, c.name, got, c.want)
			}
		}
		if v.stretch == 1 {
			t.Errorf("%v: perspective was not taken out", k)
		}
	}
	if len(b.views) != 9 {
		t.Errorf("%d views, want 9", len(b.views))
	}
}

func built(t *testing.T, s *synth) *docBuilder {
	t.Helper()
	b, err := s.doc().builder()
	if err != nil {
		t.Fatal(err)
	}
	if err := b.pictures(); err != nil {
		t.Fatal(err)
	}
	return b
}

// TestMeasuredOnPaper rasterises a fruit's figure with pdftoppm and measures scale bar, cut-out and
// dimension line in px.
func TestMeasuredOnPaper(t *testing.T) {
	const dpi = 300.0
	for _, paper := range []string{"a4", "letter"} {
		s := synthetic(1)
		f := &s.run.Fruits[0]
		upright(s, f)
		b := built(t, s)
		p, err := newPDF(paper, "x", s.doc().Made, b.t)
		if err != nil {
			t.Fatal(err)
		}
		d := b.fruitFigure(f)
		if err := p.write([]block{d}); err != nil {
			t.Fatal(err)
		}
		dir := t.TempDir()
		var pdf bytes.Buffer
		if err := p.output(&pdf); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, "a.pdf"), pdf.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		tool(t, "pdftoppm", "-r", "300", "-png", "-singlefile", filepath.Join(dir, "a.pdf"), filepath.Join(dir, "a"))
		r, err := os.Open(filepath.Join(dir, "a.png"))
		if err != nil {
			t.Fatal(err)
		}
		m, _, err := image.Decode(r)
		r.Close()
		if err != nil {
			t.Fatal(err)
		}
		px := func(mm float64) int { return int(math.Round(mm * dpi / 25.4)) }
		bar := barLength(b.scale, 45)
		// The bar's frame: the row through its middle, from the first to the last dark px in the left part.
		row := px(pageTop + d.h - 7 + .8)
		lo, hi := span(px(p.left), px(p.left+5+bar*b.scale+6), func(x int) bool { return luma(m, x, row) < 110 })
		check(t, paper+" scale bar", hi-lo+1, bar*b.scale, dpi)
		// The cut-out: px with the painted fruit's colour.
		fruitish := func(x, y int) bool {
			c, g, bl, _ := m.At(x, y).RGBA()
			return c>>8 > 170 && g>>8 > 110 && g>>8 < 190 && bl>>8 < 140
		}
		minX, maxX, minY, maxY := 1<<30, 0, 1<<30, 0
		for y := px(pageTop); y < px(pageTop+d.h); y++ {
			for x := px(p.left); x < px(p.left+cutWide); x++ {
				if fruitish(x, y) {
					minX, maxX, minY, maxY = min(minX, x), max(maxX, x), min(minY, y), max(maxY, y)
				}
			}
		}
		line := .18 * dpi / 25.4 // the outline is drawn over the edge and hides half its width on each side
		check(t, paper+" cut-out width", maxX-minX+1+int(math.Round(line)), f.Width.V*b.scale, dpi)
		check(t, paper+" cut-out length", maxY-minY+1+int(math.Round(line)), f.Length.V*b.scale, dpi)
		// The dimension line of the width, below the fruit: from arrow tip to arrow tip.
		best := 0
		for y := maxY + px(2); y < maxY+px(8); y++ {
			if lo, hi := span(minX-px(3), maxX+px(3), func(x int) bool { return luma(m, x, y) < 110 }); hi > lo {
				best = max(best, hi-lo+1)
			}
		}
		check(t, paper+" dimension line", best, f.Width.V*b.scale, dpi)
	}
}

// upright turns the fruit's axis to the picture's y axis and paints it anew.
func upright(s *synth, f *record.Fruit) {
	at := func(u, v float64) geom.Px {
		return geom.Px{X: f.X + synthPxPerMM*synthStretch*u, Y: f.Y - synthPxPerMM*v}
	}
	for i := range f.Outline {
		a := 2 * math.Pi * float64(i) / float64(len(f.Outline))
		f.Outline[i] = at(f.Width.V/2*math.Cos(a), f.Length.V/2*math.Sin(a))
	}
	f.LengthLine = [2]geom.Px{at(0, f.Length.V/2), at(0, -f.Length.V/2)}
	f.WidthLine = [2]geom.Px{at(-f.Width.V/2, 0), at(f.Width.V/2, 0)}
	m := image.NewRGBA(image.Rect(0, 0, 2000, 1500))
	for i := range m.Pix {
		m.Pix[i] = [4]uint8{120, 100, 80, 255}[i%4]
	}
	paint(m, f)
	s.pics[f.Photo] = m
}

func luma(m image.Image, x, y int) float64 {
	r, g, b, _ := m.At(x, y).RGBA()
	return (.2126*float64(r) + .7152*float64(g) + .0722*float64(b)) / 257
}

// span returns the first and last place from a to b where is holds.
func span(a, b int, is func(int) bool) (lo, hi int) {
	lo, hi = b, a
	for x := a; x < b; x++ {
		if is(x) {
			lo, hi = min(lo, x), max(hi, x)
		}
	}
	return lo, hi
}

// check compares a count of px with mm of paper; 1 px is the raster's own error at each end.
func check(t *testing.T, what string, px int, mm, dpi float64) {
	t.Helper()
	got := float64(px) / dpi * 25.4
	t.Logf("%s: %.2f mm on paper, should be %.2f (%+.2f %%)", what, got, mm, 100*(got/mm-1))
	if math.Abs(got-mm) > math.Max(onPaper*mm, 1.5/dpi*25.4) {
		t.Errorf("%s: %.2f mm on paper, want %.2f", what, got, mm)
	}
}
