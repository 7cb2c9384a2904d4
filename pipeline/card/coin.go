package card

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/mat"

	"offtype/measure/geom"
	"offtype/pipeline/photo"
	"offtype/pipeline/vision"
)

// ErrNoCoin is returned when no coin, or more than one likely coin, was seen.
var ErrNoCoin = errors.New("no coin found; lay one coin flat and clear of the fruit, or take the scale from a line of known length")

// Coin is a round coin seen in the photo.
type Coin struct {
	Centre       geom.Px
	Major, Minor float64 // diameters of its ellipse, px
	Turn         float64 // of the major axis from x towards y, radians
	Seen         float64 // share of the rim that was seen
	Misfit       float64 // root mean square distance of the rim from the ellipse, px
}

// FindCoin takes the scale from one round coin of diameter mm that lies on the table. The camera
// is assumed to look straight down; the longer axis of the coin's ellipse is its diameter. Found
// has no cards. Errors: ErrNoCoin (wrapped).
func FindCoin(ph *photo.Photo, mm float64, o Options) (*Found, error) {
	if !(mm >= 5 && mm <= 100) {
		return nil, fmt.Errorf("coin of %g mm: give its diameter in mm, 5 to 100", mm)
	}
	l, from, err := LensOf(ph, o.LensFile)
	if err != nil {
		return nil, err
	}
	c, err := findCoin(&Picture{W: ph.Width, H: ph.Height, RGB: ph.Pix}, mm, l.Focal.Mean)
	if err != nil {
		return nil, err
	}
	f := overhead(ph, l, from, c.Centre, mm/c.Major, math.Hypot(coinThicknessSD, math.Max(0.5, 2*c.Misfit)/c.Major))
	f.ResidualPx = c.Misfit
	f.note(NoteCoinScale)
	if c.Minor/c.Major < 0.94 { // tilted by 20° or more
		f.note(NoteOblique)
	}
	return f, nil
}

// findCoin looks for circles in a reduced picture and keeps those whose rim, followed in the full
// picture, is an ellipse all round. A coin much rounder or sharper than all others wins; two alike
// are an error, since their sizes may differ.
func findCoin(im *Picture, mm, focal float64) (*Coin, error) {
	guesses, err := circles(im, mm, focal)
	if err != nil {
		return nil, err
	}
	var good []Coin
	for _, g := range guesses {
		c, ok := im.rim(g)
		if !ok || c.Seen < 0.88 || c.Minor/c.Major < 0.75 || c.Misfit > math.Max(0.45, 0.006*c.Major) {
			continue
		}
		known := false
		for i := range good {
			if good[i].Centre.Sub(c.Centre).Norm() < 0.5*math.Max(c.Major, good[i].Major) {
				known = true
				if c.score() < good[i].score() { // the outer of two rings, unless it fits worse
					good[i] = c
				}
			}
		}
		if !known {
			good = append(good, c)
		}
	}
	sort.Slice(good, func(i, j int) bool { return good[i].score() < good[j].score() })
	if len(good) == 0 {
		return nil, ErrNoCoin
	}
	if len(good) > 1 && good[1].score() < 1.3*good[0].score() {
		return nil, fmt.Errorf("%d round things could be the coin (at %.0f, %.0f and %.0f, %.0f px): %w",
			len(good), good[0].Centre.X, good[0].Centre.Y, good[1].Centre.X, good[1].Centre.Y, ErrNoCoin)
	}
	return &good[0], nil
}

// score is small for a sharp full circle.
func (c *Coin) score() float64 {
	return (c.Misfit/c.Major + 0.002) * (1 + 4*(1-c.Seen)) * (1 + 2*(1-c.Minor/c.Major))
}

