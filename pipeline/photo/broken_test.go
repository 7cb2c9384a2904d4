package photo

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/kovidgoyal/imaging/prism/meta/icc"
)

var sound = []string{"colours.jpg", "colours-progressive.jpg", "colours-cmyk.jpg", "colours.png", "colours-16.png",
	"colours.tif", "colours-16.tif", "black-white.tif", "colours-lossy.webp", "colours-lossless.webp", "colours.heic",
	"colours-p3.jpg", "colours-p3.heic", "turned.jpg", "turned.webp"}

func fixture(t testing.TB, name string) []byte {
	t.Helper()
	data, err := os.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// Every file cut at each twentieth of its length must be refused, never half decoded. A TIFF may
// keep its directory at the start and its last tags' values at the end: there a cut that loses no
// pixel is no fault.
func TestCutFilesAreRefused(t *testing.T) {
	for _, name := range sound {
		data := fixture(t, name)
		whole := readTest(t, name)
		for part := 1; part < 20; part++ {
			p, err := ReadBytes(name, data[:len(data)*part/20], Options{})
			if err != nil {
				checkError(t, name, err, anyKind(err))
				continue
			}
			if p.Format != TIFF || !bytes.Equal(p.Pix, whole.Pix) {
				t.Errorf("%s cut at %d %%: accepted", name, 5*part)
			}
		}
		for cut := 1; cut <= 2; cut++ {
			if _, err := ReadBytes(name, data[:len(data)-cut], Options{}); err == nil && !strings.HasSuffix(name, ".tif") && !strings.HasPrefix(name, "turned") {
				t.Errorf("%s without its last %d bytes: accepted", name, cut)
			}
		}
	}
}

// anyKind gives the kind of an *Error, whichever it is.
func anyKind(err error) error {
	var e *Error
	if errors.As(err, &e) && e.Kind != nil {
		return e.Kind
	}
	return errors.New("not an *Error with a kind")
}

// Flipped bits give a picture of the stated size or an *Error, whatever they hit.
func TestFlippedBits(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for _, name := range sound {
		data := fixture(t, name)
		for range 150 {
			broken := bytes.Clone(data)
			for range 1 + random.IntN(4) {
				broken[random.IntN(len(broken))] ^= 1 << random.IntN(8)
			}
			checkAny(t, name, broken)
		}
	}
}

func checkAny(t *testing.T, name string, data []byte) {
	t.Helper()
	p, err := ReadBytes(name, data, Options{MaxPixels: 4_000_000, MaxBytes: 16 << 20})
	if err != nil {
		checkError(t, name, err, anyKind(err))
		return
	}
	if p.Width < 1 || p.Height < 1 || len(p.Pix) != 3*p.Width*p.Height {
		t.Errorf("%s: %d × %d with %d bytes", name, p.Width, p.Height, len(p.Pix))
	}
}

// pngOf writes a PNG with any header and the given chunks.
func pngOf(w, h uint32, depth, colour byte, chunks ...[2]string) []byte {
	var b bytes.Buffer
	b.WriteString("\x89PNG\r\n\x1a\n")
	chunk := func(kind string, body []byte) {
		_ = binary.Write(&b, binary.BigEndian, uint32(len(body)))
		b.WriteString(kind)
		b.Write(body)
		_ = binary.Write(&b, binary.BigEndian, crc32.ChecksumIEEE(append([]byte(kind), body...)))
	}
	head := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, w), h)
	chunk("IHDR", append(head, depth, colour, 0, 0, 0))
	for _, c := range chunks {
		chunk(c[0], []byte(c[1]))
	}
	chunk("IEND", nil)
	return b.Bytes()
}

// deflated is n zeros, packed.
func deflated(n int) string {
	var b bytes.Buffer
	z, _ := zlib.NewWriterLevel(&b, zlib.BestSpeed)
	block := make([]byte, 1<<20)
	for n > 0 {
		k := min(n, len(block))
		_, _ = z.Write(block[:k])
		n -= k
	}
	_ = z.Close()
	return b.String()
}

// tiffOf writes a little-endian TIFF with one directory; the values of tags are LONGs.
func tiffOf(strip string, tags ...[2]uint32) []byte {
	le := binary.LittleEndian
	b := append([]byte("II*\x00"), le.AppendUint32(nil, uint32(8+len(strip)))...)
	b = append(b, strip...)
	b = le.AppendUint16(b, uint16(len(tags)))
	for _, t := range tags {
		b = le.AppendUint16(b, uint16(t[0]))
		b = le.AppendUint16(b, 4)
		b = le.AppendUint32(b, 1)
		b = le.AppendUint32(b, t[1])
	}
	return le.AppendUint32(b, 0)
}

