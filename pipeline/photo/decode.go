package photo

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/png"
	"strings"

	"golang.org/x/image/tiff"
	"golang.org/x/image/webp"

	"offtype/pipeline/vision"
)

func decodeJPEG(data []byte, o Options) (*raw, error) {
	head, err := vision.ReadJPEGHeader(data)
	if err != nil {
		if !hasJPEGFrame(data) {
			return nil, truncated(err)
		}
		return nil, decodeError(err)
	}
	if err := checkPixels(head.Width, head.Height, len(data), o); err != nil {
		return nil, err
	}
	pix, warning, err := vision.DecodeJPEG(data, head, o.Space)
	if err != nil {
		return nil, decodeError(err)
	}
	r := &raw{pix: pix, w: head.Width, h: head.Height}
	if warning != "" {
		if err := judgeWarning(warning); err != nil {
			return nil, err
		}
		r.notes = append(r.notes, NoteFaults)
	}
	segments := readJPEGSegments(data)
	r.icc, r.grey = segments.icc, segments.components == 1
	if head.FourInks {
		r.pix, r.inks = inksToRGB(pix, segments.adobe), true
		r.notes = append(r.notes, NoteInks)
	}
	return r, nil
}

// judgeWarning tells faults that spoil the picture from harmless ones: a few stray bytes between
// markers, which some cameras write.
func judgeWarning(warning string) error {
	w := strings.ToLower(warning)
	if strings.Contains(w, "premature end") {
		return truncated(errors.New(warning))
	}
	var stray int
	if i := strings.Index(w, "corrupt jpeg data: "); i >= 0 {
		_, _ = fmt.Sscanf(w[i:], "corrupt jpeg data: %d extraneous", &stray)
	}
	harmless := stray > 0 && stray <= 512 || strings.Contains(w, "unknown adobe color transform") ||
		strings.Contains(w, "inconsistent progression") || strings.Contains(w, "jfif")
	if harmless {
		return nil
	}
	return &Error{Kind: ErrDamaged, What: "the picture is damaged: some of its data make no sense", Do: doCopyAgain, Err: errors.New(warning)}
}

// inksToRGB mixes cyan, magenta, yellow and black to RGB without a profile. Files marked by Adobe
// hold 255 for no ink, others 0.
func inksToRGB(inks []uint8, inverted bool) []uint8 {
	out := make([]uint8, len(inks)/4*3)
	for i, j := 0, 0; i+3 < len(inks); i, j = i+4, j+3 {
		c, m, y, k := inks[i], inks[i+1], inks[i+2], inks[i+3]
		if !inverted {
			c, m, y, k = 255-c, 255-m, 255-y, 255-k
		}
		out[j] = mul255(c, k)
		out[j+1] = mul255(m, k)
		out[j+2] = mul255(y, k)
	}
	return out
}

func mul255(a, b uint8) uint8 { return uint8((int(a)*int(b) + 127) / 255) }

func decodePNG(data []byte, o Options) (*raw, error) {
	config, err := png.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return nil, decodeError(err)
	}
	if err := checkPixels(config.Width, config.Height, len(data), o); err != nil {
		return nil, err
	}
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, decodeError(err)
	}
	return fromImage(img, pngICC(data)), nil
}

func decodeTIFF(data []byte, o Options) (*raw, error) {
	config, err := tiff.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return nil, decodeError(err)
	}
	if err := checkPixels(config.Width, config.Height, len(data), o); err != nil {
		return nil, err
	}
	tags, order := tiffTags(data)
	for _, t := range tags {
		if t.id == 284 && order.Uint16(t.value) == 2 { // the decoder would take it for cut off
			return nil, decodeError(errors.New("unsupported: channels stored apart"))
		}
	}
	img, err := tiff.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, decodeError(err)
	}
	return fromImage(img, tiffICC(data)), nil
}

func decodeWebP(data []byte, o Options) (*raw, error) {
	if n := int64(binary.LittleEndian.Uint32(data[4:])) + 8; n > int64(len(data)) {
		return nil, truncated(fmt.Errorf("%d of %d bytes", len(data), n))
	}
	if len(data) > 20 && string(data[12:16]) == "VP8X" && data[20]&2 != 0 {
		return nil, decodeError(errors.New("unsupported: moving picture"))
	}
	config, err := webp.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return nil, decodeError(err)
	}
	if err := checkPixels(config.Width, config.Height, len(data), o); err != nil {
		return nil, err
	}
	img, err := webp.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, decodeError(err)
	}
	if y, a := studioYCbCr(img); y != nil {
		return fromStudio(y, a, webpChunk(data, "ICCP")), nil
	}
	return fromImage(img, webpChunk(data, "ICCP")), nil
}

func decodeHEIC(data []byte, o Options) (*raw, error) {
	if err := wholeBoxes(data); err != nil {
		return nil, truncated(err)
	}
	x, err := vision.OpenHEIC(data)
	if err != nil {
		return nil, decodeError(err)
	}
	defer x.Close()
	if err := checkPixels(x.Width, x.Height, len(data), o); err != nil {
		return nil, err
	}
	pix, err := x.Decode()
	if err != nil {
		return nil, decodeError(err)
	}
	r := &raw{pix: pix, w: x.Width, h: x.Height, upright: true, nclx: x.Primaries}
	if r.icc, err = x.ICC(); err != nil {
		r.notes = append(r.notes, NoteProfile)
	}
	if r.icc == nil && (x.Transfer == 16 || x.Transfer == 18) {
		r.notes = append(r.notes, NoteHDR)
	}
	return r, nil
}

