package accuracy

import (
	"fmt"
	"io"
	"math"
	"sort"
	"time"

	"offtype/measure/body"
	"offtype/measure/geom"
	"offtype/pipeline/scene"
)

// Row is one fruit: errors in per cent of the truth, expanded uncertainties in per cent, and what
// the errors may depend on.
type Row struct {
	Scene   string
	Index   int
	Length  float64 // error, %; NaN when not measured
	Width   float64 // error, %, 0 between the narrowest and the widest calliper
	LengthU float64
	WidthU  float64
	Midline float64 // error, %
	Bend    float64 // error, degrees
	Broad   float64 // error, 0–1
	Volume  float64 // error, %
	Rise    float64 // error of the axis tilt, degrees
	StemOK  bool
	PoseOK  bool

	TiltDeg  float64 // of the camera
	OffAxis  float64 // angle of the fruit from the optical axis, degrees
	SlantDeg float64 // of the fruit's axis out of the plane across the line of sight, degrees
	Shape    string
	Residual float64
	Notes    []string
	Took     time.Duration
}

// Measure compares body b with the truth of fruit f of scene s.
func Measure(s *scene.Scene, f *scene.Fruit, b *body.Body) Row {
	r := Row{Scene: s.Name, Index: f.Index, TiltDeg: s.Camera.TiltDeg(), Notes: b.Notes, Residual: b.ResidualPx}
	pct := func(v, t float64) float64 { return 100 * (v - t) / t }
	r.Length, r.LengthU = pct(b.Length.V, f.LengthMM), 100*b.Length.U/f.LengthMM
	r.WidthU = 100 * b.Width.U / f.WidthMM
	switch w := b.Width.V; {
	case w > f.WidthMM:
		r.Width = pct(w, f.WidthMM)
	case w < f.WidthMinMM:
		r.Width = 100 * (w - f.WidthMinMM) / f.WidthMM
	}
	r.Midline = pct(b.Midline.V, f.MidlineMM)
	r.Bend = b.Bend.V - f.BendDeg
	r.Broad = b.BroadestAt.V - f.BroadestAt
	r.Volume = pct(b.Volume.V, f.VolumeCM3)
	r.PoseOK = string(b.Pose) == f.Pose
	stem, end := s.World(f.StemMM), s.World(f.BlossomMM)
	mid := stem.Add(end).Scale(0.5)
	c := s.Camera.Centre()
	see := mid.Sub(c).Unit()
	fwd := geom.Vec3{X: s.Camera.R[2][0], Y: s.Camera.R[2][1], Z: s.Camera.R[2][2]}
	r.OffAxis = deg(math.Acos(see.Dot(fwd)))
	axis := end.Sub(stem).Unit()
	r.SlantDeg = deg(math.Asin(math.Abs(axis.Dot(see))))
	r.Rise = b.RiseDeg - deg(math.Asin(axis.Z))
	if len(b.Views) > 0 {
		d := b.Views[0]
		t := geom.Px{X: f.StemPx[0] - 0.5, Y: f.StemPx[1] - 0.5}
		r.StemOK = d.Stem.Sub(t).Norm() < d.Blossom.Sub(t).Norm()
	}
	switch {
	case f.BendDeg != 0:
		r.Shape = "bent"
	case f.Ribs > 0:
		r.Shape = "ribbed"
	case f.LengthMM < 1.25*f.WidthMM:
		r.Shape = "round"
	case f.BroadestAt > 0.6:
		r.Shape = "necked"
	default:
		r.Shape = "long"
	}
	return r
}