func huge(w, h uint32, strip string, compression uint32) []byte {
	return tiffOf(strip, [2]uint32{256, w}, [2]uint32{257, h}, [2]uint32{258, 8}, [2]uint32{259, compression}, [2]uint32{262, 1},
		[2]uint32{273, 8}, [2]uint32{277, 1}, [2]uint32{278, h}, [2]uint32{279, uint32(len(strip))})
}

// jpegSized changes the size in the first frame header.
func jpegSized(data []byte, w, h uint16) []byte {
	out := bytes.Clone(data)
	for at := 2; at+9 < len(out); at += 2 + int(binary.BigEndian.Uint16(out[at+2:])) {
		if isFrame(out[at+1]) {
			binary.BigEndian.PutUint16(out[at+5:], h)
			binary.BigEndian.PutUint16(out[at+7:], w)
			break
		}
	}
	return out
}

// peakMB is the most memory that this process ever held, C libraries included; 0 where the system
// does not say.
func peakMB() int {
	text, _ := os.ReadFile("/proc/self/status")
	for line := range strings.Lines(string(text)) {
		if rest, ok := strings.CutPrefix(line, "VmHWM:"); ok {
			kB, _ := strconv.Atoi(strings.Fields(rest)[0])
			return kB / 1024
		}
	}
	return 0
}

// Files that promise much and hold little are refused from their header or cost little memory.
func TestBombsCostLittle(t *testing.T) {
	const allowMB = 100 // of 60 000 × 60 000 px (10 GB) or of 256 MB of zeros
	zeros := deflated(1 << 28)
	jpg := fixture(t, "colours.jpg")
	progressive := fixture(t, "colours-progressive.jpg")
	loop := tiffOf("", [2]uint32{0x8769, 8}, [2]uint32{0x014A, 8}, [2]uint32{0x8825, 8})
	cases := []struct {
		name string
		data []byte
		want error
	}{
		{"jpeg-60000.jpg", jpegSized(jpg, 60000, 60000), ErrTooLarge},
		{"jpeg-10900.jpg", jpegSized(jpg, 10900, 10900), ErrDamaged},
		{"progressive-10900.jpg", jpegSized(progressive, 10900, 10900), ErrDamaged},
		{"jpeg-zero.jpg", jpegSized(jpg, 0, 0), nil},
		{"jpeg-4000.jpg", jpegSized(jpg, 4000, 3000), ErrTruncated},
		{"png-60000.png", pngOf(60000, 60000, 8, 2, [2]string{"IDAT", deflated(1000)}), ErrTooLarge},
		{"png-huge.png", pngOf(1<<31-1, 1<<31-1, 8, 2, [2]string{"IDAT", "x"}), nil},
		{"png-zero.png", pngOf(0, 0, 8, 2, [2]string{"IDAT", "x"}), nil},
		{"png-1bit.png", pngOf(10900, 10900, 1, 0, [2]string{"IDAT", deflated(10900 * 1364)}), ErrDamaged},
		{"png-more.png", pngOf(64, 64, 8, 0, [2]string{"IDAT", zeros}), nil},
		{"png-icc.png", pngOf(64, 64, 8, 2, [2]string{"iCCP", "x\x00\x00" + zeros}, [2]string{"IDAT", deflated(64 * 193)}), nil},
		{"tiff-60000.tif", huge(60000, 60000, "x", 1), ErrTooLarge},
		{"tiff-deflate.tif", huge(64, 64, zeros, 8), nil},
		{"tiff-4G.tif", huge(1<<32-1, 1<<32-1, "x", 1), nil},
		{"tiff-loop.tif", loop, nil},
		{"webp-16383.webp", []byte("RIFF\x1e\x00\x00\x00WEBPVP8X\x0a\x00\x00\x00\x00\x00\x00\x00\xff\xff\xff\xff\xff\xffVP8L\x00\x00\x00\x00"), nil},
	}
	for _, c := range cases {
		before := peakMB()
		_, err := ReadBytes(c.name, c.data, Options{})
		switch {
		case c.want != nil:
			checkError(t, c.name, err, c.want)
		case err != nil:
			checkError(t, c.name, err, anyKind(err))
		}
		if grown := peakMB() - before; grown > allowMB {
			t.Errorf("%s (%d bytes): %d MB more memory, allowed %d", c.name, len(c.data), grown, allowMB)
		}
	}
}

