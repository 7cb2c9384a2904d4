package card

import (
	"math"

	"offtype/measure/camera"
	"offtype/pipeline/lens"
	"offtype/pipeline/photo"
)

// FocalFrom says where the focal length started from.
type FocalFrom string

// The values of photos.csv.
const (
	FromExif FocalFrom = "exif"
	FromCard FocalFrom = "card"
	FromFile FocalFrom = "file"

	FromAssumed FocalFrom = "assumed" // no card, no Exif: the common phone
)

// Find finds every card and tag in the photo and places the camera. The photo is not changed.
// Errors: ErrNoCard, ErrPartCard (wrapped), camera.ErrDiverged, a lens file of another picture
// shape.
func Find(ph *photo.Photo, o Options) (*Found, error) {
	l, from, err := LensOf(ph, o.LensFile)
	if err != nil {
		return nil, err
	}
	o.Lens, o.from = l, from
	return FindIn(Picture{W: ph.Width, H: ph.Height, RGB: ph.Pix}, o)
}

// LensOf returns what is known of the photo's lens: from the lens file when there is one, else from
// Exif, else the common phone.
func LensOf(ph *photo.Photo, file *lens.File) (camera.Lens, FocalFrom, error) {
	if file != nil {
		l, err := file.Lens(ph.Width, ph.Height)
		return l, FromFile, err
	}
	e := &ph.Exif
	if e.Focal35MM < 8 || e.Focal35MM > 300 || otherShape(e, ph.Width, ph.Height) {
		return camera.LensUnknown(ph.Width, ph.Height), FromCard, nil
	}
	l := camera.LensFrom35(e.Focal35MM, ph.Width, ph.Height)
	if e.DigitalZoom > 1.01 { // makers differ in whether the zoom is in the 35 mm value
		l.Focal.SD = math.Max(l.Focal.SD, l.Focal.Mean*math.Min(0.5, e.DigitalZoom-1))
	}
	return l, FromExif, nil
}

// otherShape reports whether the camera stored a picture of another shape: a crop, whose focal
// length the diagonal no longer tells.
func otherShape(e *photo.Exif, w, h int) bool {
	if e.Width <= 0 || e.Height <= 0 {
		return false
	}
	a := float64(max(w, h)) / float64(min(w, h))
	b := float64(max(e.Width, e.Height)) / float64(min(e.Width, e.Height))
	return math.Abs(a/b-1) > 0.02
}
