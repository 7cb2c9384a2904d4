// Package picture makes the pictures that people look at: a small preview of a photo without any
// metadata, and cut-outs of single fruit, stem end up, at a stated scale. It changes no original.
package picture

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"math"
	"slices"

	"offtype/measure/geom"
	"offtype/pipeline/record"
)

// PreviewSide is the long side of stored previews, px.
const PreviewSide = 2000

// Fit returns the size of a picture of w × h px whose long side is at most side px, and its scale. It never
// enlarges.
func Fit(w, h, side int) (ow, oh int, scale float64) {
	scale = math.Min(1, float64(side)/float64(max(w, h)))
	return max(1, int(math.Round(float64(w)*scale))), max(1, int(math.Round(float64(h)*scale))), scale
}

// Shrink averages RGB8 pixels (w × h) down so that the long side is at most side px and returns
// the picture with its scale (preview px a photo px). It never enlarges.
func Shrink(pix []uint8, w, h, side int) (*image.NRGBA, float64) {
	ow, oh, s := Fit(w, h, side)
	out := image.NewNRGBA(image.Rect(0, 0, ow, oh))
	xs := make([]int, ow+1)
	for i := range xs {
		xs[i] = i * w / ow
	}
	sum := make([]uint32, 3*ow)
	for y := range oh {
		clear(sum)
		y0, y1 := y*h/oh, max(y*h/oh+1, (y+1)*h/oh)
		for yy := y0; yy < y1; yy++ {
			row := pix[3*w*yy:][:3*w]
			for x := range ow {
				var r, g, b uint32
				for xx := xs[x]; xx < max(xs[x]+1, xs[x+1]); xx++ {
					r, g, b = r+uint32(row[3*xx]), g+uint32(row[3*xx+1]), b+uint32(row[3*xx+2])
				}
				sum[3*x], sum[3*x+1], sum[3*x+2] = sum[3*x]+r, sum[3*x+1]+g, sum[3*x+2]+b
			}
		}
		for x := range ow {
			n := uint32((y1 - y0) * max(1, xs[x+1]-xs[x]))
			o := out.Pix[y*out.Stride+4*x:]
			o[0], o[1], o[2], o[3] = uint8((sum[3*x]+n/2)/n), uint8((sum[3*x+1]+n/2)/n), uint8((sum[3*x+2]+n/2)/n), 255
		}
	}
	return out, s
}

// JPEG encodes an opaque picture without metadata.
func JPEG(m image.Image, quality int) ([]byte, error) {
	var b bytes.Buffer
	if n, ok := m.(*image.NRGBA); ok && n.Opaque() {
		m = &image.RGBA{Pix: n.Pix, Stride: n.Stride, Rect: n.Rect} // the same px when opaque; the encoder is quick on it
	}
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: quality}); err != nil {
		return nil, fmt.Errorf("encode picture: %w", err)
	}
	return b.Bytes(), nil
}

// DataURI returns JPEG bytes as a data URI for a page.
func DataURI(jpg []byte) string {
	return "data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(jpg)
}

// Paper is the ground that cut-outs lie on.
var Paper = color.NRGBA{250, 248, 243, 255}

// Cut is a cut-out with what is needed to draw on it.
type Cut struct {
	Image   *image.NRGBA
	PxPerMM float64
	ToCut   func(geom.Px) geom.Px // photo px → cut-out px
	Upright bool                  // stem end up; false: direction of the axis is not known
}

// axis returns the unit direction on the photo from blossom end to stem end, (0, −1) when the
// fruit has no known axis.
func axis(f *record.Fruit) (geom.Px, bool) {
	if d := f.LengthLine[0].Sub(f.LengthLine[1]); d.Norm() > 2 {
		return d.Scale(1 / d.Norm()), true
	}
	if f.StemPx != nil && f.BlossomPx != nil {
		if d := f.StemPx.Sub(*f.BlossomPx); d.Norm() > 2 {
			return d.Scale(1 / d.Norm()), true
		}
	}
	return geom.Px{X: 0, Y: -1}, false
}

// photoPxPerMM returns how many photo px one mm of the fruit's width spans where the fruit lies;
// 0 when there is no scale.
func photoPxPerMM(f *record.Fruit) float64 {
	if f.Width.Ok() && f.Width.V > 0 {
		if d := f.WidthLine[0].Sub(f.WidthLine[1]).Norm(); d > 2 {
			return d / f.Width.V
		}
	}
	return 0
}

