package photo

import (
	"errors"
	"fmt"
	"image"

	"github.com/disintegration/imaging"

	"offtype/pipeline/vision"
)

// ToImage copies the whole photo to an image of the standard library.
func ToImage(p *Photo) *image.NRGBA { return Crop(p, image.Rect(0, 0, p.Width, p.Height)) }

// Crop copies the part of the photo within r, in px of the photo; what lies outside the photo is
// left out. The result begins at (0, 0). An empty part gives an empty image.
func Crop(p *Photo, r image.Rectangle) *image.NRGBA {
	r = r.Intersect(image.Rect(0, 0, p.Width, p.Height))
	out := image.NewNRGBA(image.Rect(0, 0, r.Dx(), r.Dy()))
	for y := range r.Dy() {
		from := p.Pix[3*((r.Min.Y+y)*p.Width+r.Min.X):]
		to := out.Pix[y*out.Stride:]
		for x := range r.Dx() {
			to[4*x], to[4*x+1], to[4*x+2], to[4*x+3] = from[3*x], from[3*x+1], from[3*x+2], 255
		}
	}
	return out
}

// Thumbnail returns the photo reduced so that its longer side is at most longest px, and the
// number of px of the photo for one px of the result (1 when it is small enough already).
func Thumbnail(p *Photo, longest int) (*image.NRGBA, float64) {
	most := max(p.Width, p.Height)
	if longest < 1 || most <= longest {
		return ToImage(p), 1
	}
	w := max(1, (p.Width*longest+most/2)/most)
	h := max(1, (p.Height*longest+most/2)/most)
	small, err := vision.Reduce(p.Pix, p.Width, p.Height, 3, w, h)
	if err != nil { // cannot be for a photo of this package
		return imaging.Resize(ToImage(p), w, h, imaging.Box), float64(p.Width) / float64(w)
	}
	return ToImage(&Photo{Pix: small, Width: w, Height: h}), float64(p.Width) / float64(w)
}

// Fit enlarges or reduces an image to lie within w × h px, keeping its shape.
func Fit(img image.Image, w, h int) *image.NRGBA {
	b := img.Bounds()
	if b.Empty() || w < 1 || h < 1 {
		return image.NewNRGBA(image.Rectangle{})
	}
	s := min(float64(w)/float64(b.Dx()), float64(h)/float64(b.Dy()))
	return imaging.Resize(img, max(1, int(s*float64(b.Dx())+0.5)), max(1, int(s*float64(b.Dy())+0.5)), imaging.CatmullRom)
}

// EncodeJPEG writes an image as JPEG without any metadata: no Exif, no position, no profile
// (sRGB). Quality is 1 to 100; see-through places are laid on white.
func EncodeJPEG(img image.Image, quality int) ([]byte, error) {
	b := img.Bounds()
	if b.Empty() || b.Dx() > 65535 || b.Dy() > 65535 {
		return nil, fmt.Errorf("write JPEG: %w", errors.New("the picture has no size that JPEG can hold"))
	}
	r := fromImage(img, nil)
	data, err := vision.EncodeJPEG(r.pix, r.w, r.h, quality)
	if err != nil {
		return nil, fmt.Errorf("write JPEG: %w", err)
	}
	return data, nil
}
