package camera

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"

	"offtype/measure/geom"
)

// Prior is what is known of a value before the photo is looked at: mean and standard deviation.
// SD 0 holds the value fixed.
type Prior struct{ Mean, SD float64 }

// Lens is what is known of a photo's lens beforehand.
type Lens struct {
	Focal  Prior // px; SD px
	K1     Prior // no unit
	CX, CY Prior // principal point, px
	K2     float64
}

// Sheet is a flat printed thing on the table (card or plant tag). Its own frame is the table's when
// it lies unturned: mm, X right, Y away from the reader. The first sheet of a problem is the table
// frame itself; of the others the place and turn in the plane are unknown.
type Sheet struct {
	ZSD float64 // standard deviation of its height against the first sheet, mm; 0: exactly level
}

// Obs is one observed point of a sheet.
type Obs struct {
	Sheet  int
	X, Y   float64 // sheet mm
	Px     geom.Px
	Normal geom.Px // unit vector, px: only this component was seen (an edge); zero: both were
	Offset int     // 1-based group of View.Offsets that moves the point along Normal; 0: none
	SD     float64 // smallest standard deviation to expect, px; the residuals may raise it for all
}

// View is one photo of the table.
type View struct {
	Width, Height int
	Lens          Lens
	Obs           []Obs
	Offsets       []Prior // px: how far a printed edge is seen towards the dark side (tone curve, ink spread)
}

// SheetPose is where a sheet lies in the table frame.
type SheetPose struct {
	Turn    float64 // radians, from X towards Y
	X, Y, Z float64 // mm, of the sheet's origin
}

// ToTable returns the table-frame place of sheet point (x, y), mm.
func (s SheetPose) ToTable(x, y float64) geom.Vec3 {
	c, n := math.Cos(s.Turn), math.Sin(s.Turn)
	return geom.Vec3{X: s.X + c*x - n*y, Y: s.Y + n*x + c*y, Z: s.Z}
}

// Parameters of a view in the order of Solution.Cov: ln focal, K1, CX, CY (px), turn of the camera
// about its own x, y, z axes (radians), place of the camera's centre in the table frame (mm).
const nView = 10

const nSheet = 4 // turn, x, y, z

var (
	// ErrFewPoints is returned when the observations cannot fix the camera.
	ErrFewPoints = errors.New("too few points on the card to place the camera")
	// ErrDiverged is returned when no camera explains the observations.
	ErrDiverged = errors.New("no camera position explains the card's points")
)

// Solve finds the cameras of one or more views of the same sheets by robust least squares
// (Levenberg–Marquardt, Huber weights at 1.5 standard deviations, scale from the residuals'
// median absolute deviation), with the lens priors as further observations. start may be nil;
// otherwise one camera a view to start from.
//
// The first sheet must be seen in every view with at least 4 points not on a line when start is
// nil. Errors: ErrFewPoints, ErrDiverged.
func Solve(views []View, sheets []Sheet, start []Camera) (*Solution, error) {
	p := &problem{views: views, sheets: sheets}
	if err := p.begin(start); err != nil {
		return nil, err
	}
	for round := 0; round < 4; round++ {
		p.rescale()
		if err := p.descend(40, 1e-8); err != nil {
			return nil, err
		}
	}
	return p.solution()
}

type problem struct {
	views  []View
	sheets []Sheet
	cams   []Camera
	poses  []SheetPose
	offs   [][]float64
	scale  []float64 // a view: residual scale relative to Obs.SD
}

func (p *problem) size() (n, sheets0 int, offs0 []int) {
	sheets0 = nView * len(p.views)
	n = sheets0 + nSheet*(len(p.sheets)-1)
	for _, v := range p.views {
		offs0 = append(offs0, n)
		n += len(v.Offsets)
	}
	return n, sheets0, offs0
}

// project returns the pixel of o with camera c and sheet pose s.
func project(c *Camera, s SheetPose, o *Obs) geom.Px { return c.Project(s.ToTable(o.X, o.Y)) }