// MeasureSimulated compares body b with the truth of a simulated fruit.
func MeasureSimulated(s *Simulated, b *body.Body) Row {
	cam := &s.Views[0].Camera
	r := Row{Scene: "simulated", TiltDeg: cam.TiltDeg(), SlantDeg: s.SlantDeg, Shape: s.Kind, Notes: b.Notes, Residual: b.ResidualPx, PoseOK: b.Pose == body.Side}
	r.Length, r.LengthU = 100*(b.Length.V-s.LengthMM)/s.LengthMM, 100*b.Length.U/s.LengthMM
	r.Midline, r.WidthU = r.Length, 100*b.Width.U/s.WidthMM
	switch w := b.Width.V; {
	case w > s.WidthMM:
		r.Width = 100 * (w - s.WidthMM) / s.WidthMM
	case w < s.WidthMinMM:
		r.Width = 100 * (w - s.WidthMinMM) / s.WidthMM
	}
	see := s.Stem.Add(s.Blossom).Scale(0.5).Sub(cam.Centre()).Unit()
	r.OffAxis = deg(math.Acos(see.Dot(geom.Vec3{X: cam.R[2][0], Y: cam.R[2][1], Z: cam.R[2][2]})))
	if len(b.Views) > 0 {
		t := cam.Project(s.Stem)
		r.StemOK = b.Views[0].Stem.Sub(t).Norm() < b.Views[0].Blossom.Sub(t).Norm()
	}
	return r
}

func deg(r float64) float64 { return r * 180 / math.Pi }

// Table prints a line for each value of key and a total.
func Table(w io.Writer, title string, rows []Row, key func(Row) string) {
	by := map[string][]Row{}
	var names []string
	for _, r := range rows {
		k := key(r)
		if _, ok := by[k]; !ok {
			names = append(names, k)
		}
		by[k] = append(by[k], r)
	}
	sort.Strings(names)
	fmt.Fprintf(w, "\n%-24s %4s | %-20s %5s %5s | %-20s %5s | %-11s %-11s %-11s %-11s\n", title, "n",
		"length % med/p95/mean", "in U", "U<2%", "width % med/p95/mean", "in U", "midline %", "bend °", "broadest", "volume %")
	for _, k := range names {
		line(w, k, by[k])
	}
	if len(names) > 1 {
		line(w, "all", rows)
	}
}

func line(w io.Writer, name string, rows []Row) {
	get := func(f func(Row) float64) []float64 {
		var v []float64
		for _, r := range rows {
			if x := f(r); !math.IsNaN(x) {
				v = append(v, x)
			}
		}
		return v
	}
	l, wd := get(func(r Row) float64 { return r.Length }), get(func(r Row) float64 { return r.Width })
	share := func(ok func(Row) bool) float64 {
		n, k := 0, 0
		for _, r := range rows {
			if math.IsNaN(r.Length) {
				continue
			}
			n++
			if ok(r) {
				k++
			}
		}
		return 100 * float64(k) / math.Max(1, float64(n))
	}
	q := func(f func(Row) float64) string {
		v := get(f)
		return fmt.Sprintf("%.2f/%.2f", Quantile(v, 0.5), Quantile(v, 0.95))
	}
	fmt.Fprintf(w, "%-24s %4d | %5.2f /%5.2f /%+5.2f  %5.0f %5.0f | %5.2f /%5.2f /%+5.2f  %5.0f | %-11s %-11s %-11s %-11s\n", name, len(rows),
		Quantile(l, 0.5), Quantile(l, 0.95), mean(l),
		share(func(r Row) bool { return math.Abs(r.Length) <= r.LengthU }), share(func(r Row) bool { return r.LengthU < 2 }),
		Quantile(wd, 0.5), Quantile(wd, 0.95), mean(wd), share(func(r Row) bool { return math.Abs(r.Width) <= r.WidthU }),
		q(func(r Row) float64 { return r.Midline }), q(func(r Row) float64 { return r.Bend }),
		q(func(r Row) float64 { return r.Broad }), q(func(r Row) float64 { return r.Volume }))
}

func mean(v []float64) float64 {
	s := 0.0
	for _, x := range v {
		s += x
	}
	return s / math.Max(1, float64(len(v)))
}

// Quantile returns the p-quantile of |v|, linear between order statistics (the usual rule).
func Quantile(v []float64, p float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	a := make([]float64, len(v))
	for i, x := range v {
		a[i] = math.Abs(x)
	}
	sort.Float64s(a)
	k := p * float64(len(a)-1)
	i := int(k)
	if i+1 >= len(a) {
		return a[len(a)-1]
	}
	return a[i] + (k-float64(i))*(a[i+1]-a[i])
}