// Counts and sizes that a profile cannot hold are refused before the reader allocates them.
func TestProfilesThatPromiseTooMuch(t *testing.T) {
	good := fixture(t, "p3.icc")
	if !plausibleProfile(good) {
		t.Fatal("the sound profile is refused")
	}
	put := func(at int, v uint32) []byte {
		out := bytes.Clone(good)
		binary.BigEndian.PutUint32(out[at:], v)
		return out
	}
	curve := bytes.Clone(good)
	at := bytes.Index(curve, []byte("para"))
	copy(curve[at:], "curv\x00\x00\x00\x00\xFF\xFF\xFF\xFF")
	for name, data := range map[string][]byte{
		"tags": put(128, 1<<31), "offset": put(136, 1<<31), "size": put(140, 0xFFFFFFF0), "curve": curve, "cut": good[:len(good)-1],
	} {
		before := peakMB()
		pix := []uint8{1, 2, 3}
		if p, note := convert(pix, &raw{pix: pix, w: 1, h: 1, icc: data}); p.Converted || note == "" {
			t.Errorf("%s: %+v, note %q; want it left alone with a note", name, p, note)
		}
		if grown := peakMB() - before; grown > 20 {
			t.Errorf("%s: %d MB more memory", name, grown)
		}
	}
}

// exifJPEG puts an Exif block into a JPEG.
func exifJPEG(jpg, tiff []byte) []byte {
	body := append([]byte("Exif\x00\x00"), tiff...)
	out := append([]byte("\xFF\xD8\xFF\xE1"), binary.BigEndian.AppendUint16(nil, uint16(len(body)+2))...)
	return append(append(out, body...), jpg[2:]...)
}

// A broken Exif block costs its tags, never the photo, and never an endless loop.
func TestBrokenExif(t *testing.T) {
	jpg := fixture(t, "colours.jpg")
	many := make([][2]uint32, 4000)
	for i := range many {
		many[i] = [2]uint32{0x9000, 1}
	}
	for name, tiff := range map[string][]byte{
		"loops":     tiffOf("", [2]uint32{0x8769, 8}, [2]uint32{0x8825, 8}, [2]uint32{0x014A, 8}),
		"far away":  tiffOf("", [2]uint32{0x8769, 0xFFFFFFF0}),
		"many tags": tiffOf("", many...),
		"empty":     []byte("II*\x00\x00\x00\x00\x00"),
		"noise":     []byte(strings.Repeat("squash", 5000)),
		"cut":       []byte("MM\x00*\x00\x00\x00\x08\x00\x09\x01"),
	} {
		done := make(chan error, 1)
		go func() {
			p, err := ReadBytes(name, exifJPEG(jpg, tiff), Options{})
			if err == nil && (p.Width != 64 || worst(field(p, 0), chart[0]) > lossy) {
				err = errors.New("other pixels")
			}
			done <- err
		}()
		select {
		case err := <-done:
			if err != nil {
				t.Errorf("%s: %v", name, err)
			}
		case <-time.After(time.Minute): // an endless loop, not slowness
			t.Fatalf("%s: does not end", name)
		}
	}
}

func FuzzReadBytes(f *testing.F) {
	for _, name := range append(sound, "colours-palette.png", "colours-alpha.png", "grey.jpg", "turned.tif", "turned.png", "turned.heic") {
		f.Add(fixture(f, name))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 1<<20 {
			t.Skip()
		}
		checkAny(t, "photo", data)
	})
}

// A profile must neither hang nor take much memory; panics of its reader are caught in convert, as
// here. The whole table would be too slow for fuzzing.
func FuzzProfile(f *testing.F) {
	f.Add(fixture(f, "p3.icc"))
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 1<<20 || !plausibleProfile(data) {
			t.Skip()
		}
		defer func() { _ = recover() }()
		profile, err := icc.DecodeProfile(bytes.NewReader(data))
		if err != nil {
			return
		}
		_, _ = profile.Description()
		if profile.Header.DataColorSpace != icc.ColorSpaceRGB || profile.IsSRGB() {
			return
		}
		if light, err := profileToLight(profile); err == nil {
			light(0.2, 0.5, 1)
		}
	})
}
