package card

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"offtype/measure/camera"
	"offtype/measure/geom"
	"offtype/pipeline/photo"
)

// Notes of photos without a card.
const (
	NoteCoinScale   = "scale-from-coin"
	NoteLineScale   = "scale-from-line"
	NoteNoScale     = "no-scale" // lengths are in px of the table, not mm
	NoteOblique     = "taken-obliquely"
	NoteLensAssumed = "lens-assumed" // nothing tells the focal length: that of a common phone
	coinThicknessSD = 0.002          // relative: the rim seen lies up to 3 mm above the table (assumed)
)

// FromScaleLine takes the scale from a line of known length that lies on the table: line is
// "x1,y1,x2,y2=MM" in px of the photo. The camera is assumed to look straight down. Found has no
// cards.
func FromScaleLine(ph *photo.Photo, line string, o Options) (*Found, error) {
	a, b, mm, err := ParseScaleLine(line)
	if err != nil {
		return nil, err
	}
	for _, p := range []geom.Px{a, b} {
		if p.X < -0.5 || p.Y < -0.5 || p.X > float64(ph.Width) || p.Y > float64(ph.Height) {
			return nil, fmt.Errorf("%w %q: (%g, %g) lies outside the photo of %d × %d px", errLine, line, p.X, p.Y, ph.Width, ph.Height)
		}
	}
	l, from, err := LensOf(ph, o.LensFile)
	if err != nil {
		return nil, err
	}
	length := b.Sub(a).Norm()
	const clickSD = 1.0 // px, of each end
	f := overhead(ph, l, from, a.Add(b).Scale(0.5), mm/length, math.Sqrt2*clickSD/length)
	f.note(NoteLineScale)
	return f, nil
}

// ParseScaleLine reads "x1,y1,x2,y2=MM": two points in px, a length in mm.
func ParseScaleLine(s string) (a, b geom.Px, mm float64, err error) {
	fail := func() (geom.Px, geom.Px, float64, error) {
		return a, b, 0, fmt.Errorf("%w %q: write x1,y1,x2,y2=MM, such as 120,800,920,810=300", errLine, s)
	}
	pts, length, ok := strings.Cut(s, "=")
	xs := strings.Split(pts, ",")
	if !ok || len(xs) != 4 {
		return fail()
	}
	var v [5]float64
	for i, x := range append(xs, length) {
		if v[i], err = strconv.ParseFloat(strings.TrimSpace(x), 64); err != nil || math.IsNaN(v[i]) || math.IsInf(v[i], 0) {
			return fail()
		}
	}
	a, b, mm = geom.Px{X: v[0], Y: v[1]}, geom.Px{X: v[2], Y: v[3]}, v[4]
	if mm <= 0 || b.Sub(a).Norm() < 10 {
		return a, b, 0, fmt.Errorf("%w %q: the ends must be at least 10 px apart and the length above 0", errLine, s)
	}
	return a, b, mm, nil
}

// WithoutScale is for a photo with nothing of known size in it: one unit of the table frame is a
// px, so that ratios and shapes hold and every length in mm is meaningless. The camera is assumed
// to look straight down. Found has no cards.
func WithoutScale(ph *photo.Photo, o Options) (*Found, error) {
	l, from, err := LensOf(ph, o.LensFile)
	if err != nil {
		return nil, err
	}
	f := overhead(ph, l, from, geom.Px{X: float64(ph.Width) / 2, Y: float64(ph.Height) / 2}, 1, 0)
	f.note(NoteNoScale)
	return f, nil
}

func overhead(ph *photo.Photo, l camera.Lens, from FocalFrom, at geom.Px, mmPerPx, relSD float64) *Found {
	s := camera.Overhead(ph.Width, ph.Height, l, at, mmPerPx, relSD)
	f := &Found{Camera: s.Camera, Solution: s, FocalFrom: from, ResidualPx: math.NaN(),
		MMPerPx: mmPerPx, TiltDeg: math.NaN(), HeightMM: s.Camera.Centre().Z}
	if from == FromCard { // no card to tell it either
		f.FocalFrom = FromAssumed
		f.note(NoteLensAssumed)
	}
	return f
}
