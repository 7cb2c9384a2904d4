package picture

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image"
	"io"
	"math"

	"offtype/measure/geom"
	"offtype/pipeline/record"
)

// Mask draws the label picture of a photo (w × h px): 0 table, otherwise the fruit's number; a
// pixel belongs to a fruit when its centre lies inside the outline. 8 bit up to fruit 255, else 16.
func Mask(w, h int, fs []record.Fruit) image.Image {
	most := 0
	for i := range fs {
		most = max(most, fs[i].Number)
	}
	if most > 255 {
		m := image.NewGray16(image.Rect(0, 0, w, h))
		scan(w, h, fs, func(y, x0, x1, n int) {
			row := m.Pix[y*m.Stride:]
			for x := x0; x < x1; x++ {
				row[2*x], row[2*x+1] = uint8(n>>8), uint8(n)
			}
		})
		return m
	}
	m := image.NewGray(image.Rect(0, 0, w, h))
	scan(w, h, fs, func(y, x0, x1, n int) {
		for i := range m.Pix[y*m.Stride+x0 : y*m.Stride+x1] {
			m.Pix[y*m.Stride+x0+i] = uint8(n)
		}
	})
	return m
}

// scan calls set for the px x0 ≤ x < x1 of every row of every fruit, and then with number 0 for those of the stalks: a
// stalk that stands before its fruit hides that part of it.
func scan(w, h int, fs []record.Fruit, set func(y, x0, x1, n int)) {
	for i := range fs {
		inside(w, h, fs[i].Outline, func(y, x0, x1 int) { set(y, x0, x1, fs[i].Number) })
	}
	for i := range fs {
		inside(w, h, fs[i].StalkPx, func(y, x0, x1 int) { set(y, x0, x1, 0) })
	}
}

// inside calls f for the px x0 ≤ x < x1 of each row whose centres lie in the closed outline (even-odd rule).
func inside(w, h int, o []geom.Px, f func(y, x0, x1 int)) {
	if len(o) < 3 {
		return
	}
	var xs []float64
	lo, hi := o[0].Y, o[0].Y
	for _, p := range o {
		lo, hi = math.Min(lo, p.Y), math.Max(hi, p.Y)
	}
	for y := max(0, int(math.Ceil(lo))); y <= min(h-1, int(math.Floor(hi))); y++ {
		xs = geom.Crossings(xs[:0], o, float64(y))
		for k := 0; k+1 < len(xs); k += 2 {
			if x0, x1 := max(0, int(math.Ceil(xs[k]))), min(w, int(math.Floor(xs[k+1]))+1); x0 < x1 {
				f(y, x0, x1)
			}
		}
	}
}

// WriteMask writes a mask as PNG. Every row is stored as its difference to the row above, which is nearly all zeros in
// a picture of few labels; the encoder of the standard library tries all kinds of difference and takes five times as
// long.
func WriteMask(w io.Writer, mask image.Image) error {
	var pix []uint8
	each := 1 // bytes a px
	switch m := mask.(type) {
	case *image.Gray:
		pix = m.Pix
	case *image.Gray16:
		pix, each = m.Pix, 2
	default:
		return fmt.Errorf("a mask is grey, not %T", mask)
	}
	width, height := mask.Bounds().Dx(), mask.Bounds().Dy()
	var data bytes.Buffer
	z, err := zlib.NewWriterLevel(&data, zlib.BestSpeed)
	if err != nil {
		return err
	}
	above, line := make([]uint8, width*each), make([]uint8, 1+width*each)
	line[0] = 2 // "up", PNG specification, 9.2
	for y := range height {
		row := pix[y*width*each:][:width*each]
		for i, v := range row {
			line[1+i] = v - above[i]
		}
		if _, err := z.Write(line); err != nil {
			return err
		}
		above = row
	}
	if err := z.Close(); err != nil {
		return err
	}
	head := binary.BigEndian.AppendUint32(nil, uint32(width))
	head = append(binary.BigEndian.AppendUint32(head, uint32(height)), uint8(8*each), 0, 0, 0, 0) // grey, deflate, not interlaced
	out := []byte("\x89PNG\r\n\x1a\n")
	for _, c := range []struct {
		kind string
		data []byte
	}{{"IHDR", head}, {"IDAT", data.Bytes()}, {"IEND", nil}} {
		out = binary.BigEndian.AppendUint32(out, uint32(len(c.data)))
		at := len(out)
		out = append(append(out, c.kind...), c.data...)
		out = binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(out[at:]))
	}
	_, err = w.Write(out)
	return err
}
