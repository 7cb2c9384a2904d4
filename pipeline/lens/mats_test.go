//go:build matprofile

package lens

import (
	"bytes"
	"math/rand/v2"
	"testing"

	"gocv.io/x/gocv"

	"offtype/measure/camera"
	"offtype/pipeline/photo"
)

// TestMatsAreClosed counts OpenCV's matrices before and after boards are sought, found or not:
// go test -tags matprofile -run Mats ./pipeline/card ./pipeline/lens
func TestMatsAreClosed(t *testing.T) {
	before := gocv.MatProfile.Count()
	c := viewOf(camera.Camera{Width: 800, Height: 600, Focal: 640, CX: 399.5, CY: 299.5}, 1, 12)
	if _, err := FindBoard(boardPhoto(&c, rand.New(rand.NewPCG(1, 2)))); err != nil {
		t.Errorf("no board is found: %v", err)
	}
	if _, err := FindBoard(&photo.Photo{Width: 300, Height: 300, Pix: make([]uint8, 3*300*300)}); err == nil {
		t.Error("a board is found on black")
	}
	if n := gocv.MatProfile.Count() - before; n != 0 {
		var b bytes.Buffer
		_ = gocv.MatProfile.WriteTo(&b, 1)
		t.Errorf("%d matrices are left open\n%s", n, b.String())
	}
}
