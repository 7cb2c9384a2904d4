package accuracy

import (
	"image"
	"math"
	"math/rand"
	"slices"

	"offtype/measure/body"
	"offtype/measure/camera"
	"offtype/measure/geom"
)

// Simulated is a fruit of random shape on a table, seen by one or more random cameras, with its exact sizes.
type Simulated struct {
	LengthMM, WidthMM, WidthMinMM float64
	Stem, Blossom                 geom.Vec3
	Kind                          string // round, oval, long, each with "ribbed" before it or not
	SlantDeg                      float64
	Views                         []body.View
}

// shape is the radius of a simulated fruit along its axis.
type shape struct {
	l, w       float64
	t, r       []float64 // places and relative radii, joined smoothly
	cap0, cap1 float64   // shares of the length over which the tips are rounded
	pow0, pow1 float64   // 2: like an ellipse
	ribs       int
	depth, ph  float64
	skin       *skin // nil: smooth
}

// at returns the relative radius at t.
func (s *shape) at(t float64) float64 {
	k := 0
	for k+2 < len(s.t) && s.t[k+1] < t {
		k++
	}
	slope := func(i int) float64 {
		a, b := max(i-1, 0), min(i+1, len(s.t)-1)
		return (s.r[b] - s.r[a]) / (s.t[b] - s.t[a])
	}
	h := s.t[k+1] - s.t[k]
	u := (t - s.t[k]) / h
	r := (2*u*u*u-3*u*u+1)*s.r[k] + (u*u*u-2*u*u+u)*h*slope(k) + (3*u*u-2*u*u*u)*s.r[k+1] + (u*u*u-u*u)*h*slope(k+1)
	tip := func(x, c, p float64) float64 {
		if x >= c {
			return 1
		}
		return math.Pow(math.Max(0, 1-math.Pow(1-x/c, p)), 1/p)
	}
	return math.Max(0, r) * tip(t, s.cap0, s.pow0) * tip(1-t, s.cap1, s.pow1)
}

// randomShape draws a fruit: round, oval or long; a third of them with a neck, a quarter with ribs. The families
// are wide on purpose and not those of the rendered scenes (common practice, no source).
func randomShape(r *rand.Rand) (shape, string) {
	s := shape{w: 45 + 110*r.Float64()}
	kind, ratio := "round", 0.8+0.45*r.Float64()
	switch x := r.Float64(); {
	case x > 0.7:
		kind, ratio = "long", 1.8+1.2*r.Float64()
	case x > 0.3:
		kind, ratio = "oval", 1.25+0.55*r.Float64()
	}
	s.l = s.w * ratio
	tip := func() float64 { return math.Min(0.8, 0.5*math.Exp(0.35*r.NormFloat64())) }
	broad := 0.4 + 0.3*r.Float64()
	s.t = []float64{0, broad / 2, broad, (1 + broad) / 2, 1}
	full := func(end float64) float64 { return end + (1-end)*(0.72+0.14*r.Float64()) }
	e0, e1 := tip(), tip()
	s.r = []float64{e0, full(e0), 1, full(e1), e1}
	if kind != "round" && r.Float64() < 0.35 {
		neck := 0.4 + 0.35*r.Float64()
		s.t = []float64{0, 0.22, 0.42, 0.72, 0.87, 1}
		s.r = []float64{neck * (0.7 + 0.3*r.Float64()), neck, neck + 0.12*r.Float64(), 1, full(e1), e1}
	}
	rounded := func() float64 { return math.Min(0.45, 0.12*math.Exp(0.4*r.NormFloat64())) }
	pow := func() float64 { return 1.8 + 0.5*r.Float64() }
	s.cap0, s.cap1, s.pow0, s.pow1 = rounded(), rounded(), pow(), pow()
	if r.Float64() < 0.25 {
		s.ribs, s.depth, s.ph = 10, 0.03+0.1*r.Float64(), 2*math.Pi*r.Float64()
		if r.Float64() < 0.4 {
			s.ribs = 8 + r.Intn(7)
		}
		kind = "ribbed " + kind
	}
	s.toOne()
	return s, kind
}

// toOne makes the greatest radius 1.
func (s *shape) toOne() {
	most := 0.0
	for i := 0; i <= 200; i++ {
		most = math.Max(most, s.at(float64(i)/200))
	}
	for i := range s.r {
		s.r[i] /= most
	}
}

const (
	simRings = 160
	simSpoke = 120
)

