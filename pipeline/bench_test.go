package pipeline

import (
	"os"
	"path/filepath"
	"testing"

	"offtype/pipeline/photo"
)

// BenchmarkPhoto measures one photo, all stages, against the bare decode of the same file
// (BenchmarkDecode): the ratio of the two is what a photo costs beyond reading it.
func BenchmarkPhoto(b *testing.B) {
	o := Options{Out: b.TempDir(), Program: "bench", CardLength: 100}
	m, err := newMeasurer(&o, 1)
	if err != nil {
		b.Fatal(err)
	}
	defer m.close()
	j := &job{in: Input{Path: filepath.Join(scenes, "dev-6-two-cards-far.jpg"), Name: "p.jpg"}}
	b.ReportAllocs()
	for b.Loop() {
		p, _, err := m.photo(j, nil)
		if err != nil {
			b.Fatal(err)
		}
		if len(p.Fruits) == 0 {
			b.Fatal("no fruit")
		}
	}
}

func BenchmarkDecode(b *testing.B) {
	data := readBench(b, filepath.Join(scenes, "dev-6-two-cards-far.jpg"))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := photo.ReadBytes("p.jpg", data, photo.Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

func readBench(b *testing.B, p string) []byte {
	b.Helper()
	data, err := os.ReadFile(p)
	if err != nil {
		b.Fatal(err)
	}
	return data
}
