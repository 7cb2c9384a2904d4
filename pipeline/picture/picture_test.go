package picture

import (
	"bytes"
	"image"
	"image/color"
	"math"
	"testing"

	"offtype/measure/geom"
	"offtype/pipeline/record"
)

func circle(cx, cy, r float64, n int) []geom.Px {
	var o []geom.Px
	for i := range n {
		a := 2 * math.Pi * float64(i) / float64(n)
		o = append(o, geom.Px{X: cx + r*math.Cos(a), Y: cy + r*math.Sin(a)})
	}
	return o
}

// TestMaskArea compares the pixel count of a drawn disc with π·r²; tolerance 0.1 px × perimeter.
func TestMaskArea(t *testing.T) {
	for _, number := range []int{1, 200, 300} {
		m := Mask(300, 200, []record.Fruit{{Number: number, Outline: circle(150.3, 99.6, 60, 720)}})
		n := 0
		for y := range 200 {
			for x := range 300 {
				var v int
				switch g := m.(type) {
				case *image.Gray:
					v = int(g.GrayAt(x, y).Y)
				case *image.Gray16:
					v = int(g.Gray16At(x, y).Y)
				}
				if v == number {
					n++
				} else if v != 0 {
					t.Fatalf("fruit %d: label %d at %d,%d", number, v, x, y)
				}
			}
		}
		if want, tol := math.Pi*60*60, .1*2*math.Pi*60; math.Abs(float64(n)-want) > tol {
			t.Errorf("fruit %d: %d px, want %.0f ± %.0f", number, n, want, tol)
		}
	}
}

// TestCutOutScale cuts an ellipse of 80 × 40 mm that lies aslant and measures the cut-out.
func TestCutOutScale(t *testing.T) {
	const ang, ppm = 0.6, 2.0
	dir := geom.Px{X: math.Cos(ang), Y: math.Sin(ang)}
	side := geom.Px{X: -dir.Y, Y: dir.X}
	c := geom.Px{X: 200, Y: 150}
	var o []geom.Px
	for i := range 360 {
		a := 2 * math.Pi * float64(i) / 360
		o = append(o, c.Add(dir.Scale(40*ppm*math.Cos(a))).Add(side.Scale(20*ppm*math.Sin(a))))
	}
	f := record.Fruit{Outline: o, Width: record.Value{V: 40}, WidthLine: [2]geom.Px{c.Add(side.Scale(40)), c.Sub(side.Scale(40))},
		LengthLine: [2]geom.Px{c.Add(dir.Scale(80)), c.Sub(dir.Scale(80))}}
	src := image.NewNRGBA(image.Rect(0, 0, 400, 300))
	for i := range src.Pix {
		src.Pix[i] = 255
	}
	for y := range 300 {
		for x := range 400 {
			src.SetNRGBA(x, y, color.NRGBA{10, 200, 30, 255})
		}
	}
	cut := CutOut(src, 1, &f, 3)
	minX, maxX, minY, maxY := 1e9, -1e9, 1e9, -1e9
	for y := range cut.Image.Rect.Dy() {
		for x := range cut.Image.Rect.Dx() {
			if cut.Image.NRGBAAt(x, y).R < 130 {
				minX, maxX = math.Min(minX, float64(x)), math.Max(maxX, float64(x))
				minY, maxY = math.Min(minY, float64(y)), math.Max(maxY, float64(y))
			}
		}
	}
	if w, h := maxX-minX+1, maxY-minY+1; math.Abs(w-120) > 2 || math.Abs(h-240) > 2 {
		t.Errorf("cut-out is %v × %v px, want 120 × 240 (40 × 80 mm at 3 px a mm)", w, h)
	}
}

func TestShrinkKeepsMean(t *testing.T) {
	pix := bytes.Repeat([]byte{10, 100, 200}, 301*203)
	m, s := Shrink(pix, 301, 203, 100)
	if m.Rect.Dx() != 100 || math.Abs(s-100.0/301) > 1e-9 {
		t.Fatalf("size %v, scale %v", m.Rect, s)
	}
	if got := m.NRGBAAt(50, 30); got != (color.NRGBA{10, 100, 200, 255}) {
		t.Errorf("colour %v changed", got)
	}
}

// TestJPEGSameOnQuickPath: the encoder gives the same bytes for a picture and for a plain copy of it
// that it reads px by px.
func TestJPEGSameOnQuickPath(t *testing.T) {
	m := image.NewNRGBA(image.Rect(0, 0, 37, 21))
	for i := range m.Pix {
		m.Pix[i] = uint8(i * 7)
		if i%4 == 3 {
			m.Pix[i] = 255
		}
	}
	a, err := JPEG(m, 85)
	if err != nil {
		t.Fatal(err)
	}
	b, err := JPEG(struct{ image.Image }{m}, 85)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(a, b) {
		t.Error("the two differ")
	}
}
