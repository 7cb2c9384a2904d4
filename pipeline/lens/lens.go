// Package lens reads and writes lens files: what a calibration with photos of a printed chessboard
// found about one phone's camera. It also makes that calibration and prints the board.
package lens

import (
	"encoding/json"
	"fmt"
	"math"

	"offtype/measure/camera"
	"offtype/pipeline/atomic"
)

// File is a lens file, JSON. Lengths are shares of the picture's diagonal, so that it holds for the
// same camera at another number of pixels.
type File struct {
	Format  string  `json:"format"` // "offtype lens 1"
	Width   int     `json:"width_px"`
	Height  int     `json:"height_px"`
	Focal   float64 `json:"focal_of_diagonal"`
	FocalSD float64 `json:"focal_of_diagonal_sd"`
	FocalPx float64 `json:"focal_px"`             // at Width × Height, for reading
	CX      float64 `json:"centre_x_of_diagonal"` // principal point minus picture centre, landscape
	CY      float64 `json:"centre_y_of_diagonal"`
	K1      float64 `json:"k1"`
	K1SD    float64 `json:"k1_sd"`
	K2      float64 `json:"k2"`
	RMSPx   float64 `json:"rms_px"`
	Photos  int     `json:"photos"`
	Camera  string  `json:"camera,omitempty"` // make and model
}

const format = "offtype lens 1"

// focusBreathing is the relative change of focal length between focusing distances that a fixed
// calibration must allow for (assumed, no source).
const focusBreathing = 0.003

// Read loads the lens file at path.
func Read(path string) (*File, error) {
	b, err := atomic.Read(path, atomic.MostText)
	if err != nil {
		return nil, fmt.Errorf("the lens file cannot be read (%w); check the name, or make one with offtype lens", err)
	}
	var f File
	if err := json.Unmarshal(b, &f); err != nil {
		return nil, fmt.Errorf("this is no lens file (%w); make a new one with offtype lens", err)
	}
	if err := f.check(); err != nil {
		return nil, fmt.Errorf("the lens file is broken: %w; make a new one with offtype lens", err)
	}
	return &f, nil
}

func (f *File) check() error {
	switch {
	case f.Format != format:
		return fmt.Errorf("format is %q, not %q", f.Format, format)
	case f.Width < 1 || f.Height < 1:
		return fmt.Errorf("picture size %d × %d is not possible", f.Width, f.Height)
	case !(f.Focal > 0.2 && f.Focal < 20):
		return fmt.Errorf("focal length %g of the diagonal is not possible", f.Focal)
	case !(f.FocalSD >= 0 && f.FocalSD < f.Focal):
		return fmt.Errorf("uncertainty of the focal length %g is not possible", f.FocalSD)
	case !(math.Abs(f.K1) < 1 && math.Abs(f.K2) < 1 && f.K1SD >= 0 && f.K1SD < 1):
		return fmt.Errorf("distortion %g, %g is not possible", f.K1, f.K2)
	case !(math.Abs(f.CX) < 0.2 && math.Abs(f.CY) < 0.2):
		return fmt.Errorf("principal point %g, %g is not possible", f.CX, f.CY)
	}
	return nil
}

// Write stores the lens file at path.
func (f *File) Write(path string) error {
	f.Format = format
	b, err := json.MarshalIndent(f, "", "  ")
	if err != nil {
		return fmt.Errorf("write lens file: %w", err)
	}
	return atomic.WriteBytes(path, append(b, '\n'))
}

// Lens returns what the file says of a w × h px photo. The shape must be the calibrated one, or
// the same turned by a quarter; else an error says so.
func (f *File) Lens(w, h int) (camera.Lens, error) {
	turned := (w < h) != (f.Width < f.Height)
	a, b := float64(max(w, h))/float64(min(w, h)), float64(max(f.Width, f.Height))/float64(min(f.Width, f.Height))
	if math.Abs(a/b-1) > 0.01 {
		return camera.Lens{}, fmt.Errorf("the photo is %d × %d px but the lens file is for %d × %d: another shape; use an uncropped photo, or measure without the lens file", w, h, f.Width, f.Height)
	}
	d := math.Hypot(float64(w), float64(h))
	l := camera.Lens{
		Focal: camera.Prior{Mean: f.Focal * d, SD: math.Hypot(f.FocalSD, focusBreathing*f.Focal) * d},
		K1:    camera.Prior{Mean: f.K1, SD: math.Max(f.K1SD, 0.001)},
		CX:    camera.Prior{Mean: float64(w)/2 - 0.5 + f.CX*d, SD: 0.0005 * d},
		CY:    camera.Prior{Mean: float64(h)/2 - 0.5 + f.CY*d, SD: 0.0005 * d},
		K2:    f.K2,
	}
	if turned { // which way is not known: the picture's centre, less sure
		l.CX = camera.Prior{Mean: float64(w)/2 - 0.5, SD: math.Max(0.0005, math.Abs(f.CY)) * d}
		l.CY = camera.Prior{Mean: float64(h)/2 - 0.5, SD: math.Max(0.0005, math.Abs(f.CX)) * d}
	}
	return l, nil
}
