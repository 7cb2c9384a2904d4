package vision

import (
	"math"
	"os"
	"testing"
)

// colours.heic: fields of 16 px, written by heif-enc 1.15 at quality 95; the first is (214, 96, 32).
func TestDecodeHEIC(t *testing.T) {
	const allow = 5 // lossy coding at quality 95
	data, err := os.ReadFile("../photo/testdata/colours.heic")
	if err != nil {
		t.Fatal(err)
	}
	x, err := OpenHEIC(data)
	if err != nil {
		t.Fatal(err)
	}
	defer x.Close()
	if x.Width != 64 || x.Height != 48 {
		t.Fatalf("%d × %d, want 64 × 48", x.Width, x.Height)
	}
	pix, err := x.Decode()
	if err != nil {
		t.Fatal(err)
	}
	for c, want := range [3]float64{214, 96, 32} {
		if got := float64(pix[3*(8*64+8)+c]); math.Abs(got-want) > allow {
			t.Errorf("channel %d: %g, want %g", c, got, want)
		}
	}
	if icc, err := x.ICC(); err != nil || icc != nil {
		t.Errorf("profile of %d bytes, %v; want none", len(icc), err)
	}
	x.Close()
	if _, err := x.Decode(); err == nil {
		t.Error("decoding a closed picture: no error")
	}
}

// A step of area averaging against its formula: the mean of 2 × 2 px.
func TestReduceIsTheMean(t *testing.T) {
	pix := []uint8{0, 10, 20, 30, 40, 50, 60, 70}
	got, err := Reduce(pix, 4, 2, 1, 2, 1)
	if err != nil || got[0] != 25 || got[1] != 45 {
		t.Errorf("%v, %v; want [25 45]", got, err)
	}
	gray, err := Gray([]uint8{255, 0, 0, 0, 255, 0, 0, 0, 255}, 3, 1)
	// ITU-R BT.601 luma.
	if err != nil || gray[0] != 76 || gray[1] != 150 || gray[2] != 29 {
		t.Errorf("%v, %v; want [76 150 29]", gray, err)
	}
}

func TestRefineCorners(t *testing.T) {
	const side, half, allow = 60, 4, 0.2 // see TestDetectMarkersAtManySizes
	page := drawn(t, Dict4x4x50, 3, side, 40, 30, 160, 140)
	got, err := RefineCorners(page, 160, 140, [][2]float64{{41, 31}, {98.5, 30}}, half)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range [][2]float64{{39.5, 29.5}, {99.5, 29.5}} {
		if d := math.Hypot(got[i][0]-want[0], got[i][1]-want[1]); d > allow {
			t.Errorf("corner %d: %v, want %v", i, got[i], want)
		}
	}
	for _, bad := range [][2]float64{{-1, 5}, {math.NaN(), 5}, {5, 140}} {
		if _, err := RefineCorners(page, 160, 140, [][2]float64{bad}, half); err == nil {
			t.Errorf("point %v: no error", bad)
		}
	}
}
