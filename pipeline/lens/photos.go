package lens

import (
	"context"
	"fmt"

	"offtype/measure/camera"
	"offtype/pipeline/photo"
)

// Photo is one photo of the chessboard.
type Photo struct{ Name, Path string }

// Made is what came of the photos.
type Made struct {
	*File            // nil when the lens could not be worked out
	Said    []string // sentences on single photos
	Skipped int      // photos of no use
}

// FromPhotos reads the photos of the board, one at a time, and solves for the lens. The error says what is wrong with them
// as a whole; Said holds also then.
func FromPhotos(ctx context.Context, photos []Photo) (m Made, err error) {
	var boards []camera.Board
	var w, h int
	maker := ""
	for _, p := range photos {
		if err := ctx.Err(); err != nil {
			return m, err
		}
		skip := func(err error) {
			m.Said = append(m.Said, fmt.Sprintf("%s: %v", p.Name, err))
			m.Skipped++
		}
		ph, err := photo.Read(p.Path, photo.Options{})
		if err != nil {
			skip(err)
			continue
		}
		if w == 0 {
			w, h = ph.Width, ph.Height
			maker = ph.Exif.Make + " " + ph.Exif.Model
		}
		if ph.Width != w || ph.Height != h {
			skip(fmt.Errorf("%d × %d px, the first photo has %d × %d; use photos of one size, held the same way", ph.Width, ph.Height, w, h))
			continue
		}
		b, err := FindBoard(ph)
		if err != nil {
			skip(err)
			continue
		}
		boards = append(boards, b)
	}
	if len(boards) < 3 {
		return m, fmt.Errorf("the chessboard was found in %d photos, at least 3 are needed, 8 to 20 are good", len(boards))
	}
	f, left, err := Calibrate(boards, w, h)
	if err != nil {
		return m, err
	}
	if left > 0 {
		m.Said = append(m.Said, fmt.Sprintf("%d photos fit badly (blurred, or the board was bent) and were left out", left))
	}
	if maker != " " {
		f.Camera = maker
	}
	m.File = f
	return m, nil
}