// Simulate draws a fruit and its views: outlines with smooth noise, ends as a finder gives them, some of them
// missing, unsure, or with the stalk's base taken into the outline. The cameras are exact.
func Simulate(r *rand.Rand, views int) (Simulated, bool) {
	s, kind := randomShape(r)
	out := Simulated{Kind: kind, LengthMM: s.l, WidthMM: s.w}
	if s.ribs > 0 {
		out.WidthMinMM = s.w * (1 - s.depth)
	} else {
		out.WidthMinMM = s.w
	}
	rings := s.rings(r)
	tilt, turn := 38*math.Pi/180*math.Sqrt(r.Float64()), 2*math.Pi*r.Float64()
	out.Stem, out.Blossom = mean3(rings[0]), mean3(rings[len(rings)-1])
	for v := 0; v < views; v++ {
		cam := simCamera(r, tilt, turn+float64(v)*2*math.Pi/3)
		view, ok := s.see(r, &cam, rings, &out)
		if !ok {
			return out, false
		}
		out.Views = append(out.Views, view)
	}
	see := out.Stem.Add(out.Blossom).Scale(0.5).Sub(out.Views[0].Camera.Centre()).Unit()
	out.SlantDeg = deg(math.Asin(math.Abs(see.Dot(out.Blossom.Sub(out.Stem).Unit()))))
	return out, true
}

func mean3(p []geom.Vec3) (m geom.Vec3) {
	for _, q := range p {
		m = m.Add(q.Scale(1 / float64(len(p))))
	}
	return m
}

// rings returns the fruit's rings on the table, at rest on the edge of its lower hull below its centroid.
func (s *shape) rings(r *rand.Rand) [][]geom.Vec3 {
	out := make([][]geom.Vec3, simRings+1)
	var low []geom.Px
	var cx, sum float64
	roll := 2 * math.Pi * r.Float64()
	for i := range out {
		t := 0.5 - 0.5*math.Cos(math.Pi*float64(i)/simRings)
		rad := s.at(t) * s.w / 2
		x := (t - 0.5) * s.l
		least := 0.0
		for k := 0; k < simSpoke; k++ {
			th := 2 * math.Pi * float64(k) / simSpoke
			q := rad
			if s.ribs > 0 {
				h := 0.5 - 0.5*math.Cos(float64(s.ribs)*(th+roll)-s.ph)
				q *= 1 - s.depth*h*h
			}
			sn, cs := math.Sincos(th)
			if s.skin != nil {
				q = s.skin.raise(geom.Vec3{X: x, Y: q * cs, Z: q * sn}, q)
			}
			out[i] = append(out[i], geom.Vec3{X: x, Y: q * cs, Z: q * sn})
			least = math.Min(least, q*sn)
		}
		w := rad * rad * math.Sin(math.Pi*float64(i)/simRings)
		cx, sum = cx+w*x, sum+w
		low = append(low, geom.Px{X: x, Y: least})
	}
	cx = cx/sum + 0.02*s.l*r.NormFloat64() // a heavy seed cavity, a flat spot
	var hull []geom.Px
	for _, p := range low {
		for len(hull) > 1 && hull[len(hull)-1].Sub(hull[len(hull)-2]).Cross(p.Sub(hull[len(hull)-2])) <= 0 {
			hull = hull[:len(hull)-1]
		}
		hull = append(hull, p)
	}
	rise := 0.0
	for i := 0; i+1 < len(hull); i++ {
		if hull[i].X <= cx && cx <= hull[i+1].X {
			rise = math.Atan2(hull[i+1].Y-hull[i].Y, hull[i+1].X-hull[i].X)
		}
	}
	sn, cs := math.Sincos(-rise)
	yaw := 2 * math.Pi * r.Float64()
	sy, cy := math.Sincos(yaw)
	floor := math.Inf(1)
	for i := range out {
		for k, p := range out[i] {
			x, z := p.X*cs-p.Z*sn, p.X*sn+p.Z*cs
			out[i][k] = geom.Vec3{X: x*cy - p.Y*sy, Y: x*sy + p.Y*cy, Z: z}
			floor = math.Min(floor, z)
		}
	}
	for i := range out {
		for k := range out[i] {
			out[i][k].Z -= floor
		}
	}
	return out
}

// simCamera is a phone above the table, tilt and turn in rad, with the fruit anywhere in the frame.
func simCamera(r *rand.Rand, tilt, turn float64) camera.Camera {
	c := camera.Camera{Width: 2400, Height: 1800, Focal: 1800, CX: 1199.5, CY: 899.5, K1: 0.01 * r.NormFloat64()}
	h := 800 + 900*r.Float64()
	st, ct := math.Sincos(turn)
	aim := geom.Vec3{X: 0.35 * h * (2*r.Float64() - 1), Y: 0.25 * h * (2*r.Float64() - 1)}
	at := geom.Vec3{X: aim.X + h*math.Tan(tilt)*ct, Y: aim.Y + h*math.Tan(tilt)*st, Z: h}
	fw := aim.Sub(at).Unit()
	rt := fw.Cross(geom.Vec3{X: 0.3, Y: 0.95, Z: 0.01}).Unit()
	dn := fw.Cross(rt)
	for i, a := range [3]geom.Vec3{rt, dn, fw} {
		c.R[i] = [3]float64{a.X, a.Y, a.Z}
	}
	c.T = geom.Vec3{X: -rt.Dot(at), Y: -dn.Dot(at), Z: -fw.Dot(at)}
	return c
}

