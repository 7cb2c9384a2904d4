package segment

import (
	"image"
	"image/color"
	"image/png"
	"os"
	"path/filepath"
	"testing"

	"offtype/measure/geom"
)

// savePictures writes the step pictures and, for each fruit whose overlap is poor, a crop with the
// true mask's border in red, when SEGMENT_PICTURES names a folder.
func savePictures(t testing.TB, name string, im Image, l labels, res *Result) {
	dir := os.Getenv("SEGMENT_PICTURES")
	if dir == "" {
		return
	}
	write := func(n string, p image.Image) {
		f, err := os.Create(filepath.Join(dir, name+"-"+n+".png"))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if err := png.Encode(f, p); err != nil {
			t.Fatal(err)
		}
	}
	for _, s := range Steps(im, res, 1600) {
		write(s.Name, s.Image)
	}
	// Twice the size, true border in red dots.
	lo, hi := geom.Px{X: 1e9, Y: 1e9}, geom.Px{}
	for _, f := range res.Fruits {
		a, b := geom.Bounds(f.Outline)
		lo, hi = geom.Px{X: min(lo.X, a.X), Y: min(lo.Y, a.Y)}, geom.Px{X: max(hi.X, b.X), Y: max(hi.Y, b.Y)}
	}
	x0, y0, x1, y1 := max(0, int(lo.X)-20), max(0, int(lo.Y)-20), min(im.Width, int(hi.X)+20), min(im.Height, int(hi.Y)+20)
	const z = 3
	o := image.NewRGBA(image.Rect(0, 0, z*(x1-x0), z*(y1-y0)))
	for y := range z * (y1 - y0) {
		for x := range z * (x1 - x0) {
			p := im.Pix[3*((y/z+y0)*im.Width+x/z+x0):]
			o.SetRGBA(x, y, color.RGBA{p[0], p[1], p[2], 255})
		}
	}
	at := func(x, y int) uint8 { return l.pix[min(y, l.h-1)*l.w+min(x, l.w-1)] }
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			red := color.RGBA{255, 0, 0, 255}
			if at(x, y) != at(x+1, y) {
				for k := range z {
					o.SetRGBA(z*(x-x0)+z, z*(y-y0)+k, red)
				}
			}
			if at(x, y) != at(x, y+1) {
				for k := range z {
					o.SetRGBA(z*(x-x0)+k, z*(y-y0)+z, red)
				}
			}
		}
	}
	for _, f := range res.Fruits {
		line := make([]geom.Px, len(f.Outline))
		for i, p := range f.Outline {
			line[i] = geom.Px{X: p.X - float64(x0), Y: p.Y - float64(y0)}
		}
		drawLine(o, line, z, func(i int) color.RGBA { return edgeColour(f.Edge[i]) })
	}
	write("zoom", o)
}
