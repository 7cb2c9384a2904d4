package lens

import (
	"errors"
	"fmt"
	"image"
	"io"
	"math"
	"slices"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"gocv.io/x/gocv"

	"offtype/measure/camera"
	"offtype/measure/geom"
	"offtype/pipeline/photo"
	"offtype/pipeline/vision"
)

// The board: inner corners across and down, and the side of a square. The squares' true size does
// not matter for the lens.
const (
	BoardCols = 9
	BoardRows = 6
	SquareMM  = 25.0
)

// ErrNoBoard is returned when a photo shows no complete board.
var ErrNoBoard = fmt.Errorf("the whole chessboard (%d × %d inner corners) was not seen; keep all of it in the picture, flat, sharp and evenly lit", BoardCols, BoardRows)

// FindBoard finds the inner corners of the board in a photo, to a fraction of a px.
func FindBoard(ph *photo.Photo) (b camera.Board, err error) {
	if ph.Width < 64 || ph.Height < 64 {
		return b, ErrNoBoard
	}
	gray, err := vision.Gray(ph.Pix, ph.Width, ph.Height)
	if err != nil {
		return b, fmt.Errorf("find chessboard: %w", err)
	}
	rough, err := roughCorners(gray, ph.Width, ph.Height)
	if err != nil {
		return b, err
	}
	// refine within a quarter of a square
	side := math.Inf(1)
	for i := range rough {
		if (i+1)%BoardCols != 0 {
			side = math.Min(side, math.Hypot(rough[i+1][0]-rough[i][0], rough[i+1][1]-rough[i][1]))
		}
	}
	half := min(20, max(2, int(side/4)))
	fine, err := vision.RefineCorners(gray, ph.Width, ph.Height, rough, half)
	if err != nil {
		return b, ErrNoBoard
	}
	for i, p := range fine {
		b.MM = append(b.MM, [2]float64{SquareMM * float64(i%BoardCols), SquareMM * float64(i/BoardCols)})
		b.Px = append(b.Px, geom.Px{X: p[0], Y: p[1]})
	}
	return b, nil
}

// roughCorners searches at two sizes: small is quick, larger sees a small board.
func roughCorners(gray []uint8, w, h int) ([][2]float64, error) {
	long := max(w, h)
	for _, side := range []int{1000, 2000} {
		sw, sh, small := w, h, gray
		if long > side {
			sw, sh = max(1, w*side/long), max(1, h*side/long)
			var err error
			if small, err = vision.Reduce(gray, w, h, 1, sw, sh); err != nil {
				return nil, fmt.Errorf("find chessboard: %w", err)
			}
		}
		c, err := chessboard(small, sw, sh)
		if err == nil {
			for i := range c {
				c[i][0] = (c[i][0]+0.5)*float64(w)/float64(sw) - 0.5
				c[i][1] = (c[i][1]+0.5)*float64(h)/float64(sh) - 0.5
			}
			return c, nil
		}
		if !errors.Is(err, ErrNoBoard) {
			return nil, err
		}
		if long <= side {
			break
		}
	}
	return nil, ErrNoBoard
}

func chessboard(gray []uint8, w, h int) ([][2]float64, error) {
	src, err := gocv.NewMatFromBytes(h, w, gocv.MatTypeCV8U, gray)
	if err != nil {
		return nil, fmt.Errorf("find chessboard: %w", err)
	}
	defer src.Close()
	corners := gocv.NewMat()
	defer corners.Close()
	ok := gocv.FindChessboardCorners(src, image.Pt(BoardCols, BoardRows), &corners,
		gocv.CalibCBAdaptiveThresh|gocv.CalibCBNormalizeImage|gocv.CalibCBFastCheck)
	if !ok || corners.Empty() || corners.Total() != BoardCols*BoardRows {
		return nil, ErrNoBoard
	}
	out := make([][2]float64, corners.Total())
	for i := range out {
		v := corners.GetVecfAt(i, 0)
		out[i] = [2]float64{float64(v[0]), float64(v[1])}
		if !(out[i][0] >= 0 && out[i][1] >= 0 && out[i][0] <= float64(w-1) && out[i][1] <= float64(h-1)) {
			return nil, ErrNoBoard
		}
	}
	return out, nil
}

// Calibrate makes a lens file from boards found in photos of w × h px. Photos whose residual is
// more than three times the median are left out (blurred, or the board was bent); left counts them.
func Calibrate(boards []camera.Board, w, h int) (f *File, left int, err error) {
	c, err := camera.Calibrate(boards, w, h)
	if err != nil {
		return nil, 0, fmt.Errorf("%w; take 8 to 20 photos of the board from all sides, tilted by 20 to 45°, filling the frame and its corners", err)
	}
	med := median(c.ViewRMS)
	var keep []camera.Board
	for i, r := range c.ViewRMS {
		if r <= 3*med {
			keep = append(keep, boards[i])
		}
	}
	used := len(boards)
	if len(keep) < used && len(keep) >= 3 {
		if again, err := camera.Calibrate(keep, w, h); err == nil {
			c, used = again, len(keep)
		}
	}
	d := math.Hypot(float64(w), float64(h))
	return &File{Format: format, Width: w, Height: h, Focal: c.Focal / d, FocalSD: c.FocalSD / d, FocalPx: c.Focal,
		CX: (c.CX - (float64(w)/2 - 0.5)) / d, CY: (c.CY - (float64(h)/2 - 0.5)) / d,
		K1: c.K1, K1SD: c.K1SD, K2: c.K2, RMSPx: c.RMS, Photos: used}, len(boards) - used, nil
}

func median(v []float64) float64 {
	return slices.Sorted(slices.Values(v))[len(v)/2]
}

// WriteBoard writes the board as a one-page vector PDF for lying paper, w × h mm.
func WriteBoard(out io.Writer, w, h float64) error {
	bw, bh := (BoardCols+1)*SquareMM, (BoardRows+1)*SquareMM
	if w < bw+10 || h < bh+10 {
		return fmt.Errorf("paper of %g × %g mm is too small for the board of %g × %g mm", w, h, bw, bh)
	}
	d := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "L", UnitStr: "mm", Size: fpdf.SizeType{Wd: h, Ht: w}})
	d.SetMargins(0, 0, 0)
	d.SetAutoPageBreak(false, 0)
	d.SetCatalogSort(true)
	day := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC) // fixed: the same board is the same file
	d.SetCreationDate(day)
	d.SetModificationDate(day)
	d.SetTitle("Chessboard for lens calibration", true)
	d.AddPage()
	x0, y0 := (w-bw)/2, (h-bh)/2
	d.SetFillColor(20, 20, 20)
	for r := 0; r <= BoardRows; r++ {
		for c := 0; c <= BoardCols; c++ {
			if (r+c)%2 == 0 {
				d.Rect(x0+SquareMM*float64(c), y0+SquareMM*float64(r), SquareMM, SquareMM, "F")
			}
		}
	}
	d.SetTextColor(60, 60, 60)
	d.SetFont("Helvetica", "", 8)
	d.Text(x0, y0-3, "Print on matt paper, glue flat on stiff board. Photograph it 8 to 20 times with the camera you use for the fruit, at its usual zoom,")
	d.Text(x0, y0+bh+5, "from all sides, tilted by 20 to 45 degrees, all of it in view, also near the corners of the picture. Then make the lens file of them, on the page or with offtype lens.")
	return d.Output(out)
}
