package lens

import (
	"bytes"
	"errors"
	"image"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gocv.io/x/gocv"

	"offtype/measure/camera"
	"offtype/measure/geom"
	"offtype/pipeline/photo"
)

// viewOf looks at the middle of the board from a place around it.
func viewOf(lens camera.Camera, i, n int) camera.Camera {
	a := 2 * math.Pi * float64(i) / float64(n)
	at := geom.Vec3{X: 100 + 190*math.Cos(a), Y: -62 + 190*math.Sin(a), Z: 330}
	fw := geom.Vec3{X: 100 + 15*math.Sin(2*a), Y: -62 + 10*math.Cos(3*a)}.Sub(at).Unit()
	rt := fw.Cross(geom.Vec3{X: 0.2 * math.Sin(a), Y: 1}).Unit()
	dn := fw.Cross(rt)
	c := lens
	for k, r := range [3]geom.Vec3{rt, dn, fw} {
		c.R[k] = [3]float64{r.X, r.Y, r.Z}
	}
	c.T = geom.Vec3{}
	c.T = c.ToCamera(at).Scale(-1)
	return c
}

// boardPhoto renders the printed board with 16 rays a pixel.
func boardPhoto(c *camera.Camera, rnd *rand.Rand) *photo.Photo {
	const s = SquareMM
	p := &photo.Photo{Width: c.Width, Height: c.Height, Pix: make([]uint8, 3*c.Width*c.Height)}
	for y := range c.Height {
		for x := range c.Width {
			v := 0.0
			for k := range 16 {
				q := geom.Px{X: float64(x) + (float64(k%4)+0.5)/4 - 0.5, Y: float64(y) + (float64(k/4)+0.5)/4 - 0.5}
				g, _ := c.OnPlane(q, 0)
				col, row := math.Floor(g.X/s)+1, math.Floor(-g.Y/s)+1
				l := 0.75
				if col >= 0 && row >= 0 && col <= BoardCols && row <= BoardRows && int(col+row)%2 == 0 {
					l = 0.05
				}
				v += l / 16
			}
			e := math.Round(255*math.Pow(v, 1/2.2) + 1.5*rnd.NormFloat64())
			for k := range 3 {
				p.Pix[3*(y*c.Width+x)+k] = uint8(math.Max(0, math.Min(255, e)))
			}
		}
	}
	return p
}

// TestCalibrateAgainstOpenCV photographs the board six times through a known lens. Our focal
// length, distortion and residual must agree with the truth and, on the same corners, with OpenCV's
// own calibration (calib3d, two radial terms).
func TestCalibrateAgainstOpenCV(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 1))
	lens := camera.Camera{Width: 800, Height: 600, Focal: 640, CX: 405, CY: 294, K1: -0.08, K2: 0.03}
	var boards []camera.Board
	const n = 6
	for i := range n {
		c := viewOf(lens, i, n)
		b, err := FindBoard(boardPhoto(&c, rnd))
		if err != nil {
			t.Fatalf("view %d: %v", i, err)
		}
		boards = append(boards, b)
	}
	f, left, err := Calibrate(boards, 800, 600)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("focal %.2f (sd %.2f) truth 640, k1 %.4f, k2 %.4f, residual %.3f px, %d left out", f.FocalPx, f.FocalSD*1000, f.K1, f.K2, f.RMSPx, left)
	if math.Abs(f.FocalPx/640-1) > 0.002 || math.Abs(f.K1+0.08) > 0.01 || f.RMSPx > 0.15 {
		t.Errorf("focal %.2f, k1 %.4f, residual %.3f px", f.FocalPx, f.K1, f.RMSPx)
	}
	focal, rms := openCV(boards)
	t.Logf("OpenCV %s: focal %.2f, residual %.3f px", gocv.OpenCVVersion(), focal, rms)
	if math.Abs(f.FocalPx/focal-1) > 0.001 || math.Abs(f.RMSPx-rms) > 0.01 {
		t.Errorf("focal %.3f, OpenCV %.3f; residual %.4f px, OpenCV %.4f px", f.FocalPx, focal, f.RMSPx, rms)
	}
}

func openCV(boards []camera.Board) (focal, rms float64) {
	var obj [][]gocv.Point3f
	var img [][]gocv.Point2f
	for _, b := range boards {
		var o []gocv.Point3f
		var p []gocv.Point2f
		for i := range b.MM {
			o = append(o, gocv.Point3f{X: float32(b.MM[i][0]), Y: float32(b.MM[i][1])})
			p = append(p, gocv.Point2f{X: float32(b.Px[i].X), Y: float32(b.Px[i].Y)})
		}
		obj, img = append(obj, o), append(img, p)
	}
	ov, iv := gocv.NewPoints3fVectorFromPoints(obj), gocv.NewPoints2fVectorFromPoints(img)
	defer ov.Close()
	defer iv.Close()
	var m [4]gocv.Mat
	for i := range m {
		m[i] = gocv.NewMat()
		defer m[i].Close()
	}
	const zeroTangent, fixK3 = 8, 128 // OpenCV's numbers
	rms = gocv.CalibrateCamera(ov, iv, image.Pt(800, 600), &m[0], &m[1], &m[2], &m[3], zeroTangent|fixK3)
	return (m[0].GetDoubleAt(0, 0) + m[0].GetDoubleAt(1, 1)) / 2, rms
}

