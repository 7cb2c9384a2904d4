package segment

import (
	"image"
	"image/color"
	"math"

	"offtype/measure/geom"
)

// Step is one named picture of how the outlines came about.
type Step struct {
	Name  string // maps, regions, outlines, rejected
	Image image.Image
}

// Steps draws the stages of a result over the photo, at most longSide px wide or high:
// the network's maps, the regions, the final outlines with their kinds of edge (white free,
// orange contact, blue stalk, magenta frame, green stalk outline), and what was rejected.
// Reasons of rejected things are in res.Rejected, in drawing order.
func Steps(im Image, res *Result, longSide int) []Step {
	k := math.Min(1, float64(longSide)/float64(max(im.Width, im.Height)))
	base := shrink(im, k)
	var out []Step
	if res.Maps != nil {
		out = append(out, Step{"maps", mapPicture(base, res.Maps, k)}, Step{"regions", regionPicture(base, res, k)})
	}
	lines := cloneRGBA(base)
	for _, f := range res.Fruits {
		drawLine(lines, f.Stalk, k, func(int) color.RGBA { return color.RGBA{60, 255, 60, 255} })
		drawLine(lines, f.Outline, k, func(i int) color.RGBA { return edgeColour(f.Edge[i]) })
		for _, e := range []struct {
			p *geom.Px
			c color.RGBA
		}{{f.StemBase, color.RGBA{0, 220, 255, 255}}, {f.StalkTip, color.RGBA{60, 255, 60, 255}}, {f.Blossom, color.RGBA{255, 60, 200, 255}}} {
			if e.p != nil {
				dot(lines, *e.p, k, 4, e.c)
			}
		}
	}
	rej := cloneRGBA(base)
	for _, r := range res.Rejected {
		drawLine(rej, r.Outline, k, func(int) color.RGBA { return color.RGBA{255, 40, 40, 255} })
	}
	return append(out, Step{"outlines", lines}, Step{"rejected", rej})
}

func edgeColour(e geom.Edge) color.RGBA {
	switch e {
	case geom.EdgeContact:
		return color.RGBA{255, 140, 0, 255}
	case geom.EdgeStalk:
		return color.RGBA{40, 90, 255, 255}
	case geom.EdgeFrame:
		return color.RGBA{255, 0, 255, 255}
	}
	return color.RGBA{255, 255, 255, 255}
}

// shrink copies the photo scaled by k ≤ 1, nearest pixel.
func shrink(im Image, k float64) *image.RGBA {
	w, h := max(1, int(float64(im.Width)*k)), max(1, int(float64(im.Height)*k))
	o := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		sy := min(im.Height-1, int((float64(y)+0.5)/k))
		for x := range w {
			sx := min(im.Width-1, int((float64(x)+0.5)/k))
			p, q := im.Pix[3*(sy*im.Width+sx):], o.Pix[y*o.Stride+4*x:]
			q[0], q[1], q[2], q[3] = p[0], p[1], p[2], 255
		}
	}
	return o
}

func cloneRGBA(a *image.RGBA) *image.RGBA {
	b := *a
	b.Pix = append([]uint8(nil), a.Pix...)
	return &b
}

// onPicture turns photo px into px of a picture scaled by k.
func onPicture(p geom.Px, k float64) (x, y float64) { return (p.X+0.5)*k - 0.5, (p.Y+0.5)*k - 0.5 }

func drawLine(im *image.RGBA, line []geom.Px, k float64, col func(i int) color.RGBA) {
	for i, a := range line {
		b := line[(i+1)%len(line)]
		ax, ay := onPicture(a, k)
		bx, by := onPicture(b, k)
		n := 1 + int(math.Hypot(bx-ax, by-ay))
		for t := range n {
			f := float64(t) / float64(n)
			im.SetRGBA(int(math.Round(ax+f*(bx-ax))), int(math.Round(ay+f*(by-ay))), col(i))
		}
	}
}

func dot(im *image.RGBA, p geom.Px, k float64, r int, c color.RGBA) {
	x, y := onPicture(p, k)
	for dy := -r; dy <= r; dy++ {
		for dx := -r; dx <= r; dx++ {
			if dx*dx+dy*dy <= r*r {
				im.SetRGBA(int(math.Round(x))+dx, int(math.Round(y))+dy, c)
			}
		}
	}
}

// mapPicture lays the maps over the photo in grey: body red, stalk green, seam blue.
func mapPicture(base *image.RGBA, m *Maps, k float64) *image.RGBA {
	o := cloneRGBA(base)
	eachCell(o, m, k, func(q []uint8, i int) {
		g := (uint16(q[0]) + uint16(q[1]) + uint16(q[2])) / 6
		for c, v := range [3]float32{m.Body[i], m.Stalk[i], m.Seam[i]} {
			q[c] = uint8(min(255, float32(g)+150*v))
		}
	})
	return o
}

// regionPicture tints each region with a colour of its own.
func regionPicture(base *image.RGBA, res *Result, k float64) *image.RGBA {
	o := cloneRGBA(base)
	eachCell(o, res.Maps, k, func(q []uint8, i int) {
		if l := res.Regions[i]; l != 0 {
			h := float64(l) * 2.399963 // golden angle: neighbours differ
			for c := range 3 {
				v := 127 + 127*math.Cos(h+float64(c)*2*math.Pi/3)
				q[c] = uint8((float64(q[c]) + v) / 2)
			}
		}
	})
	return o
}

func eachCell(o *image.RGBA, m *Maps, k float64, f func(q []uint8, i int)) {
	b := o.Bounds()
	for y := range b.Dy() {
		cy := min(m.H-1, int((float64(y)+0.5)/k/m.Cell))
		for x := range b.Dx() {
			cx := min(m.W-1, int((float64(x)+0.5)/k/m.Cell))
			f(o.Pix[y*o.Stride+4*x:], cy*m.W+cx)
		}
	}
}
