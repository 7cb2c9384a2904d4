package photo

import (
	"errors"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"offtype/pipeline/reftable"
	"offtype/pipeline/vision"
)

// The chart in testdata: 4 × 3 fields of 16 px with these sRGB values; written by Pillow 9.4,
// OpenCV 4.6 and heif-enc 1.15 from the same pixels.
var chart = [12][3]int{
	{214, 96, 32}, {240, 190, 60}, {36, 82, 40}, {150, 200, 90}, {90, 40, 30}, {245, 238, 215},
	{20, 20, 24}, {128, 128, 128}, {235, 235, 235}, {200, 30, 60}, {40, 70, 150}, {120, 60, 110},
}

// field returns the mean of the inner 8 × 8 px of a field of an upright chart.
func field(p *Photo, i int) (mean [3]float64) {
	x0, y0 := i%4*16+4, i/4*16+4
	for y := y0; y < y0+8; y++ {
		for x := x0; x < x0+8; x++ {
			for c := range mean {
				mean[c] += float64(p.Pix[3*(y*p.Width+x)+c]) / 64
			}
		}
	}
	return mean
}

func worst(got [3]float64, want [3]int) float64 {
	d := 0.0
	for c := range got {
		d = max(d, math.Abs(got[c]-float64(want[c])))
	}
	return d
}

func readTest(t *testing.T, name string) *Photo {
	t.Helper()
	p, err := Read("testdata/"+name, Options{})
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return p
}

// Rounding of lossy coding at quality 95: a quantiser step of YCbCr is 1 to 3, and turning YCbCr
// to RGB multiplies by up to 1.8.
const (
	exact = 0
	lossy = 5
)

func TestFormatsGiveTheSameColours(t *testing.T) {
	for name, allow := range map[string]float64{
		"colours.png": exact, "colours.tif": exact, "colours-16.png": exact, "colours-16.tif": exact,
		"colours-palette.png": exact, "colours-lossless.webp": exact,
		"colours.jpg": lossy, "colours-progressive.jpg": lossy, "colours-lossy.webp": lossy, "colours.heic": lossy,
		"colours-cmyk.jpg": lossy,
	} {
		p := readTest(t, name)
		if p.Width != 64 || p.Height != 48 {
			t.Errorf("%s: %d × %d, want 64 × 48", name, p.Width, p.Height)
			continue
		}
		for i, want := range chart {
			got := field(p, i)
			if d := worst(got, want); d > allow {
				t.Errorf("%s, field %d: %.1f, want %v: %.1f apart, allowed %g", name, i, got, want, d, allow)
			}
		}
	}
}

func TestGreyAndBlackAndWhite(t *testing.T) {
	for _, name := range []string{"grey.png", "grey.jpg"} {
		p := readTest(t, name)
		for i, c := range chart {
			// Rec. 601 luma, as Pillow computes "L".
			l := int(math.Round(0.299*float64(c[0]) + 0.587*float64(c[1]) + 0.114*float64(c[2])))
			if d := worst(field(p, i), [3]int{l, l, l}); d > 2 {
				t.Errorf("%s, field %d: %.1f, want %d", name, i, field(p, i), l)
			}
		}
	}
	for _, name := range []string{"black-white.png", "black-white.tif"} {
		p := readTest(t, name)
		for x, want := range map[int]uint8{0: 0, 31: 0, 32: 255, 63: 255} {
			if got := p.Pix[3*(20*64+x)]; got != want {
				t.Errorf("%s: column %d is %d, want %d", name, x, got, want)
			}
		}
	}
}

func TestSeeThroughIsLaidOnWhite(t *testing.T) {
	p := readTest(t, "colours-alpha.png")
	// Field 0 is fully see-through, field 1 (240, 190, 60) by 127 of 255, the others not at all.
	want := [12][3]int{{255, 255, 255}, {247, 222, 157}}
	copy(want[2:], chart[2:])
	for i := range want {
		if d := worst(field(p, i), want[i]); d > 1 {
			t.Errorf("field %d: %.1f, want %v", i, field(p, i), want[i])
		}
	}
}

