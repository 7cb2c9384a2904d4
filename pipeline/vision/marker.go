package vision

// #include "shim.h"
import "C"

import (
	"fmt"
	"unsafe"
)

// Dictionary is a set of printed markers, by OpenCV's number for it.
type Dictionary int

// The dictionaries of the scale card and of the plant tags.
const (
	Dict4x4x50  Dictionary = 0 // DICT_4X4_50
	Dict5x5x250 Dictionary = 6 // DICT_5X5_250
)

// count is how many markers a dictionary has.
func (d Dictionary) count() int {
	switch d {
	case Dict4x4x50:
		return 50
	case Dict5x5x250:
		return 250
	}
	return 0
}

// Marker is a marker found in a picture.
type Marker struct {
	ID      int
	Corners [4][2]float64 // px; clockwise as printed, from the marker's own top-left corner
}

// MarkerOptions set how markers are looked for; the zero value is a good choice.
type MarkerOptions struct {
	// SearchSide, in px: a larger picture is searched reduced by a whole factor, so far that its
	// longer side stays at least this long; corners are refined on the full picture in any case.
	// 0 means 2000, in which a marker needs a side of about 18 px; −1 searches the full picture.
	SearchSide int
	// Once tells dark from light by one threshold in place of three: two fifths of the time, and enough for what is
	// sharp and evenly lit.
	Once bool
	// Max is the greatest number of markers returned; 0 means 300.
	Max int
}

// DetectMarkersRGB finds the markers of one or more dictionaries in an RGB picture of w·h pixels, with
// corners of sub-pixel accuracy; several cost little more than one. The markers of each dictionary come
// apart, in the order of detection; one number may come twice when it is printed twice. A picture
// without markers gives none and no error.
func DetectMarkersRGB(rgb []uint8, w, h int, ds []Dictionary, o MarkerOptions) ([][]Marker, error) {
	if err := checkSize(rgb, w, h, 3); err != nil {
		return nil, err
	}
	numbers := make([]C.int, len(ds))
	for i, d := range ds {
		if d.count() == 0 {
			return nil, fmt.Errorf("marker dictionary %d: not known", d)
		}
		numbers[i] = C.int(d)
	}
	out := make([][]Marker, len(ds))
	if w < 16 || h < 16 || len(ds) == 0 {
		return out, nil
	}
	side, most := o.SearchSide, o.Max
	if side == 0 {
		side = 2000
	}
	if most <= 0 {
		most = 300
	}
	which, ids, corners := make([]C.int, most), make([]C.int, most), make([]C.float, 8*most)
	var found, once C.int
	if o.Once {
		once = 1
	}
	err := fail("find markers", C.vis_markers(bytesOf(rgb), C.int(w), C.int(h), unsafe.SliceData(numbers),
		C.int(len(ds)), C.int(side), once, C.int(most), unsafe.SliceData(which), unsafe.SliceData(ids), unsafe.SliceData(corners), &found))
	if err != nil {
		return nil, err
	}
	for i := range int(found) {
		m := Marker{ID: int(ids[i])}
		for k := range 4 {
			m.Corners[k] = [2]float64{float64(corners[8*i+2*k]), float64(corners[8*i+2*k+1])}
		}
		out[which[i]] = append(out[which[i]], m)
	}
	return out, nil
}

// MarkerPicture draws a marker with its black border of one cell: side·side bytes, 0 or 255.
func MarkerPicture(d Dictionary, id, side int) ([]uint8, error) {
	if id < 0 || id >= d.count() || side < 8 || side > 4096 {
		return nil, fmt.Errorf("marker %d of dictionary %d, %d px: not possible", id, d, side)
	}
	out := make([]uint8, side*side)
	return out, fail("draw marker", C.vis_marker_picture(C.int(d), C.int(id), C.int(side), bytesOf(out)))
}

// RefineCorners moves points to the corner nearby in a grey picture, by the gradient within a
// window of 2·half+1 px; half is 1 to 50. A point that would move by more than half px stays.
// Points outside the picture are refused.
func RefineCorners(gray []uint8, w, h int, points [][2]float64, half int) ([][2]float64, error) {
	if err := checkSize(gray, w, h, 1); err != nil {
		return nil, err
	}
	if half < 1 || half > 50 || w < 2*half+5 || h < 2*half+5 {
		return nil, fmt.Errorf("refine corners: window of %d px: %w", half, ErrSize)
	}
	if len(points) == 0 {
		return nil, nil
	}
	flat := make([]C.float, 0, 2*len(points))
	for i, p := range points {
		if !(p[0] >= 0 && p[1] >= 0 && p[0] <= float64(w-1) && p[1] <= float64(h-1)) {
			return nil, fmt.Errorf("refine corners: point %d lies outside the picture: %w", i, ErrSize)
		}
		flat = append(flat, C.float(p[0]), C.float(p[1]))
	}
	err := fail("refine corners", C.vis_subpix(bytesOf(gray), C.int(w), C.int(h), unsafe.SliceData(flat),
		C.int(len(points)), C.int(half)))
	if err != nil {
		return nil, err
	}
	out := make([][2]float64, len(points))
	for i := range out {
		out[i] = [2]float64{float64(flat[2*i]), float64(flat[2*i+1])}
	}
	return out, nil
}