// What the file says of its photos is what the lens was worked out from: of three boards none can be left out,
// though one fits badly.
func TestCalibrateCountsWhatItUsed(t *testing.T) {
	lens := camera.Camera{Width: 800, Height: 600, Focal: 640, CX: 405, CY: 294}
	for _, n := range []int{3, 8} {
		rnd := rand.New(rand.NewPCG(2, 2))
		var boards []camera.Board
		for i := range n {
			c := viewOf(lens, i, n)
			var b camera.Board
			blur := 0.05
			if i == 0 {
				blur = 4
			}
			for k := range BoardCols * BoardRows {
				mm := [2]float64{SquareMM * float64(k%BoardCols), SquareMM * float64(k/BoardCols)}
				p := c.Project(geom.Vec3{X: mm[0], Y: -mm[1]})
				b.MM, b.Px = append(b.MM, mm), append(b.Px, geom.Px{X: p.X + blur*rnd.NormFloat64(), Y: p.Y + blur*rnd.NormFloat64()})
			}
			boards = append(boards, b)
		}
		f, left, err := Calibrate(boards, 800, 600)
		if err != nil {
			t.Fatal(err)
		}
		if f.Photos+left != n || n == 3 && left != 0 || n == 8 && left != 1 {
			t.Errorf("%d boards, one of them bad: %d used, %d left out", n, f.Photos, left)
		}
	}
}

func TestFindBoardRefuses(t *testing.T) {
	for _, side := range []int{1, 40, 300} {
		p := &photo.Photo{Width: side, Height: side, Pix: make([]uint8, 3*side*side)}
		if _, err := FindBoard(p); !errors.Is(err, ErrNoBoard) {
			t.Errorf("black picture of %d px: error %v", side, err)
		}
	}
	if _, _, err := Calibrate(nil, 800, 600); !errors.Is(err, camera.ErrBoards) {
		t.Errorf("no boards: error %v", err)
	}
}

func TestFileRoundTrip(t *testing.T) {
	f := &File{Width: 4000, Height: 3000, Focal: 0.61, FocalSD: 0.0004, FocalPx: 3050, CX: 0.002, CY: -0.001, K1: -0.01, K1SD: 0.001, K2: 0.002, RMSPx: 0.2, Photos: 12}
	name := filepath.Join(t.TempDir(), "l.json")
	if err := f.Write(name); err != nil {
		t.Fatal(err)
	}
	g, err := Read(name)
	if err != nil {
		t.Fatal(err)
	}
	if *g != *f {
		t.Errorf("read %+v, wrote %+v", g, f)
	}
	l, err := g.Lens(2000, 1500) // the same camera at half the size
	if err != nil || math.Abs(l.Focal.Mean-1525) > 1e-9 || math.Abs(l.CX.Mean-(999.5+5)) > 1e-9 {
		t.Errorf("half size: %+v, %v", l, err)
	}
	if l, err = g.Lens(1500, 2000); err != nil || l.CY.Mean != 999.5 || l.CY.SD < 4.9 {
		t.Errorf("held upright: %+v, %v", l, err)
	}
	if _, err = g.Lens(1600, 900); err == nil {
		t.Error("a photo of another shape was accepted")
	}
}

func TestReadRefuses(t *testing.T) {
	dir := t.TempDir()
	for name, text := range map[string]string{
		"not json":   "focal: 3",
		"other":      `{"format":"x"}`,
		"zero focal": `{"format":"offtype lens 1","width_px":10,"height_px":10}`,
		"wild k1":    `{"format":"offtype lens 1","width_px":10,"height_px":10,"focal_of_diagonal":0.6,"k1":7}`,
	} {
		p := filepath.Join(dir, "f.json")
		if err := os.WriteFile(p, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := Read(p); err == nil || !strings.Contains(err.Error(), "offtype lens") {
			t.Errorf("%s: error %v", name, err)
		}
	}
	if _, err := Read(filepath.Join(dir, "missing.json")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("missing file: error %v", err)
	}
}

func TestWriteBoard(t *testing.T) {
	var a, b bytes.Buffer
	if err := WriteBoard(&a, 297, 210); err != nil {
		t.Fatal(err)
	}
	if err := WriteBoard(&b, 297, 210); err != nil || !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Errorf("the board is not the same file twice: %v", err)
	}
	if err := WriteBoard(&b, 210, 297); err == nil {
		t.Error("upright paper was accepted")
	}
}