// studioYCbCr gives the planes of a lossy WebP and its opacity plane, which may be nil.
func studioYCbCr(img image.Image) (*image.YCbCr, *image.NYCbCrA) {
	switch m := img.(type) {
	case *image.YCbCr:
		return m, nil
	case *image.NYCbCrA:
		return &m.YCbCr, m
	}
	return nil, nil
}

// fromStudio makes RGB of the planes of a lossy WebP. Their luma runs from 16 to 235 (RFC 6386,
// section 9.2: ITU-R BT.601), which the standard library's YCbCr type does not know.
func fromStudio(m *image.YCbCr, alpha *image.NYCbCrA, icc []byte) *raw {
	b := m.Bounds()
	r := &raw{pix: make([]uint8, 3*b.Dx()*b.Dy()), w: b.Dx(), h: b.Dy(), icc: icc}
	clamp := func(v int) uint8 { return uint8(min(max((v+1<<15)>>16, 0), 255)) }
	fillRows(r, func(y int, row []uint8) {
		for x := range r.w {
			i, j := m.YOffset(b.Min.X+x, b.Min.Y+y), m.COffset(b.Min.X+x, b.Min.Y+y)
			l, u, v := 76309*(int(m.Y[i])-16), int(m.Cb[j])-128, int(m.Cr[j])-128
			c := [3]uint8{clamp(l + 104597*v), clamp(l - 25675*u - 53279*v), clamp(l + 132201*u)}
			for k := range c {
				if alpha != nil {
					c[k] = onWhite(c[k], alpha.A[alpha.AOffset(b.Min.X+x, b.Min.Y+y)])
				}
				row[3*x+k] = c[k]
			}
		}
	})
	return r
}

// wholeBoxes checks that the top boxes of an ISO base media file end within the data.
func wholeBoxes(data []byte) error {
	for at := 0; at < len(data); {
		if len(data)-at < 8 {
			return errors.New("ends before a whole box")
		}
		size := uint64(binary.BigEndian.Uint32(data[at:]))
		if size == 0 {
			return nil // the last box, to the end of the file
		}
		if size == 1 {
			if len(data)-at < 16 {
				return errors.New("ends before a whole box")
			}
			size = binary.BigEndian.Uint64(data[at+8:])
		}
		if size < 8 || size > uint64(len(data)-at) {
			return fmt.Errorf("box %q of %d bytes ends before its size", data[at+4:at+8], size)
		}
		at += int(size)
	}
	return nil
}

// fromImage makes RGB of a decoded picture; see-through places are laid on white.
func fromImage(img image.Image, icc []byte) *raw {
	b := img.Bounds()
	w, h := b.Dx(), b.Dy()
	r := &raw{pix: make([]uint8, w*h*3), w: w, h: h, icc: icc}
	switch m := img.(type) {
	case *image.Gray:
		r.grey = true
		fillRows(r, func(y int, row []uint8) {
			for x, v := range m.Pix[y*m.Stride : y*m.Stride+w] {
				row[3*x], row[3*x+1], row[3*x+2] = v, v, v
			}
		})
	case *image.Gray16:
		r.grey = true
		fillRows(r, func(y int, row []uint8) {
			for x := range w {
				v := to8(binary.BigEndian.Uint16(m.Pix[y*m.Stride+2*x:]))
				row[3*x], row[3*x+1], row[3*x+2] = v, v, v
			}
		})
	case *image.NRGBA:
		fillRows(r, func(y int, row []uint8) {
			for x := range w {
				p := m.Pix[y*m.Stride+4*x:]
				row[3*x], row[3*x+1], row[3*x+2] = onWhite(p[0], p[3]), onWhite(p[1], p[3]), onWhite(p[2], p[3])
			}
		})
	default: // 16-bit values lose their low byte by rounding
		fillAny(r, img)
	}
	if _, four := img.(*image.CMYK); four {
		r.inks = true
		r.notes = append(r.notes, NoteInks)
	}
	return r
}

func fillRows(r *raw, fill func(y int, row []uint8)) {
	for y := range r.h {
		fill(y, r.pix[3*y*r.w:3*(y+1)*r.w])
	}
}

// fillAny goes through the 16-bit premultiplied colour of each pixel.
func fillAny(r *raw, img image.Image) {
	b := img.Bounds()
	at := func(x, y int) (uint32, uint32, uint32, uint32) { return img.At(b.Min.X+x, b.Min.Y+y).RGBA() }
	if m, ok := img.(image.RGBA64Image); ok { // the same without an allocation a pixel
		at = func(x, y int) (uint32, uint32, uint32, uint32) {
			c := m.RGBA64At(b.Min.X+x, b.Min.Y+y)
			return uint32(c.R), uint32(c.G), uint32(c.B), uint32(c.A)
		}
	}
	fillRows(r, func(y int, row []uint8) {
		for x := range r.w {
			cr, cg, cb, a := at(x, y)
			white := 0xFFFF - a
			row[3*x], row[3*x+1], row[3*x+2] = to8(uint16(cr+white)), to8(uint16(cg+white)), to8(uint16(cb+white))
		}
	})
}

// to8 rounds 0–65535 to 0–255.
func to8(v uint16) uint8 { return uint8((uint32(v)*255 + 32767) / 65535) }

func onWhite(v, alpha uint8) uint8 {
	if alpha == 255 {
		return v
	}
	return mul255(v, alpha) + (255 - alpha)
}
