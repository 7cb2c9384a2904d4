package card

import (
	"math"
	"sort"

	"offtype/measure/camera"
	"offtype/measure/geom"
)

// Picture is a decoded photo: sRGB, 8 bits, rows from the top, orientation applied.
type Picture struct {
	W, H int
	RGB  []uint8 // W·H·3
}

var linearLUT = func() (t [256]float64) {
	for i := range t {
		v := float64(i) / 255
		if v <= 0.04045 {
			t[i] = v / 12.92
		} else {
			t[i] = math.Pow((v+0.055)/1.055, 2.4)
		}
	}
	return t
}()

// lumLUT is each channel's part of the luminance (IEC 61966-2-1).
var lumLUT = func() (t [3][256]float64) {
	for c, w := range [3]float64{0.2126, 0.7152, 0.0722} {
		for i, v := range linearLUT {
			t[c][i] = w * v
		}
	}
	return t
}()

// luminance returns the linear luminance at p, bilinear; ok is false outside the picture.
func (im *Picture) luminance(p geom.Px) (v float64, ok bool) {
	x0, y0 := math.Floor(p.X), math.Floor(p.Y)
	x, y := int(x0), int(y0)
	if !(x0 >= 0 && y0 >= 0 && x < im.W-1 && y < im.H-1) {
		return 0, false
	}
	fx, fy := p.X-x0, p.Y-y0
	return im.lum(x, y, fx, fy), true
}

// lum is luminance between pixel (x, y) and its neighbours to the right and below, which must be in the picture.
func (im *Picture) lum(x, y int, fx, fy float64) float64 {
	i := 3 * (y*im.W + x)
	p, q := im.RGB[i:][:6], im.RGB[i+3*im.W:][:6]
	a := lumLUT[0][p[0]] + lumLUT[1][p[1]] + lumLUT[2][p[2]]
	b := lumLUT[0][p[3]] + lumLUT[1][p[4]] + lumLUT[2][p[5]]
	c := lumLUT[0][q[0]] + lumLUT[1][q[1]] + lumLUT[2][q[2]]
	d := lumLUT[0][q[3]] + lumLUT[1][q[4]] + lumLUT[2][q[5]]
	a, c = a+fx*(b-a), c+fx*(d-c)
	return a + fy*(c-a)
}

// PatchSample is the colour of one printed place as the photo shows it.
type PatchSample struct {
	Name    string
	RGB     [3]float64 // encoded, 0–255: mean of the pixels within three robust standard deviations of the median
	Median  [3]float64
	SD      float64 // greatest of the three channels' standard deviations, encoded
	Px      geom.Px // centre of the place
	At      geom.Vec3
	N       int     // pixels
	Clipped float64 // share of pixels with a channel at 0–1 or 254–255
}

// sampleRect samples the middle of rectangle r of a sheet; keep is the share of each side used.
func (im *Picture) sampleRect(c *camera.Camera, pose camera.SheetPose, scale float64, name string, r Rect, keep float64) (s PatchSample, ok bool) {
	at := func(u, v float64) geom.Vec3 {
		x, y := r[0]+r[2]*(0.5+keep*(u-0.5)), r[1]+r[3]*(0.5+keep*(v-0.5))
		return pose.ToTable(x*scale, -y*scale)
	}
	s = PatchSample{Name: name, At: at(0.5, 0.5)}
	s.Px = c.Project(s.At)
	step := c.MMPerPx(s.At)
	if math.IsNaN(step) || step <= 0 {
		return s, false
	}
	nu := min(200, max(2, int(keep*r[2]*scale/step)))
	nv := min(200, max(2, int(keep*r[3]*scale/step)))
	var ch [3][]float64
	clipped := 0
	for i := 0; i < nu; i++ {
		for j := 0; j < nv; j++ {
			p := c.Project(at((float64(i)+0.5)/float64(nu), (float64(j)+0.5)/float64(nv)))
			x, y := int(math.Round(p.X)), int(math.Round(p.Y))
			if math.IsNaN(p.X) || x < 0 || y < 0 || x >= im.W || y >= im.H {
				return s, false
			}
			q := im.RGB[3*(y*im.W+x):]
			clip := false
			for k := range ch {
				ch[k] = append(ch[k], float64(q[k]))
				clip = clip || q[k] <= 1 || q[k] >= 254
			}
			if clip {
				clipped++
			}
		}
	}
	s.N = len(ch[0])
	s.Clipped = float64(clipped) / float64(s.N)
	for k := range ch {
		var sd float64
		s.RGB[k], s.Median[k], sd = robustMean(ch[k])
		s.SD = math.Max(s.SD, sd)
	}
	return s, true
}

// robustMean returns the mean and standard deviation of the values within three robust standard
// deviations (1.4826 · median absolute deviation, at least 1) of the median.
func robustMean(v []float64) (mean, median, sd float64) {
	v = append([]float64(nil), v...)
	sort.Float64s(v)
	median = v[len(v)/2]
	d := make([]float64, len(v))
	for i := range v {
		d[i] = math.Abs(v[i] - median)
	}
	sort.Float64s(d)
	lim := 3 * math.Max(1, 1.4826*d[len(d)/2])
	n, s, ss := 0.0, 0.0, 0.0
	for _, x := range v {
		if math.Abs(x-median) <= lim {
			n++
			s += x
			ss += x * x
		}
	}
	mean = s / n
	return mean, median, math.Sqrt(math.Max(0, ss/n-mean*mean))
}

// paperPlaces lists squares of bare paper on the card, layout mm: nothing is printed within 1.5 mm,
// the cut line is 2 mm away, the writing field is left out.
func (l *Layout) paperPlaces() []Rect {
	const side, gap, step = 4.0, 1.5, 6.0
	var busy []Rect
	for _, at := range l.Markers.TopLeftMM {
		busy = append(busy, Rect{at[0], at[1], l.Markers.SideMM, l.Markers.SideMM})
	}
	for _, p := range l.Patches {
		busy = append(busy, p.Rect)
	}
	a, b := l.CheckLine.From, l.CheckLine.To
	busy = append(busy, l.WritingField, Rect{a[0] - 2, a[1] - 14, b[0] - a[0] + 4, 20}, // the line and its label
		Rect{l.WritingField[0], l.WritingField[1] + l.WritingField[3], 50, 5}) // card number
	var out []Rect
	for y := 2.0; y+side <= l.HeightMM-2; y += step {
		for x := 2.0; x+side <= l.WidthMM-2; x += step {
			free := true
			for _, q := range busy {
				if x+side+gap > q[0] && x-gap < q[0]+q[2] && y+side+gap > q[1] && y-gap < q[1]+q[3] {
					free = false
					break
				}
			}
			if free {
				out = append(out, Rect{x, y, side, side})
			}
		}
	}
	return out
}
