package camera

import "math"

// filmDiagonalMM is the diagonal of the 36 mm × 24 mm frame to which "35 mm equivalent" refers
// (CIPA DC-008, Exif tag FocalLengthIn35mmFilm; by the diagonal is common practice).
const filmDiagonalMM = 43.2666

// k1SD is the spread of radial distortion over phones' own corrected pictures: assumed, no source;
// the rendered scenes lie within −0.015 … 0.02.
const k1SD = 0.015

// centreShare is the assumed standard deviation of the principal point as a share of the diagonal
// (lens shift stabilisers, cropping; assumed, no source).
const centreShare = 0.0015

func lens(f, sd float64, w, h int) Lens {
	d := math.Hypot(float64(w), float64(h))
	return Lens{
		Focal: Prior{f, sd},
		K1:    Prior{0, k1SD},
		CX:    Prior{float64(w)/2 - 0.5, centreShare * d},
		CY:    Prior{float64(h)/2 - 0.5, centreShare * d},
	}
}

// LensFrom35 returns the lens of a w × h px photo whose Exif gives the 35 mm equivalent focal
// length f35 in mm, a whole number: rounding alone has a standard deviation of 1/√12 mm; 0.35 mm
// leaves room for makers' own rounding.
func LensFrom35(f35 float64, w, h int) Lens {
	d := math.Hypot(float64(w), float64(h))
	return lens(f35/filmDiagonalMM*d, 0.35/filmDiagonalMM*d, w, h)
}

// LensUnknown returns the lens of a photo without focal length: 26 ± 3 mm equivalent, the main
// camera of phones (from memory, no source).
func LensUnknown(w, h int) Lens {
	d := math.Hypot(float64(w), float64(h))
	return lens(26/filmDiagonalMM*d, 3/filmDiagonalMM*d, w, h)
}

// FocalMM35 returns the 35 mm equivalent of focal px in a w × h px photo, mm.
func FocalMM35(focal float64, w, h int) float64 {
	return focal * filmDiagonalMM / math.Hypot(float64(w), float64(h))
}
