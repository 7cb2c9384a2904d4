package photo

import (
	"os"
	"testing"

	"github.com/disintegration/imaging"

	"offtype/pipeline/picture"
	"offtype/pipeline/vision"
)

// big is a scene enlarged to 4000 × 3000 px and written as a JPEG of quality 92, as a phone's
// photo; icc is put into it when not nil.
func big(b *testing.B, icc []byte) []byte {
	b.Helper()
	p, err := Read(scenePath+"demo-2026-table-1.jpg", Options{})
	if err != nil {
		b.Fatal(err)
	}
	data, err := picture.JPEG(imaging.Resize(&picture.RGB{Pix: p.Pix, W: p.Width, H: p.Height}, 4000, 3000, imaging.CatmullRom), 89)
	if err != nil {
		b.Fatal(err)
	}
	if icc != nil {
		n := len(icc) + 16
		head := append([]byte{0xFF, 0xD8, 0xFF, 0xE2, byte(n >> 8), byte(n)}, "ICC_PROFILE\x00\x01\x01"...)
		data = append(append(head, icc...), data[2:]...)
	}
	return data
}

func BenchmarkRead12MP(b *testing.B) {
	profile, err := os.ReadFile("testdata/p3.icc")
	if err != nil {
		b.Fatal(err)
	}
	plain, p3 := big(b, nil), big(b, profile)
	head, err := vision.ReadJPEGHeader(plain)
	if err != nil {
		b.Fatal(err)
	}
	b.Run("bare decode", func(b *testing.B) { // the floor
		b.ReportAllocs()
		for b.Loop() {
			if _, _, err := vision.DecodeJPEG(plain, head, nil); err != nil {
				b.Fatal(err)
			}
		}
	})
	for name, data := range map[string][]byte{"sRGB": plain, "Display P3": p3} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := ReadBytes("x.jpg", data, Options{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkOrient12MP(b *testing.B) {
	pix := make([]uint8, 3*4000*3000)
	for name, o := range map[string]int{"half turn": 3, "quarter turn": 6} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				orient(pix, 4000, 3000, o)
			}
		})
	}
}