// CutOut turns the fruit stem end up and cuts it from the preview along its outline (and stalk),
// pxPerMM px a mm, on Paper. scale is preview px a photo px. Without a scale the fruit is made 160 px high.
func CutOut(preview image.Image, scale float64, f *record.Fruit, pxPerMM float64) Cut {
	src := toNRGBA(preview)
	up, known := axis(f)
	right := geom.Px{X: -up.Y, Y: up.X}
	pts := append(append([]geom.Px(nil), f.Outline...), f.StalkPx...)
	if len(pts) < 3 {
		return Cut{Image: image.NewNRGBA(image.Rect(0, 0, 1, 1)), PxPerMM: pxPerMM, ToCut: func(p geom.Px) geom.Px { return p }}
	}
	turn := func(p geom.Px) geom.Px { return geom.Px{X: p.Dot(right), Y: -p.Dot(up)} }
	turned := make([]geom.Px, len(pts))
	for i, p := range pts {
		turned[i] = turn(p)
	}
	lo, hi := geom.Bounds(turned)
	k := 0.0
	if ppm := photoPxPerMM(f); ppm > 0 && pxPerMM > 0 {
		k = pxPerMM / ppm
	} else {
		k = 160 / math.Max(1, hi.Y-lo.Y)
		pxPerMM = 0
	}
	const margin = 4
	w, h := int(math.Ceil((hi.X-lo.X)*k))+2*margin, int(math.Ceil((hi.Y-lo.Y)*k))+2*margin
	w, h = min(max(w, 1), 4000), min(max(h, 1), 4000)
	toCut := func(p geom.Px) geom.Px {
		q := turn(p)
		return geom.Px{X: (q.X-lo.X)*k + margin, Y: (q.Y-lo.Y)*k + margin}
	}
	cov := make([]float32, w*h)
	fill(cov, w, h, f.Outline, toCut)
	fill(cov, w, h, f.StalkPx, toCut)
	out := image.NewNRGBA(image.Rect(0, 0, w, h))
	draw.Draw(out, out.Bounds(), image.NewUniform(Paper), image.Point{}, draw.Src)
	for y := range h {
		for x := range w {
			c := cov[y*w+x]
			if c <= 0 {
				continue
			}
			q := geom.Px{X: (float64(x)-margin)/k + lo.X, Y: (float64(y)-margin)/k + lo.Y}
			p := right.Scale(q.X).Add(up.Scale(-q.Y)).Scale(scale)
			r, g, b := bilinear(src, p.X+(scale-1)/2, p.Y+(scale-1)/2)
			o := out.Pix[y*out.Stride+4*x:]
			c = min(c, 1)
			o[0], o[1], o[2] = mix(o[0], r, c), mix(o[1], g, c), mix(o[2], b, c)
		}
	}
	return Cut{Image: out, PxPerMM: pxPerMM, ToCut: toCut, Upright: known}
}

func mix(a uint8, b, c float32) uint8 { return uint8(float32(a)*(1-c) + b*c + .5) }

// fill adds the coverage (0–1) of the closed outline, four samples a px each way.
func fill(cov []float32, w, h int, outline []geom.Px, to func(geom.Px) geom.Px) {
	if len(outline) < 3 {
		return
	}
	p := make([]geom.Px, len(outline))
	for i, q := range outline {
		p[i] = to(q)
	}
	const n = 4
	var xs []float64
	for sy := range h * n {
		y := (float64(sy)+.5)/n - .5
		xs = xs[:0]
		for i, a := range p {
			b := p[(i+1)%len(p)]
			if (a.Y > y) != (b.Y > y) {
				xs = append(xs, a.X+(b.X-a.X)*(y-a.Y)/(b.Y-a.Y))
			}
		}
		slices.Sort(xs)
		row := cov[(sy/n)*w:][:w]
		for i := 0; i+1 < len(xs); i += 2 {
			span(row, xs[i], xs[i+1], 1.0/n)
		}
	}
	for i, c := range cov {
		cov[i] = min(c, 1)
	}
}

// span adds weight to the pixels between a and b, by the share each is covered.
func span(row []float32, a, b, weight float64) {
	a, b = math.Max(a+.5, 0), math.Min(b+.5, float64(len(row)))
	for x := int(a); x < len(row) && float64(x) < b; x++ {
		c := math.Min(b, float64(x+1)) - math.Max(a, float64(x))
		if c > 0 {
			row[x] += float32(c * weight)
		}
	}
}

func bilinear(m *image.NRGBA, x, y float64) (r, g, b float32) {
	w, h := m.Rect.Dx(), m.Rect.Dy()
	x, y = math.Max(0, math.Min(x, float64(w-1))), math.Max(0, math.Min(y, float64(h-1)))
	x0, y0 := int(x), int(y)
	x1, y1 := min(x0+1, w-1), min(y0+1, h-1)
	fx, fy := float32(x-float64(x0)), float32(y-float64(y0))
	at := func(x, y, c int) float32 { return float32(m.Pix[y*m.Stride+4*x+c]) }
	var v [3]float32
	for c := range 3 {
		v[c] = (at(x0, y0, c)*(1-fx)+at(x1, y0, c)*fx)*(1-fy) + (at(x0, y1, c)*(1-fx)+at(x1, y1, c)*fx)*fy
	}
	return v[0], v[1], v[2]
}

func toNRGBA(m image.Image) *image.NRGBA {
	if n, ok := m.(*image.NRGBA); ok && n.Rect.Min == (image.Point{}) {
		return n
	}
	n := image.NewNRGBA(image.Rect(0, 0, m.Bounds().Dx(), m.Bounds().Dy()))
	draw.Draw(n, n.Bounds(), m, m.Bounds().Min, draw.Src)
	return n
}
