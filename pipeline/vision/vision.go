// Package vision is the one place, beside gocv, where C and C++ libraries are called: TurboJPEG,
// libheif and the parts of OpenCV that gocv lacks or that could end the process. Every C++ call
// is caught and comes back as an error; sizes are checked before a call.
//
// Pictures are 8 bits a sample, rows from the top, without padding: grey is w·h bytes, RGB is
// w·h·3 bytes in the order red, green, blue. The centre of the top-left pixel is (0, 0).
//
// Memory of Go is lent to C for the length of a call and never kept. Functions are safe to call
// from several goroutines, except where their comment says otherwise.
package vision

/*
#cgo pkg-config: opencv4 libturbojpeg libheif
#cgo CXXFLAGS: -std=c++14
#include <stdlib.h>
#include "shim.h"
*/
import "C"

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"sync/atomic"
	"unsafe"
)

// ErrSize is returned when a size is not positive, too large, or does not fit the slice given.
var ErrSize = errors.New("picture size does not fit the data")

// maxSide is the greatest width or height handed to C, whose sizes are 32-bit.
const maxSide = 1 << 16

var threads atomic.Int32

// SetNumThreads sets how many threads OpenCV and libheif may use for one call; n < 1 counts as 1.
// With one worker for each core, 1 is the right number. Call it before the work starts.
func SetNumThreads(n int) {
	n = min(max(n, 1), 256)
	threads.Store(int32(n))
	C.vis_set_threads(C.int(n))
}

// ReturnMemory makes large blocks that C and C++ free go back to the system at once, in place of
// staying with the process: whole pictures come and go, and a run that kept them would hold several
// times what it needs. It does nothing where the C library is not glibc. Call it before the work starts.
func ReturnMemory() { C.vis_return_memory() }

// Gray returns the luma (0.299 R + 0.587 G + 0.114 B) of a picture, w·h bytes.
func Gray(rgb []uint8, w, h int) ([]uint8, error) {
	if err := checkSize(rgb, w, h, 3); err != nil {
		return nil, err
	}
	out := make([]uint8, w*h)
	return out, fail("grey", C.vis_gray(bytesOf(rgb), C.int(w), C.int(h), bytesOf(out)))
}

// Reduce returns the picture at ow × oh by averaging over areas; channels is 1 to 4. The pixel
// (x, y) of the result has its centre at ((x+½)·w/ow − ½, (y+½)·h/oh − ½) of the picture given.
func Reduce(pix []uint8, w, h, channels, ow, oh int) ([]uint8, error) {
	if channels < 1 || channels > 4 || ow < 1 || oh < 1 || ow > w || oh > h {
		return nil, fmt.Errorf("reduce %d×%d×%d to %d×%d: %w", w, h, channels, ow, oh, ErrSize)
	}
	if err := checkSize(pix, w, h, channels); err != nil {
		return nil, err
	}
	out := make([]uint8, ow*oh*channels)
	return out, fail("reduce", C.vis_reduce(bytesOf(pix), C.int(w), C.int(h), C.int(channels),
		bytesOf(out), C.int(ow), C.int(oh)))
}

// Shrink returns the picture reduced by the whole factor k by averaging over k × k pixels, with its
// size: w/k × h/k, what is left over at the right and below cut off. The pixel (x, y) of the result
// has its centre at ((x+½)·k − ½, (y+½)·k − ½) of the picture given.
func Shrink(pix []uint8, w, h, channels, k int) (out []uint8, ow, oh int, err error) {
	if channels < 1 || channels > 4 || k < 1 || w < k || h < k {
		return nil, 0, 0, fmt.Errorf("shrink %d×%d×%d by %d: %w", w, h, channels, k, ErrSize)
	}
	if err := checkSize(pix, w, h, channels); err != nil {
		return nil, 0, 0, err
	}
	ow, oh = w/k, h/k
	out = make([]uint8, ow*oh*channels)
	return out, ow, oh, fail("shrink", C.vis_shrink(bytesOf(pix), C.int(w), C.int(h), C.int(channels), C.int(k), bytesOf(out)))
}

// checkSize reports whether a picture of these sizes lies in pix.
func checkSize(pix []uint8, w, h, channels int) error {
	if w < 1 || h < 1 || w > maxSide || h > maxSide || len(pix) != w*h*channels || len(pix) > math.MaxInt32 {
		return fmt.Errorf("%d×%d×%d in %d bytes: %w", w, h, channels, len(pix), ErrSize)
	}
	return nil
}

// fail turns a message of the shim into an error and frees it.
func fail(doing string, message *C.char) error {
	if message == nil {
		return nil
	}
	return fmt.Errorf("%s: %s", doing, take(message))
}

// take copies a message of the shim, in one line, and frees it.
func take(message *C.char) string {
	defer C.free(unsafe.Pointer(message))
	return strings.Join(strings.Fields(C.GoString(message)), " ")
}

func bytesOf(b []uint8) *C.uint8_t { return (*C.uint8_t)(unsafe.Pointer(unsafe.SliceData(b))) }
