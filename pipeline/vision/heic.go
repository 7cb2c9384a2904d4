package vision

// #include "shim.h"
import "C"

import (
	"fmt"
	"math"
)

// HEIC is an opened HEIC picture whose pixels are not decoded yet. Close it; do not copy it.
type HEIC struct {
	Width, Height int // px, after the rotation that the file asks for
	// Colour primaries and transfer function by their numbers in ITU-T H.273 (1: as sRGB,
	// 12: Display P3 primaries; 2: not stated). They count only when there is no ICC profile.
	Primaries, Transfer int
	p                   *C.vis_heic
}

// maxICC bounds an embedded profile; those of cameras and phones have 0.5 to 600 kB.
const maxICC = 4 << 20

// OpenHEIC reads the boxes of the file, not its pixels.
func OpenHEIC(data []byte) (*HEIC, error) {
	if len(data) < 12 {
		return nil, fmt.Errorf("open heic: %w", ErrSize)
	}
	var p *C.vis_heic
	var w, h C.int
	n := max(threads.Load(), 1)
	if err := fail("open heic", C.vis_heic_open(bytesOf(data), C.size_t(len(data)), C.int(n), &p, &w, &h)); err != nil {
		return nil, err
	}
	x := &HEIC{Width: int(w), Height: int(h), p: p}
	var primaries, transfer C.int
	C.vis_heic_nclx(p, &primaries, &transfer)
	x.Primaries, x.Transfer = int(primaries), int(transfer)
	return x, nil
}

// Decode returns the pixels as RGB, turned as the file asks: Exif orientation must not be applied
// again. The caller checks Width and Height first.
func (x *HEIC) Decode() ([]uint8, error) {
	w, h := x.Width, x.Height
	if x.p == nil || w < 1 || h < 1 || w > maxSide || h > maxSide || w*h*3 > math.MaxInt32 {
		return nil, fmt.Errorf("heic of %d×%d: %w", w, h, ErrSize)
	}
	out := make([]uint8, w*h*3)
	if err := fail("decode heic", C.vis_heic_decode(x.p, C.int(w), C.int(h), bytesOf(out))); err != nil {
		return nil, err
	}
	return out, nil
}

// ICC returns the embedded colour profile, nil when there is none.
func (x *HEIC) ICC() ([]byte, error) {
	if x.p == nil {
		return nil, nil
	}
	n := int(C.vis_heic_icc_size(x.p))
	if n < 1 || n > maxICC {
		return nil, nil
	}
	out := make([]byte, n)
	if err := fail("heic profile", C.vis_heic_icc(x.p, bytesOf(out))); err != nil {
		return nil, err
	}
	return out, nil
}

// Close gives the memory back; a second call does nothing.
func (x *HEIC) Close() {
	if x.p != nil {
		C.vis_heic_close(x.p)
		x.p = nil
	}
}
