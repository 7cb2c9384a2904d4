package camera

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"

	"offtype/measure/geom"
)

// Board is one photo of a flat board of known points.
type Board struct {
	MM [][2]float64 // board points, mm, x right, y down as printed
	Px []geom.Px
}

// Calibration is what photos of a board tell of a lens.
type Calibration struct {
	Focal, FocalSD float64 // px
	CX, CY         float64 // px
	K1, K2, K1SD   float64
	RMS            float64   // of all points, px: root of the mean squared distance
	ViewRMS        []float64 // one a photo
}

// ErrBoards is returned when the photos of the board cannot fix a lens.
var ErrBoards = errors.New("too few different views of the board")

const nLens = 5 // ln focal, cx, cy, k1, k2

type bundle struct {
	boards []Board
	lens   [nLens]float64
	cams   []Camera // pose of each board; lens fields are filled from lens
}

// Calibrate finds focal length, principal point and two terms of radial distortion from three or
// more photos of one board in different tilts, w × h px each, by least squares over all points
// (Levenberg–Marquardt from the focal length that makes the boards' homographies most nearly
// perpendicular).
//
// Source of the approach: Zhang, IEEE TPAMI 22(11):1330–1334 (2000).
func Calibrate(boards []Board, w, h int) (*Calibration, error) {
	if len(boards) < 3 {
		return nil, ErrBoards
	}
	b := &bundle{boards: boards}
	var hs []Homography
	for _, v := range boards {
		plane := make([][2]float64, len(v.MM))
		for i, p := range v.MM {
			plane[i] = [2]float64{p[0], -p[1]}
		}
		hm, ok := FitHomography(plane, v.Px)
		if !ok {
			return nil, ErrBoards
		}
		hs = append(hs, hm)
	}
	cx, cy := float64(w)/2-0.5, float64(h)/2-0.5
	f, ok := focalFromHomographies(hs, cx, cy, math.Hypot(float64(w), float64(h)))
	if !ok {
		return nil, ErrBoards
	}
	b.lens = [nLens]float64{math.Log(f), cx, cy, 0, 0}
	for _, hm := range hs {
		c, ok := FromHomography(hm, f, cx, cy)
		if !ok {
			return nil, ErrBoards
		}
		c.Width, c.Height = w, h
		b.cams = append(b.cams, c)
	}
	b.fill()
	return b.solve()
}

// focalFromHomographies searches the focal length for which the two columns of each K⁻¹H are most
// nearly perpendicular and equally long.
func focalFromHomographies(hs []Homography, cx, cy, diag float64) (float64, bool) {
	best, bestE := 0.0, math.Inf(1)
	for i := 0; i <= 400; i++ {
		f := diag * 0.25 * math.Exp(float64(i)/400*math.Log(16))
		e := 0.0
		for _, h := range hs {
			col := func(j int) geom.Vec3 {
				return geom.Vec3{X: (h[j] - cx*h[6+j]) / f, Y: (h[3+j] - cy*h[6+j]) / f, Z: h[6+j]}
			}
			a, b := col(0), col(1)
			n := a.Norm() * b.Norm()
			e += sq(a.Dot(b)/n) + sq((a.Norm()-b.Norm())/math.Sqrt(n))
		}
		if e < bestE {
			best, bestE = f, e
		}
	}
	return best, best > 0
}

func (b *bundle) fill() {
	for i := range b.cams {
		c := &b.cams[i]
		c.Focal, c.CX, c.CY, c.K1, c.K2 = math.Exp(b.lens[0]), b.lens[1], b.lens[2], b.lens[3], b.lens[4]
	}
}

func (b *bundle) cost() float64 {
	s := 0.0
	for i := range b.boards {
		for k, q := range b.boards[i].MM {
			d := b.boards[i].Px[k].Sub(b.cams[i].Project(geom.Vec3{X: q[0], Y: -q[1]}))
			s += d.Dot(d)
		}
	}
	if math.IsNaN(s) {
		return math.Inf(1)
	}
	return s
}