// residual returns the one or two residuals of o in units of its SD; the second is 0 for an edge.
func residual(o *Obs, q geom.Px, off float64) (a, b float64) {
	d := o.Px.Sub(q)
	if o.Normal == (geom.Px{}) {
		return d.X / o.SD, d.Y / o.SD
	}
	return (d.Dot(o.Normal) - off) / o.SD, 0
}

func (p *problem) off(v int, o *Obs) float64 {
	if o.Offset == 0 {
		return 0
	}
	return p.offs[v][o.Offset-1]
}

// rescale sets the residual scale of each view from the median absolute residual, at least 1.
func (p *problem) rescale() {
	for v := range p.views {
		var rs []float64
		for i := range p.views[v].Obs {
			o := &p.views[v].Obs[i]
			a, b := residual(o, project(&p.cams[v], p.poses[o.Sheet], o), p.off(v, o))
			rs = append(rs, math.Abs(a))
			if o.Normal == (geom.Px{}) {
				rs = append(rs, math.Abs(b))
			}
		}
		sort.Float64s(rs)
		p.scale[v] = math.Max(1, 1.4826*rs[len(rs)/2])
	}
}

const huberK = 1.5

func huber(r float64) (rho, w float64) {
	a := math.Abs(r)
	if a <= huberK {
		return r * r, 1
	}
	return 2*huberK*a - huberK*huberK, huberK / a
}

// cost returns the robust sum of squares, +Inf when a point falls behind the camera.
func (p *problem) cost() float64 {
	s := 0.0
	turns := p.turns()
	for v := range p.views {
		for i := range p.views[v].Obs {
			o := &p.views[v].Obs[i]
			a, b := residual(o, p.cams[v].Project(turns[o.Sheet].toTable(o.X, o.Y)), p.off(v, o))
			ra, _ := huber(a / p.scale[v])
			rb, _ := huber(b / p.scale[v])
			s += ra + rb
		}
		for i, q := range p.views[v].Offsets {
			s += sq(zscore(p.offs[v][i], q))
		}
		l, c := &p.views[v].Lens, &p.cams[v]
		s += sq(logz(c.Focal, l.Focal)) + sq(zscore(c.K1, l.K1)) + sq(zscore(c.CX, l.CX)) + sq(zscore(c.CY, l.CY))
	}
	for i := 1; i < len(p.sheets); i++ {
		s += sq(zscore(p.poses[i].Z, Prior{0, p.sheets[i].ZSD}))
	}
	if math.IsNaN(s) {
		return math.Inf(1)
	}
	return s
}

func sq(x float64) float64 { return x * x }

func zscore(x float64, p Prior) float64 {
	if p.SD == 0 {
		return 0
	}
	return (x - p.Mean) / p.SD
}

// logz is the z score of the logarithm of x, so that focal lengths stay positive.
func logz(x float64, p Prior) float64 {
	if p.SD == 0 {
		return 0
	}
	return math.Log(x/p.Mean) / (p.SD / p.Mean)
}

// descend runs Levenberg–Marquardt until the cost stands still (falls by less than the share `still`) or n steps are done.
func (p *problem) descend(n int, still float64) error {
	lambda := 1e-3
	c0 := p.cost()
	if math.IsInf(c0, 1) {
		return ErrDiverged
	}
	for it := 0; it < n; it++ {
		a, g := p.normal()
		improved := false
		for try := 0; try < 10 && !improved; try++ {
			d, ok := solveDamped(a, g, lambda)
			if !ok {
				lambda *= 10
				continue
			}
			keep := p.clone()
			p.step(d)
			c1 := p.cost()
			if c1 < c0 {
				improved = true
				lambda = math.Max(1e-9, lambda/5)
				if c0-c1 < still*(1+c0) {
					return nil
				}
				c0 = c1
			} else {
				p.restore(keep)
				lambda *= 6
			}
		}
		if !improved {
			return nil
		}
	}
	return nil
}

