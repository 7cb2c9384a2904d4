package pipeline

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/disintegration/imaging"

	"offtype/pipeline/photo"
	"offtype/pipeline/picture"
	"offtype/pipeline/vision"
)

// phonePhoto is a JPEG of 4000 × 3000 px (12 megapixels, as phones take them) of 20 fruit: the
// scene of two cards enlarged, with its Exif data.
var phonePhoto = sync.OnceValues(func() ([]byte, error) {
	data, err := os.ReadFile(filepath.Join(scenes, "dev-6-two-cards-far.jpg"))
	if err != nil {
		return nil, err
	}
	im, err := imaging.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	big, err := picture.JPEG(imaging.Resize(im, 4000, 3000, imaging.CatmullRom), 90)
	if err != nil {
		return nil, err
	}
	at := bytes.Index(data, []byte{0xff, 0xe1})
	if at < 0 || at > 1024 {
		return nil, fmt.Errorf("the scene's JPEG does not begin with its Exif data")
	}
	exif := data[at : at+2+int(binary.BigEndian.Uint16(data[at+2:]))]
	return bytes.Join([][]byte{big[:2], exif, big[2:]}, nil), nil
})

func benchPhoto(b *testing.B) []byte {
	b.Helper()
	data, err := phonePhoto()
	if err != nil {
		b.Fatal(err)
	}
	return data
}

// BenchmarkDecode is the floor: the bare full decode of the same JPEG.
func BenchmarkDecode(b *testing.B) {
	data := benchPhoto(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := photo.ReadBytes("p.jpg", data, photo.Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

// processorTime is what this process has had of the processor: other programs' load hardly changes it.
func processorTime(b *testing.B) time.Duration {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkStages measures one photo on one core and reports every stage's milliseconds of
// processor time and how many bare decodes of the same JPEG the whole costs, all in one process.
func BenchmarkStages(b *testing.B) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	data := benchPhoto(b)
	o := Options{Out: b.TempDir(), Program: "bench", CardLength: 100}
	m, err := newMeasurer(&o, 1)
	if err != nil {
		b.Fatal(err)
	}
	defer m.close()
	vision.SetNumThreads(1)
	names := []string{"decode", "card", "outline", "body", "skin", "preview"}
	took := make([]time.Duration, len(names))
	for b.Loop() {
		s := &shot{job: &job{in: Input{Path: "p.jpg", Name: "p.jpg"}}}
		stages := []func() error{
			func() (err error) {
				s.photo, err = photo.ReadBytes("p.jpg", data, photo.Options{Space: m.space()})
				return err
			},
			func() error { return m.place(s) },
			func() error { return m.outline(s, nil) },
			func() error { m.bodies(s); return nil },
			func() error {
				if n := len(m.rows(s)); n != 20 {
					return fmt.Errorf("%d fruit, not 20", n)
				}
				return nil
			},
			func() error { _, err := PreviewOf(s.photo); return err },
		}
		for i, do := range stages {
			start := processorTime(b)
			if err := do(); err != nil {
				b.Fatalf("%s: %v", names[i], err)
			}
			took[i] += processorTime(b) - start
		}
		m.done(s) // as a run does: the next photo fills its pixel array again
	}
	var all time.Duration
	for i, n := range names {
		all += took[i]
		b.ReportMetric(float64(took[i].Microseconds())/1000/float64(b.N), n+"-ms")
	}
	b.ReportMetric(float64(all)/float64(took[0]), "x-decode")
}

// BenchmarkBatch runs eight photos with one and with two workers, each with tables and report,
// and reports photos a second.
func BenchmarkBatch(b *testing.B) {
	data := benchPhoto(b)
	dir := b.TempDir()
	const photos = 8
	for i := range photos { // a comment makes each file's bytes, and so each photo, its own
		comment := []byte{0xff, 0xfe, 0, 3, byte(i)}
		p := filepath.Join(dir, fmt.Sprintf("p%d.jpg", i))
		if err := os.WriteFile(p, bytes.Join([][]byte{data[:2], comment, data[2:]}, nil), 0o644); err != nil {
			b.Fatal(err)
		}
	}
	for _, workers := range []int{1, 2} {
		b.Run(fmt.Sprintf("workers=%d", workers), func(b *testing.B) {
			defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(workers))
			for b.Loop() {
				o := Options{Inputs: []string{dir}, Out: b.TempDir(), Program: "bench", Workers: workers, CardLength: 100}
				res, err := Run(context.Background(), o)
				if err != nil || res.Measured != photos {
					b.Fatalf("%v, %d photos measured, want %d", err, res.Measured, photos)
				}
			}
			b.ReportMetric(photos*float64(b.N)/b.Elapsed().Seconds(), "photos/s")
		})
	}
}