// moved returns the bundle changed by d: the lens, then turn and centre of each camera.
func (b *bundle) moved(d []float64) *bundle {
	n := &bundle{boards: b.boards, lens: b.lens, cams: append([]Camera(nil), b.cams...)}
	for i := range n.lens {
		n.lens[i] += d[i]
	}
	for i := range n.cams {
		var v [nView]float64
		copy(v[4:], d[nLens+6*i:nLens+6*i+6])
		n.cams[i] = n.cams[i].moved(v[:])
	}
	n.fill()
	return n
}

// normal builds JᵀJ and Jᵀr by central differences.
func (b *bundle) normal() (*mat.SymDense, []float64) {
	n := nLens + 6*len(b.cams)
	a, g := mat.NewSymDense(n, nil), make([]float64, n)
	step := [nLens + 6]float64{1e-6, 1e-3, 1e-3, 1e-6, 1e-6, 1e-6, 1e-6, 1e-6, 1e-3, 1e-3, 1e-3}
	for i := range b.boards {
		var plus, minus [nLens + 6]Camera
		var idx [nLens + 6]int
		for k := range step {
			idx[k] = k
			if k >= nLens {
				idx[k] = nLens + 6*i + k - nLens
			}
			d := make([]float64, n)
			d[idx[k]] = step[k]
			plus[k] = b.moved(d).cams[i]
			d[idx[k]] = -step[k]
			minus[k] = b.moved(d).cams[i]
		}
		for k, q := range b.boards[i].MM {
			w := geom.Vec3{X: q[0], Y: -q[1]}
			r := b.boards[i].Px[k].Sub(b.cams[i].Project(w))
			var j [nLens + 6]geom.Px
			for m := range step {
				j[m] = plus[m].Project(w).Sub(minus[m].Project(w)).Scale(1 / (2 * step[m]))
			}
			for m := range step {
				g[idx[m]] += j[m].Dot(r)
				for l := 0; l <= m; l++ {
					a.SetSym(idx[m], idx[l], a.At(idx[m], idx[l])+j[m].Dot(j[l]))
				}
			}
		}
	}
	return a, g
}

func (b *bundle) solve() (*Calibration, error) {
	lambda, c0 := 1e-3, b.cost()
	if math.IsInf(c0, 1) {
		return nil, ErrBoards
	}
	for it := 0; it < 100; it++ {
		a, g := b.normal()
		better := false
		for try := 0; try < 12 && !better; try++ {
			d, ok := solveDamped(a, g, lambda)
			if !ok {
				lambda *= 10
				continue
			}
			n := b.moved(d)
			if c1 := n.cost(); c1 < c0 {
				better = c0-c1 > 1e-12*c0
				*b, c0 = *n, c1
				lambda = math.Max(1e-12, lambda/10)
				break
			}
			lambda *= 10
		}
		if !better {
			break
		}
	}
	return b.result(c0)
}

func (b *bundle) result(cost float64) (*Calibration, error) {
	a, _ := b.normal()
	var ch mat.Cholesky
	if !ch.Factorize(a) {
		return nil, ErrBoards
	}
	var cov mat.SymDense
	if err := ch.InverseTo(&cov); err != nil {
		var cond mat.Condition
		if !errors.As(err, &cond) {
			return nil, ErrBoards
		}
	}
	points := 0
	c := &Calibration{Focal: math.Exp(b.lens[0]), CX: b.lens[1], CY: b.lens[2], K1: b.lens[3], K2: b.lens[4]}
	for i := range b.boards {
		one := bundle{boards: b.boards[i : i+1], cams: b.cams[i : i+1]}
		n := len(b.boards[i].MM)
		points += n
		c.ViewRMS = append(c.ViewRMS, math.Sqrt(one.cost()/float64(n)))
	}
	free := 2*points - a.SymmetricDim()
	if free < 1 {
		return nil, ErrBoards
	}
	s2 := cost / float64(free)
	c.RMS = math.Sqrt(cost / float64(points))
	c.FocalSD = c.Focal * math.Sqrt(s2*cov.At(0, 0))
	c.K1SD = math.Sqrt(s2 * cov.At(3, 3))
	if !(c.FocalSD < 0.2*c.Focal) {
		return nil, ErrBoards
	}
	return c, nil
}
