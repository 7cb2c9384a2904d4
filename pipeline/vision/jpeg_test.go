package vision

import (
	"errors"
	"os"
	"testing"
)

const scenePath = "../../testdata/scenes/"

func sceneBytes(t testing.TB, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(scenePath + name + ".jpg")
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func sceneGray(t testing.TB, name string) (gray []uint8, w, h int) {
	t.Helper()
	data := sceneBytes(t, name)
	head, err := ReadJPEGHeader(data)
	if err != nil {
		t.Fatal(err)
	}
	pix, warning, err := DecodeJPEG(data, head, nil)
	if err != nil || warning != "" {
		t.Fatalf("%s: %v, warning %q", name, err, warning)
	}
	gray, err = Gray(pix, head.Width, head.Height)
	if err != nil {
		t.Fatal(err)
	}
	return gray, head.Width, head.Height
}

// A flat colour survives quality 95 to within the rounding of YCbCr and of one quantiser step.
func TestJPEGThereAndBack(t *testing.T) {
	const w, h, allow = 40, 24, 3
	want := [3]uint8{200, 120, 40}
	rgb := make([]uint8, w*h*3)
	for i := range rgb {
		rgb[i] = want[i%3]
	}
	data, err := EncodeJPEG(rgb, w, h, 95)
	if err != nil {
		t.Fatal(err)
	}
	head, err := ReadJPEGHeader(data)
	if err != nil || head != (JPEGHeader{Width: w, Height: h}) {
		t.Fatalf("header %+v, %v", head, err)
	}
	got, warning, err := DecodeJPEG(data, head, nil)
	if err != nil || warning != "" {
		t.Fatalf("%v, warning %q", err, warning)
	}
	for i, v := range got {
		if d := int(v) - int(want[i%3]); d < -allow || d > allow {
			t.Fatalf("sample %d: %d, want %d ± %d", i, v, want[i%3], allow)
		}
	}
}

func TestJPEGCutOffIsWarnedOf(t *testing.T) {
	data := sceneBytes(t, "demo-2026-table-1")
	head, err := ReadJPEGHeader(data)
	if err != nil {
		t.Fatal(err)
	}
	for part := 1; part < 10; part++ {
		_, warning, err := DecodeJPEG(data[:len(data)*part/10], head, nil)
		if err == nil && warning == "" {
			t.Errorf("%d/10 of the file: no error, no warning", part)
		}
	}
}

func TestBrokenInputIsAnError(t *testing.T) {
	for _, data := range [][]byte{nil, {}, []byte("not an image, only some words"), {0xFF, 0xD8, 0xFF, 0xD9}} {
		if _, err := ReadJPEGHeader(data); err == nil {
			t.Errorf("header of %q: no error", data)
		}
		if _, _, err := DecodeJPEG(data, JPEGHeader{Width: 8, Height: 8}, nil); err == nil {
			t.Errorf("decoding of %q: no error", data)
		}
		if x, err := OpenHEIC(data); err == nil {
			x.Close()
			t.Errorf("heic of %q: no error", data)
		}
		if n, err := LoadNet(data); err == nil {
			n.Close()
			t.Errorf("network of %q: no error", data)
		}
	}
	if _, _, err := DecodeJPEG([]byte{0xFF, 0xD8}, JPEGHeader{Width: 1 << 20, Height: 1 << 20}, nil); !errors.Is(err, ErrSize) {
		t.Errorf("huge size: %v, want ErrSize", err)
	}
	if _, err := EncodeJPEG(make([]uint8, 11), 2, 2, 90); !errors.Is(err, ErrSize) {
		t.Errorf("too few bytes: %v, want ErrSize", err)
	}
	if _, err := Gray(make([]uint8, 12), -2, -2); !errors.Is(err, ErrSize) {
		t.Errorf("negative size: %v, want ErrSize", err)
	}
	if _, err := Reduce(make([]uint8, 12), 2, 2, 3, 0, 1); !errors.Is(err, ErrSize) {
		t.Errorf("reduce to nothing: %v, want ErrSize", err)
	}
}

// The header's size may be false only within a test: the decoder must not write past the slice.
func TestDecodeRefusesAnotherSize(t *testing.T) {
	data := sceneBytes(t, "demo-2026-table-1")
	if _, _, err := DecodeJPEG(data, JPEGHeader{Width: 100, Height: 50}, nil); err == nil {
		t.Error("a slice smaller than the picture was accepted")
	}
}

func BenchmarkDecodeJPEG(b *testing.B) {
	data := sceneBytes(b, "demo-2026-table-1")
	head, err := ReadJPEGHeader(data)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	b.SetBytes(int64(head.Width * head.Height))
	for b.Loop() {
		if _, _, err := DecodeJPEG(data, head, nil); err != nil {
			b.Fatal(err)
		}
	}
}
