// Package picture makes the pictures that people look at: a small preview of a photo without any
// metadata, and cut-outs of single fruit, stem end up, at a stated scale. It changes no original.
package picture

import (
	"encoding/base64"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"math"
	"slices"

	"offtype/measure/geom"
	"offtype/pipeline/record"
	"offtype/pipeline/vision"
)

// PreviewSide is the long side of stored previews, px.
const PreviewSide = 2000

// Fit returns the size of a picture of w × h px whose long side is at most side px, and its scale. It never
// enlarges.
func Fit(w, h, side int) (ow, oh int, scale float64) {
	scale = math.Min(1, float64(side)/float64(max(w, h)))
	return max(1, int(math.Round(float64(w)*scale))), max(1, int(math.Round(float64(h)*scale))), scale
}

// RGB is a picture of 3 bytes a px, rows from the top without padding: the form that photos are decoded to and
// JPEG is made from. Copies and changes of form cost more than most of what is done with a preview.
type RGB struct {
	Pix  []uint8
	W, H int
}

// ColorModel says that colours are opaque RGB.
func (m *RGB) ColorModel() color.Model { return color.RGBAModel }

// Bounds is the picture's size, from (0, 0).
func (m *RGB) Bounds() image.Rectangle { return image.Rect(0, 0, m.W, m.H) }

// At returns the colour of a px, black outside the picture.
func (m *RGB) At(x, y int) color.Color {
	if x < 0 || y < 0 || x >= m.W || y >= m.H {
		return color.RGBA{A: 255}
	}
	p := m.Pix[3*(y*m.W+x):][:3]
	return color.RGBA{p[0], p[1], p[2], 255}
}

// ToRGB drops the alpha of a picture, which must be opaque. A picture that is RGB already is returned as it is.
func ToRGB(m image.Image) *RGB {
	if r, ok := m.(*RGB); ok {
		return r
	}
	w, h := m.Bounds().Dx(), m.Bounds().Dy()
	out := &RGB{Pix: make([]uint8, 3*w*h), W: w, H: h}
	pix, stride, off := fourBytes(m)
	for y := range h {
		from, to := pix[off+y*stride:][:4*w], out.Pix[3*y*w:][:3*w]
		for len(to) >= 3 {
			to[0], to[1], to[2] = from[0], from[1], from[2]
			from, to = from[4:], to[3:]
		}
	}
	return out
}

// fourBytes returns the px of a picture as 4 bytes each, and where the first lies. Only other kinds than NRGBA and
// RGBA are copied.
func fourBytes(m image.Image) (pix []uint8, stride, off int) {
	r := m.Bounds()
	switch m := m.(type) {
	case *image.NRGBA:
		return m.Pix, m.Stride, m.PixOffset(r.Min.X, r.Min.Y)
	case *image.RGBA:
		return m.Pix, m.Stride, m.PixOffset(r.Min.X, r.Min.Y)
	}
	n := toNRGBA(m)
	return n.Pix, n.Stride, 0
}

// Shrink averages a picture down so that the long side is at most side px and returns it with its scale (px of the
// result a px of the picture). It never enlarges.
func Shrink(m *RGB, side int) (*RGB, float64) {
	w, h, s := Fit(m.W, m.H, side)
	if s == 1 {
		return m, 1
	}
	pix, err := vision.Reduce(m.Pix, m.W, m.H, 3, w, h)
	if err != nil { // cannot be: sizes and px fit each other
		panic(err)
	}
	return &RGB{Pix: pix, W: w, H: h}, s
}

// JPEG encodes an opaque picture without metadata.
func JPEG(m image.Image, quality int) ([]byte, error) {
	r := ToRGB(m)
	b, err := vision.EncodeJPEG(r.Pix, r.W, r.H, quality)
	if err != nil {
		return nil, fmt.Errorf("encode picture: %w", err)
	}
	return b, nil
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

// unscaledHigh is the height of a cut-out without a scale, px.
const unscaledHigh = 160

// CutOut turns the fruit stem end up and cuts it from the preview along its outline (and stalk),
// pxPerMM px a mm, on Paper. scale is preview px a photo px. Without a scale the fruit is made 160 px high.
func CutOut(preview image.Image, scale float64, f *record.Fruit, pxPerMM float64) Cut {
	if ppm := photoPxPerMM(f); ppm > 0 && pxPerMM > 0 {
		return cut(preview, scale, f, pxPerMM, func(float64) float64 { return pxPerMM / ppm })
	}
	return CutHigh(preview, scale, f, unscaledHigh)
}

// CutHigh cuts a fruit out as CutOut does, high px high whatever its size; PxPerMM is 0.
func CutHigh(preview image.Image, scale float64, f *record.Fruit, high float64) Cut {
	return cut(preview, scale, f, 0, func(tall float64) float64 { return high / math.Max(1, tall) })
}

// cut cuts a fruit out. zoom says how many px a photo px becomes where the turned fruit is so many photo px tall.
func cut(preview image.Image, scale float64, f *record.Fruit, pxPerMM float64, zoom func(tall float64) float64) Cut {
	src := sampled(preview)
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
	k := zoom(hi.Y - lo.Y)
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
			r, g, b := src.bilinear(p.X+(scale-1)/2, p.Y+(scale-1)/2)
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

// samples reads colours between the px of a picture.
type samples struct {
	pix          []uint8
	w, h         int
	stride, each int // bytes a row and a px
}

func sampled(m image.Image) samples {
	w, h := m.Bounds().Dx(), m.Bounds().Dy()
	if r, ok := m.(*RGB); ok {
		return samples{r.Pix, w, h, 3 * w, 3}
	}
	pix, stride, off := fourBytes(m)
	return samples{pix[off:], w, h, stride, 4}
}

func (s samples) bilinear(x, y float64) (r, g, b float32) {
	x, y = math.Max(0, math.Min(x, float64(s.w-1))), math.Max(0, math.Min(y, float64(s.h-1)))
	x0, y0 := int(x), int(y)
	x1, y1 := min(x0+1, s.w-1), min(y0+1, s.h-1)
	fx, fy := float32(x-float64(x0)), float32(y-float64(y0))
	p00, p10 := s.pix[y0*s.stride+x0*s.each:][:3], s.pix[y0*s.stride+x1*s.each:][:3]
	p01, p11 := s.pix[y1*s.stride+x0*s.each:][:3], s.pix[y1*s.stride+x1*s.each:][:3]
	var v [3]float32
	for c := range 3 {
		v[c] = (float32(p00[c])*(1-fx)+float32(p10[c])*fx)*(1-fy) + (float32(p01[c])*(1-fx)+float32(p11[c])*fx)*fy
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