// The files hold the chart as it lies, with Exif orientation 6 (turn it clockwise to see it), GPS
// and a serial number, written by exiftool 12.57. A HEIC turns itself: its Exif orientation says
// nothing.
func TestExifInFiveFormats(t *testing.T) {
	want := Exif{Orientation: 6, Focal35MM: 26, FocalMM: 4.25, Make: "Render", Model: "Test",
		Taken: "2026-09-30 14:05:00 +02:00", DigitalZoom: 1.5}
	for _, name := range []string{"turned.jpg", "turned.png", "turned.tif", "turned.webp", "turned.heic"} {
		p := readTest(t, name)
		got := p.Exif
		got.Width, got.Height = 0, 0
		if got != want {
			t.Errorf("%s: %+v, want %+v", name, got, want)
		}
		if p.Format == HEIC {
			if p.Width != 64 || p.Height != 48 || worst(field(p, 0), chart[0]) > lossy {
				t.Errorf("%s: turned twice", name)
			}
			continue
		}
		if p.Width != 48 || p.Height != 64 {
			t.Errorf("%s: %d × %d, want 48 × 64", name, p.Width, p.Height)
			continue
		}
		// Clockwise: the stored bottom-left field becomes the top-left one.
		if got := p.Pix[3*(8*48+8):][:3]; math.Abs(float64(got[0])-float64(chart[8][0])) > lossy {
			t.Errorf("%s: top-left is %v, want %v", name, got, chart[8])
		}
		if text := fmt.Sprintf("%+v %+v", p.Exif, p.Profile); strings.Contains(text, "4711") || strings.Contains(text, "45.5") {
			t.Errorf("%s: serial number or position kept: %s", name, text)
		}
	}
}

func TestDisplayP3BecomesSRGB(t *testing.T) {
	_, rows := reftable.Rows(t, "testdata/p3.csv")
	for name, allow := range map[string]float64{
		// Both round to whole steps.
		"colours-p3.png": 1, "colours-p3.tif": 1, "colours-p3.webp": 1,
		"colours-p3.jpg": lossy, "colours-p3.heic": lossy,
	} {
		p := readTest(t, name)
		if !p.Profile.Converted || p.Profile.Name != "Hand-made P3" {
			t.Errorf("%s: profile %+v", name, p.Profile)
		}
		for i, row := range rows {
			var want [3]int
			for c := range want {
				want[c] = int(reftable.Num(t, row[3+c]))
			}
			if d := worst(field(p, i), want); d > allow {
				t.Errorf("%s, field %d: %.1f, want %v: %.1f apart, allowed %g", name, i, field(p, i), want, d, allow)
			}
		}
	}
}

// The plain formulae judge the table, over the whole cube. Display P3 has the curve of sRGB; the
// other space has wider primaries and a plain power as its curve.
func TestColourTableAgainstFormula(t *testing.T) {
	const allow = 0.02 // of 1/255: single precision near black, where the curve is 12.92 times as steep
	power := func(r, g, b float64) [3]float64 {
		r, g, b = math.Pow(r, 2.2), math.Pow(g, 2.2), math.Pow(b, 2.2)
		// Adobe RGB (1998) to sRGB, both white D65.
		return [3]float64{1.3983557*r - 0.3983557*g, g, -0.0429290*g + 1.0429290*b}
	}
	for name, f := range map[string]toLight{"Display P3": p3ToLight, "power 2.2": power} {
		table, most := newColourTable(f), 0.0
		if !table.plain {
			t.Errorf("%s: not recognised as a matrix", name)
		}
		for r := 0; r < 256; r += 5 {
			for g := 0; g < 256; g += 5 {
				for b := 0; b < 256; b += 5 {
					fast, slow := table.at(uint8(r), uint8(g), uint8(b)), table.between(uint8(r), uint8(g), uint8(b))
					for c, v := range f(float64(r)/255, float64(g)/255, float64(b)/255) {
						most = max(most, 255*math.Abs(encoded(v)-encoded(float64(fast[c]))), 255*math.Abs(encoded(v)-encoded(float64(slow[c]))))
					}
				}
			}
		}
		if !(most < allow) {
			t.Errorf("%s: worst difference %.4f of 1/255, allowed %g", name, most, allow)
		}
	}
}

