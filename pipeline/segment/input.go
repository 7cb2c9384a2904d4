package segment

import (
	"math"

	"offtype/pipeline/vision"
)

// input is the network's input: planes R, G, B of h × w values 0–1, padded with the edge's colour.
type input struct {
	data  []float32
	w, h  int     // padded, multiples of 32
	scale float64 // input px a photo px
}

// scaleInput averages the photo's pixels down (or enlarges it, bilinear) so that its long side
// has longSide px, and pads right and below to multiples of 32.
func scaleInput(im Image, longSide int) input {
	s := float64(longSide) / float64(max(im.Width, im.Height))
	cw, ch := max(1, int(math.Round(float64(im.Width)*s))), max(1, int(math.Round(float64(im.Height)*s)))
	in := input{w: (cw + 31) / 32 * 32, h: (ch + 31) / 32 * 32, scale: s}
	if k := int(1 / (leftToWeigh * s)); k > 1 { // whole pixels first, which is quick
		if pix, w, h, err := vision.Shrink(im.Pix, im.Width, im.Height, 3, k); err == nil {
			im, s = Image{pix, w, h}, s*float64(k)
		}
	}
	in.data = make([]float32, 3*in.w*in.h)
	xs := axisWeights(cw, im.Width, s)
	ys := axisWeights(ch, im.Height, s)
	row := make([]float32, 3*im.Width)
	plane := in.w * in.h
	for y := range ch {
		clear(row)
		for k, wgt := range ys[y].w {
			src := im.Pix[3*im.Width*(ys[y].from+k):][:3*im.Width]
			for i, v := range src {
				row[i] += wgt * float32(v)
			}
		}
		dst := in.data[y*in.w:]
		for x := range cw {
			var r, g, b float32
			p := 3 * xs[x].from
			for _, wgt := range xs[x].w {
				r += wgt * row[p]
				g += wgt * row[p+1]
				b += wgt * row[p+2]
				p += 3
			}
			dst[x], dst[plane+x], dst[2*plane+x] = r/255, g/255, b/255
		}
	}
	in.pad(cw, ch)
	return in
}

// leftToWeigh is the factor that is left, at least, for averaging with weights after whole pixels were averaged.
const leftToWeigh = 1.9

// pad repeats the last column and row.
func (in *input) pad(cw, ch int) {
	for c := range 3 {
		p := in.data[c*in.w*in.h:][:in.w*in.h]
		for y := range ch {
			for x := cw; x < in.w; x++ {
				p[y*in.w+x] = p[y*in.w+cw-1]
			}
		}
		for y := ch; y < in.h; y++ {
			copy(p[y*in.w:(y+1)*in.w], p[(ch-1)*in.w:ch*in.w])
		}
	}
}

type weights struct {
	from int
	w    []float32
}

// axisWeights returns, for each of n output px along an axis of size px, the source px and their
// weights (sum 1): the covered share when scaling down, linear interpolation when enlarging.
func axisWeights(n, size int, s float64) []weights {
	out := make([]weights, n)
	for i := range out {
		if s >= 1 {
			c := clamp((float64(i)+0.5)/s-0.5, 0, float64(size-1))
			j := min(int(c), max(0, size-2))
			f := float32(c - float64(j))
			out[i] = weights{j, []float32{1 - f, f}[:min(2, size)]}
			continue
		}
		lo, hi := float64(i)/s, math.Min(float64(i+1)/s, float64(size))
		j0, j1 := min(int(lo), size-1), min(int(math.Ceil(hi)), size)
		w := make([]float32, 0, j1-j0)
		sum := 0.0
		for j := j0; j < max(j1, j0+1); j++ {
			c := math.Max(0, math.Min(hi, float64(j+1))-math.Max(lo, float64(j)))
			w = append(w, float32(c))
			sum += c
		}
		if sum <= 0 {
			w, sum = []float32{1}, 1
		}
		for k := range w {
			w[k] /= float32(sum)
		}
		out[i] = weights{j0, w}
	}
	return out
}
