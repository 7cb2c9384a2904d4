//go:build matprofile

package card

import (
	"bytes"
	"testing"

	"gocv.io/x/gocv"

	"offtype/measure/geom"
)

// TestMatsAreClosed counts OpenCV's matrices before and after coins are sought, found or not:
// go test -tags matprofile -run Mats ./pipeline/card ./pipeline/lens
func TestMatsAreClosed(t *testing.T) {
	cam := aim(1200, 900, 26, geom.Vec3{X: 20, Y: 30, Z: 600}, geom.Vec3{X: 20, Y: 30}, 10)
	before := gocv.MatProfile.Count()
	for _, coin := range []bool{true, false} {
		s := coinShot(cam, coin)
		_, _ = FindCoin(asPhoto(s.take(), 26), 25.75, Options{})
	}
	if n := gocv.MatProfile.Count() - before; n != 0 {
		var b bytes.Buffer
		_ = gocv.MatProfile.WriteTo(&b, 1)
		t.Errorf("%d matrices are left open\n%s", n, b.String())
	}
}