// circles proposes circles: the coin may be 1/150 to 1/4 of the picture's longer side, and the
// camera 150 mm to 4 m above it.
func circles(im *Picture, mm, focal float64) ([]Coin, error) {
	gray, err := vision.Gray(im.RGB, im.W, im.H)
	if err != nil {
		return nil, fmt.Errorf("find coin: %w", err)
	}
	long := float64(max(im.W, im.H))
	loPx := math.Max(math.Max(12, long/150), mm*focal/4000)
	hiPx := math.Min(long/4, mm*focal/150)
	var out []Coin
	// a small coin needs detail, a large one does not
	for _, side := range []float64{2400, 800} {
		k := math.Min(1, side/long)
		lo, hi := math.Max(12, loPx*k), math.Min(hiPx*k, 120)
		if lo >= hi {
			continue
		}
		w, h := max(16, int(float64(im.W)*k)), max(16, int(float64(im.H)*k))
		small := gray
		if k < 1 {
			if small, err = vision.Reduce(gray, im.W, im.H, 1, w, h); err != nil {
				return nil, fmt.Errorf("find coin: %w", err)
			}
		} else {
			w, h = im.W, im.H
		}
		cs, err := hough(small, w, h, lo/2, hi/2)
		if err != nil {
			return nil, fmt.Errorf("find coin: %w", err)
		}
		for _, c := range cs {
			kx, ky := float64(im.W)/float64(w), float64(im.H)/float64(h)
			out = append(out, Coin{Centre: geom.Px{X: (c[0]+0.5)*kx - 0.5, Y: (c[1]+0.5)*ky - 0.5}, Major: 2 * c[2] * kx, Minor: 2 * c[2] * ky})
		}
	}
	return out, nil
}

// hough returns at most 60 circles (x, y, radius) of OpenCV's gradient method.
func hough(gray []uint8, w, h int, lo, hi float64) ([][3]float64, error) {
	src, err := gocv.NewMatFromBytes(h, w, gocv.MatTypeCV8U, gray)
	if err != nil {
		return nil, err
	}
	defer src.Close()
	soft, found := gocv.NewMat(), gocv.NewMat()
	defer soft.Close()
	defer found.Close()
	gocv.MedianBlur(src, &soft, 5)
	gocv.HoughCirclesWithParams(soft, &found, gocv.HoughGradient, 1, math.Max(8, lo), 100, 24, int(lo), int(hi)+1)
	var out [][3]float64
	if found.Empty() || found.Rows() != 1 {
		return nil, nil
	}
	for i := 0; i < min(60, found.Cols()); i++ {
		v := found.GetVecfAt(0, i)
		out = append(out, [3]float64{float64(v[0]), float64(v[1]), float64(v[2])})
	}
	return out, nil
}

// rim follows the coin's edge from a first circle and fits an ellipse, three times.
func (im *Picture) rim(g Coin) (Coin, bool) {
	const rays = 120
	c := g
	reach := 0.25 * g.Major / 2
	for round := 0; round < 4; round++ {
		var pts []geom.Px
		for i := 0; i < rays; i++ {
			a := 2 * math.Pi * float64(i) / rays
			if p, ok := im.rimPoint(&c, a, reach); ok {
				pts = append(pts, p)
			}
		}
		if len(pts) < rays/2 {
			return c, false
		}
		e, ok := fitRim(pts)
		if !ok || e.Major > 1.4*g.Major || e.Minor < 0.6*g.Minor {
			return c, false
		}
		e.Seen *= float64(len(pts)) / rays
		c = e
		reach = math.Max(3, 0.5*reach)
	}
	return c, true
}

// radius of the ellipse in direction a.
func (c *Coin) radius(a float64) float64 {
	s, q := math.Sin(a-c.Turn), math.Cos(a-c.Turn)
	return 0.5 * c.Major * c.Minor / math.Hypot(c.Minor*q, c.Major*s)
}

