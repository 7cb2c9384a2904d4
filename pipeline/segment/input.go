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
	src := shrunk{im: im, k: max(1, min(int(1/(leftToWeigh*s)), im.Width, im.Height))} // whole pixels first, which is quick
	s *= float64(src.k)
	in.data = takeArray(&inputs, 3*in.w*in.h)
	xs := axisWeights(cw, im.Width/src.k, s)
	ys := axisWeights(ch, im.Height/src.k, s)
	row := make([]float32, 3*(im.Width/src.k))
	plane := in.w * in.h
	for y := range ch {
		clear(row)
		for k, wgt := range ys[y].w {
			for i, v := range src.row(ys[y].from + k)[:len(row)] {
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

// shrunk is a photo reduced by the whole factor k, made a strip at a time: its pixels would take as
// much memory as the network's input.
type shrunk struct {
	im    Image
	k     int
	strip []uint8
	from  int // first row in strip
	rows  int
}

// row returns row y of the reduced photo, good until the next call.
func (s *shrunk) row(y int) []uint8 {
	if s.k == 1 {
		return s.im.Pix[3*s.im.Width*y:][:3*s.im.Width]
	}
	w := s.im.Width / s.k
	if y < s.from || y >= s.from+s.rows {
		const most = 64
		s.from, s.rows = y, min(most, s.im.Height/s.k-y)
		wide := 3 * s.im.Width * s.k
		pix, _, _, err := vision.Shrink(s.im.Pix[wide*y:][:wide*s.rows], s.im.Width, s.rows*s.k, 3, s.k)
		if err != nil { // the sizes are right, so only for want of memory
			panic(err)
		}
		s.strip = pix
	}
	return s.strip[3*w*(y-s.from):][:3*w]
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