func solveDamped(a *mat.SymDense, g []float64, lambda float64) ([]float64, bool) {
	n := a.SymmetricDim()
	b := mat.NewSymDense(n, nil)
	b.CopySym(a)
	for i := 0; i < n; i++ {
		b.SetSym(i, i, a.At(i, i)*(1+lambda))
	}
	var ch mat.Cholesky
	if !ch.Factorize(b) {
		return nil, false
	}
	var x mat.VecDense
	if err := ch.SolveVecTo(&x, mat.NewVecDense(n, append([]float64(nil), g...))); err != nil {
		var cond mat.Condition
		if !errors.As(err, &cond) {
			return nil, false
		}
	}
	d := x.RawVector().Data
	for _, v := range d {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, false
		}
	}
	return d, true
}

type state struct {
	cams  []Camera
	poses []SheetPose
	offs  [][]float64
}

func (p *problem) clone() state {
	s := state{append([]Camera(nil), p.cams...), append([]SheetPose(nil), p.poses...), nil}
	for _, o := range p.offs {
		s.offs = append(s.offs, append([]float64(nil), o...))
	}
	return s
}

func (p *problem) restore(s state) { p.cams, p.poses, p.offs = s.cams, s.poses, s.offs }

// step moves all parameters by d.
func (p *problem) step(d []float64) {
	_, s0, o0 := p.size()
	for v := range p.cams {
		p.cams[v] = p.cams[v].moved(d[v*nView : (v+1)*nView])
		for i := range p.offs[v] {
			p.offs[v][i] += d[o0[v]+i]
		}
	}
	for i := 1; i < len(p.poses); i++ {
		q := d[s0+nSheet*(i-1):]
		s := &p.poses[i]
		s.Turn, s.X, s.Y, s.Z = s.Turn+q[0], s.X+q[1], s.Y+q[2], s.Z+q[3]
	}
}

// moved returns the camera changed by d: ln focal, K1, CX, CY, turn about the camera's axes, centre.
func (c Camera) moved(d []float64) Camera {
	centre := c.Centre().Add(geom.Vec3{X: d[7], Y: d[8], Z: d[9]})
	c.Focal *= math.Exp(d[0])
	c.K1 += d[1]
	c.CX += d[2]
	c.CY += d[3]
	c.R = mul(expRot(d[4], d[5], d[6]), c.R)
	c.setCentre(centre)
	return c
}

func (c *Camera) setCentre(o geom.Vec3) {
	c.T = geom.Vec3{}
	c.T = c.ToCamera(o).Scale(-1)
}

// expRot is the rotation by the vector (x, y, z), radians (Rodrigues' formula).
func expRot(x, y, z float64) [3][3]float64 {
	a := math.Sqrt(x*x + y*y + z*z)
	s, k := 1.0, 0.5
	if a > 1e-8 {
		s, k = math.Sin(a)/a, (1-math.Cos(a))/(a*a)
	}
	c := math.Cos(a)
	return [3][3]float64{
		{c + k*x*x, k*x*y - s*z, k*x*z + s*y},
		{k*x*y + s*z, c + k*y*y, k*y*z - s*x},
		{k*x*z - s*y, k*y*z + s*x, c + k*z*z},
	}
}

func mul(a, b [3][3]float64) (m [3][3]float64) {
	for i := range m {
		for j := range m[i] {
			for k := range b {
				m[i][j] += a[i][k] * b[k][j]
			}
		}
	}
	return m
}

func (p *problem) check() error {
	if len(p.views) == 0 || len(p.sheets) == 0 {
		return ErrFewPoints
	}
	for v := range p.views {
		if len(p.views[v].Obs) < 4 {
			return ErrFewPoints
		}
		for _, o := range p.views[v].Obs {
			if o.Sheet < 0 || o.Sheet >= len(p.sheets) || o.Offset < 0 || o.Offset > len(p.views[v].Offsets) || o.SD <= 0 {
				return fmt.Errorf("camera: observation refers to sheet %d, offset %d, sd %g", o.Sheet, o.Offset, o.SD)
			}
		}
	}
	return nil
}
