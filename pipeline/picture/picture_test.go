package picture

import (
	"bytes"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"image/png"
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
		drawn := Mask(300, 200, []record.Fruit{{Number: number, Outline: circle(150.3, 99.6, 60, 720)}})
		var file bytes.Buffer
		if err := WriteMask(&file, drawn); err != nil {
			t.Fatal(err)
		}
		m, err := png.Decode(&file) // checks lengths and sums
		if err != nil {
			t.Fatalf("fruit %d: %v", number, err)
		}
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
	if other := CutOut(ToRGB(src), 1, &f, 3); !bytes.Equal(cut.Image.Pix, other.Image.Pix) {
		t.Error("the same picture in 3 bytes a px gives another cut-out")
	}
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
	m, s := Shrink(&RGB{pix, 301, 203}, 100)
	if m.W != 100 || math.Abs(s-100.0/301) > 1e-9 {
		t.Fatalf("width %d, scale %v", m.W, s)
	}
	if got := m.At(50, 30); got != (color.RGBA{10, 100, 200, 255}) {
		t.Errorf("colour %v changed", got)
	}
	if same, s := Shrink(m, 100); same != m || s != 1 {
		t.Errorf("a picture that is small enough was scaled by %v", s)
	}
}

// TestFormsOfOnePicture: JPEG gives the same bytes for a picture in each of its forms, also for a part of a larger one
// and for one that is read px by px, and its size and colours are those of the picture.
func TestFormsOfOnePicture(t *testing.T) {
	m := image.NewNRGBA(image.Rect(0, 0, 37, 21))
	for i := range m.Pix {
		m.Pix[i] = uint8(2*(i/4%37) + 3*(i/m.Stride))
		if i%4 == 3 {
			m.Pix[i] = 255
		}
	}
	large := image.NewRGBA(image.Rect(0, 0, 60, 40))
	part := large.SubImage(image.Rect(11, 7, 48, 28))
	draw.Draw(large, part.Bounds(), m, image.Point{}, draw.Src)
	want, err := JPEG(m, 85)
	if err != nil {
		t.Fatal(err)
	}
	for name, form := range map[string]image.Image{"3 bytes a px": ToRGB(m), "part of a larger one": part, "px by px": struct{ image.Image }{m}} {
		if got, err := JPEG(form, 85); err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s: other bytes (%v)", name, err)
		}
	}
	back, err := jpeg.Decode(bytes.NewReader(want))
	if err != nil || back.Bounds() != m.Bounds() {
		t.Fatalf("%v, size %v", err, back.Bounds())
	}
	const off = 6 // grey levels that quality 85 may take from a gentle ramp
	for y := range 21 {
		for x := range 37 {
			got, want := color.GrayModel.Convert(back.At(x, y)).(color.Gray).Y, m.Pix[m.PixOffset(x, y)]
			if d := int(got) - int(want); d < -off || d > off {
				t.Fatalf("px %d, %d: %d, want %d", x, y, got, want)
			}
		}
	}
}