// A vivid orange of Display P3 has a negative blue in sRGB.
func TestColoursOutsideSRGBAreCounted(t *testing.T) {
	if p := readTest(t, "colours-p3.png"); p.Profile.Clipped == 0 {
		t.Error("no pixel counted as outside sRGB")
	}
	if p := readTest(t, "colours.png"); p.Profile.Clipped != 0 {
		t.Errorf("%g of an sRGB photo counted as outside sRGB", p.Profile.Clipped)
	}
}

func TestProfileThatCannotBeUsed(t *testing.T) {
	good, err := os.ReadFile("testdata/p3.icc")
	if err != nil {
		t.Fatal(err)
	}
	for name, profile := range map[string][]byte{
		"short": good[:100], "cut": good[:300], "noise": []byte(strings.Repeat("colour", 40)), "zeros": make([]byte, 500),
	} {
		pix := []uint8{10, 20, 30, 200, 100, 50}
		p, note := convert(pix, &raw{pix: pix, w: 2, h: 1, icc: profile})
		if p.Converted || note == "" || pix[0] != 10 || pix[5] != 50 {
			t.Errorf("%s: %+v, note %q, pixels %v; want them unchanged and a note", name, p, note, pix)
		}
	}
}

// Pictures that the program writes say nothing of where and with what a photo was taken.
func TestWrittenJPEGHoldsNoMetadata(t *testing.T) {
	turned := readTest(t, "turned.jpg")
	data, err := vision.EncodeJPEG(turned.Pix, turned.Width, turned.Height, 90)
	if err != nil {
		t.Fatal(err)
	}
	back, err := ReadBytes("x.jpg", data, Options{})
	if err != nil || back.Exif != (Exif{}) || back.Width != 48 {
		t.Errorf("written JPEG: %v, %+v", err, back)
	}
	for _, word := range []string{"Exif", "GPS", "SERIAL", "Render"} {
		if strings.Contains(string(data), word) {
			t.Errorf("the written JPEG holds %q", word)
		}
	}
}

// A HEIC of a format version that libheif does not know, or another error: never a panic.
func TestWrongExtensionDoesNotMatter(t *testing.T) {
	data, err := os.ReadFile("testdata/colours.png")
	if err != nil {
		t.Fatal(err)
	}
	p, err := ReadBytes("IMG_1.JPG", data, Options{})
	if err != nil || p.Format != PNG {
		t.Errorf("PNG named .JPG: %v", err)
	}
	if _, err := ReadBytes("x.tif", []byte("II*\x00\x08\x00\x00\x00\x00\x00\x00\x00\x00\x00"), Options{}); !errors.As(err, new(*Error)) {
		t.Errorf("TIFF without tags: %v", err)
	}
}

// A text is no HEIC for having "ftyp" where that has it: the heading "# offtype" does.
func TestEndingOf(t *testing.T) {
	for head, want := range map[string]string{
		"\xff\xd8\xff\xe0":         ".jpg",
		"\x89PNG\r\n\x1a\n":        ".png",
		"MM\x00*":                  ".tif",
		"RIFF\x00\x00\x00\x00WEBP": ".webp",
		"\x00\x00\x00\x18ftypmif1\x00\x00\x00\x00heic": ".heic",
		"\x00\x00\x00\x14ftypqt  \x00\x00\x00\x00qt  ": "",
		"# offtype\n\nA market gardener sows heic":     "",
		"": "",
	} {
		if got, ok := EndingOf([]byte(head)); got != want || ok != (want != "") {
			t.Errorf("%q: %q, want %q", head, got, want)
		}
	}
}
