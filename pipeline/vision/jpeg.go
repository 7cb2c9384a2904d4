package vision

// #include "shim.h"
import "C"

import (
	"bytes"
	"fmt"
	"math"
	"unsafe"
)

// JPEGHeader is what a JPEG file says of itself before its pixels.
type JPEGHeader struct {
	Width, Height int
	FourInks      bool // CMYK or YCCK: decoded to four channels
}

// ReadJPEGHeader reads the size without decoding any pixel.
func ReadJPEGHeader(data []byte) (JPEGHeader, error) {
	if len(data) < 4 || !bytes.HasPrefix(data, []byte{0xFF, 0xD8}) {
		return JPEGHeader{}, fmt.Errorf("jpeg header: no start marker")
	}
	var w, h, space C.int
	err := fail("jpeg header", C.vis_jpeg_header(bytesOf(data), C.size_t(len(data)), &w, &h, &space))
	if err != nil {
		return JPEGHeader{}, err
	}
	if w < 1 || h < 1 {
		return JPEGHeader{}, fmt.Errorf("jpeg header: no size before the end of the file")
	}
	return JPEGHeader{Width: int(w), Height: int(h), FourInks: space == 2}, nil
}

// DecodeJPEG decodes to RGB, or to four channels (C, M, Y, K as stored: Adobe files hold them
// inverted) when the header says FourInks. header must come from ReadJPEGHeader of the same data;
// the caller checks its size first. Exif orientation and colour profile are left alone.
//
// warning is what the library complained of while it still gave a picture, such as missing data
// at the end ("premature end"): rows may be grey or shifted. It is empty for a sound file.
//
// space, which may be nil, becomes the picture's array when it is large enough.
func DecodeJPEG(data []byte, header JPEGHeader, space []uint8) (pix []uint8, warning string, err error) {
	channels, four := 3, C.int(0)
	if header.FourInks {
		channels, four = 4, 1
	}
	w, h := header.Width, header.Height
	if w < 1 || h < 1 || w > maxSide || h > maxSide || w*h*channels > math.MaxInt32 || len(data) == 0 {
		return nil, "", fmt.Errorf("jpeg of %d×%d: %w", w, h, ErrSize)
	}
	if n := w * h * channels; cap(space) >= n {
		pix = space[:n]
		clear(pix) // nothing of another photo may show where this one's data are damaged
	} else {
		pix = make([]uint8, n)
	}
	var warn *C.char
	err = fail("decode jpeg", C.vis_jpeg_decode(bytesOf(data), C.size_t(len(data)), C.int(w), C.int(h), four,
		bytesOf(pix), &warn))
	if warn != nil {
		warning = take(warn)
	}
	if err != nil {
		return nil, warning, err
	}
	return pix, warning, nil
}

// EncodeJPEG encodes RGB as a JPEG without any metadata; quality is 1 to 100. From 90 on the
// colour is kept at full resolution.
func EncodeJPEG(rgb []uint8, w, h, quality int) ([]byte, error) {
	if err := checkSize(rgb, w, h, 3); err != nil {
		return nil, err
	}
	var out *C.uint8_t
	var n C.size_t
	err := fail("encode jpeg", C.vis_jpeg_encode(bytesOf(rgb), C.int(w), C.int(h),
		C.int(min(max(quality, 1), 100)), &out, &n))
	if err != nil {
		return nil, err
	}
	defer C.vis_jpeg_free(out)
	return bytes.Clone(unsafe.Slice((*byte)(unsafe.Pointer(out)), int(n))), nil
}