// see makes the outline and the ends of one view.
func (s *shape) see(r *rand.Rand, c *camera.Camera, rings [][]geom.Vec3, truth *Simulated) (body.View, bool) {
	v := body.View{Camera: *c, SigmaPx: 0.4}
	cam := c.Centre()
	stem, end := c.Project(truth.Stem), c.Project(truth.Blossom)
	axis := truth.Blossom.Sub(truth.Stem).Unit()
	toStem := -axis.Dot(cam.Sub(truth.Stem).Unit()) // above 0: the stem end faces the camera
	toEnd := axis.Dot(cam.Sub(truth.Blossom).Unit())
	known := r.Float64() < 0.75
	stub := !known && toStem < 0 && r.Float64() < 0.4
	var discs [][]geom.Px
	for _, ring := range rings {
		var d []geom.Px
		for _, p := range ring {
			d = append(d, c.Project(p))
		}
		discs = append(discs, d)
	}
	if stub {
		var a []geom.Px
		for k := 0; k < 20; k++ {
			th := math.Pi * float64(k) / 10
			side := axis.Cross(geom.Vec3{Z: 1}).Unit()
			p := truth.Stem.Sub(axis.Scale(6 + 6*math.Cos(th))).Add(side.Scale(9 * math.Sin(th)))
			a = append(a, c.Project(p))
		}
		discs = append(discs, a)
	}
	var ok bool
	if v.Outline, v.Edge, ok = silhouette(discs, stub); !ok {
		return v, false
	}
	o := Options{NoisePx: 0.35, StepNoise: 10 + r.Intn(25), StemPx: 3, Rng: r}
	if known || r.Float64() < 0.4 {
		q := stem
		if toStem < -0.05 {
			q = nearest(v.Outline, stem)
		}
		q = jitter(q, o)
		v.Stem, v.StemBy = &q, 0.4
		if known {
			v.StemBy = 0.8
			tip := c.Project(truth.Stem.Sub(axis.Scale(20)))
			v.StalkTip = &tip
			rad := 13 / c.MMPerPx(truth.Stem)
			for i, p := range v.Outline {
				if p.Sub(stem).Norm() < rad {
					v.Edge[i] = geom.EdgeStalk
				}
			}
		}
	}
	if toEnd > 0.1 && r.Float64() < 0.4 {
		q := jitter(end, o)
		v.Blossom, v.BlossomBy = &q, 0.4
	}
	noise(v.Outline, o)
	return v, true
}

// silhouette draws the body between the rings of discs and traces its outline; with stub the last one is a stalk's base
// and is drawn by itself. False: it reaches out of the picture.
func silhouette(discs [][]geom.Px, stub bool) (outline []geom.Px, edge []geom.Edge, ok bool) {
	lo, hi := geom.Bounds(slices.Concat(discs...))
	if !(lo.X > 5 && lo.Y > 5 && hi.X < 2394 && hi.Y < 1794) {
		return nil, nil, false
	}
	x0, y0 := int(lo.X)-4, int(lo.Y)-4
	im := image.NewGray(image.Rect(0, 0, int(hi.X)-x0+6, int(hi.Y)-y0+6))
	rings := discs
	if stub {
		rings = discs[:len(discs)-1]
	}
	quad := make([]geom.Px, 4)
	for i := 0; i+1 < len(rings); i++ {
		a, b := rings[i], rings[i+1]
		for k := range a {
			l := (k + 1) % len(a)
			quad[0], quad[1], quad[2], quad[3] = a[k], a[l], b[l], b[k]
			fill(im, quad, float64(x0), float64(y0))
		}
	}
	if stub {
		fill(im, discs[len(discs)-1], float64(x0), float64(y0))
	}
	pts, edge := Trace(im, 1)
	outline = Smooth(pts, 4)
	for i := range outline {
		outline[i].X += float64(x0)
		outline[i].Y += float64(y0)
	}
	return outline, edge, true
}

// fill sets the pixels whose centres lie inside the polygon, shifted by (−x0, −y0).
func fill(im *image.Gray, d []geom.Px, x0, y0 float64) {
	lo, hi := geom.Bounds(d)
	var room [8]float64
	cut := room[:0]
	for y := int(math.Ceil(lo.Y - y0)); y <= int(hi.Y-y0); y++ {
		cut = cut[:0]
		yy := float64(y) + y0
		for i, p := range d {
			q := d[(i+1)%len(d)]
			if (p.Y > yy) != (q.Y > yy) {
				cut = append(cut, p.X+(yy-p.Y)/(q.Y-p.Y)*(q.X-p.X)-x0)
			}
		}
		slices.Sort(cut)
		for i := 0; i+1 < len(cut); i += 2 {
			for x := int(math.Ceil(cut[i])); x <= int(cut[i+1]); x++ {
				im.Pix[y*im.Stride+x] = 1
			}
		}
	}
}