// rimPoint returns the place of the steepest change of luminance along direction a, within reach px
// of the ellipse, to a fraction of a px.
func (im *Picture) rimPoint(c *Coin, a, reach float64) (geom.Px, bool) {
	d := geom.Px{X: math.Cos(a), Y: math.Sin(a)}
	r0 := c.radius(a)
	const step = 0.5
	n := int(reach / step)
	grad := make([]float64, 2*n+1)
	best, light := 0, 0.0
	for i := range grad {
		r := r0 + step*float64(i-n)
		out, ok1 := im.luminance(c.Centre.Add(d.Scale(r + 1)))
		in, ok2 := im.luminance(c.Centre.Add(d.Scale(r - 1)))
		if !ok1 || !ok2 {
			return geom.Px{}, false
		}
		grad[i] = math.Abs(out - in)
		if grad[i] > grad[best] {
			best, light = i, out+in
		}
	}
	// against brightness, so that a rim in shadow counts like one in light
	if grad[best] < 0.05*(light+0.02) || best == 0 || best == len(grad)-1 {
		return geom.Px{}, false
	}
	p, q, s := grad[best-1], grad[best], grad[best+1]
	f := 0.0
	if den := p - 2*q + s; den < 0 {
		f = 0.5 * (p - s) / den
	}
	return c.Centre.Add(d.Scale(r0 + step*(float64(best-n)+f))), true
}

// fitRim fits an ellipse robustly: least squares of a conic, points far from it left out in the next round.
// Seen is the share of points within 2.5 robust standard deviations.
func fitRim(pts []geom.Px) (c Coin, ok bool) {
	w := make([]float64, len(pts))
	for i := range w {
		w[i] = 1
	}
	var mid geom.Px
	for _, p := range pts {
		mid = mid.Add(p.Scale(1 / float64(len(pts))))
	}
	scale := 0.0
	for _, p := range pts {
		scale += p.Sub(mid).Norm() / float64(len(pts))
	}
	if scale < 2 {
		return c, false
	}
	for round := 0; round < 6; round++ {
		c, ok = conic(pts, w, mid, scale)
		if !ok {
			return c, false
		}
		d := make([]float64, len(pts))
		for i, p := range pts {
			q := p.Sub(c.Centre)
			d[i] = math.Abs(q.Norm() - c.radius(math.Atan2(q.Y, q.X)))
		}
		sorted := append([]float64(nil), d...)
		sort.Float64s(sorted)
		lim := math.Max(0.3, 2.5*1.4826*sorted[len(sorted)/2])
		in, ss := 0, 0.0
		for i := range d {
			w[i] = 0
			if d[i] <= lim {
				w[i] = 1
				in++
				ss += d[i] * d[i]
			}
		}
		c.Seen = float64(in) / float64(len(pts))
		c.Misfit = math.Sqrt(ss / float64(max(1, in)))
	}
	return c, true
}

// conic solves a·x² + b·xy + c·y² + d·x + e·y = 1 by weighted least squares in coordinates with mean
// distance 1.
func conic(pts []geom.Px, w []float64, mid geom.Px, scale float64) (c Coin, ok bool) {
	a := mat.NewDense(len(pts), 5, nil)
	b := mat.NewVecDense(len(pts), nil)
	for i, p := range pts {
		x, y := (p.X-mid.X)/scale, (p.Y-mid.Y)/scale
		a.SetRow(i, []float64{w[i] * x * x, w[i] * x * y, w[i] * y * y, w[i] * x, w[i] * y})
		b.SetVec(i, w[i])
	}
	var v mat.VecDense
	if err := v.SolveVec(a, b); err != nil {
		return c, false
	}
	A, B, C, D, E := v.AtVec(0), v.AtVec(1), v.AtVec(2), v.AtVec(3), v.AtVec(4)
	den := 4*A*C - B*B
	if den <= 0 {
		return c, false
	}
	x0, y0 := (B*E-2*C*D)/den, (B*D-2*A*E)/den
	k := 1 + A*x0*x0 + B*x0*y0 + C*y0*y0 // A(x−x0)² + … = k
	m, r := (A+C)/2, math.Hypot((A-C)/2, B/2)
	if k <= 0 || m-r <= 0 {
		return c, false
	}
	return Coin{Centre: geom.Px{X: mid.X + scale*x0, Y: mid.Y + scale*y0}, Major: 2 * scale * math.Sqrt(k/(m-r)),
		Minor: 2 * scale * math.Sqrt(k/(m+r)), Turn: 0.5*math.Atan2(B, A-C) + math.Pi/2}, true
}
