package card

import (
	"fmt"
	"math"

	"offtype/measure/camera"
	"offtype/measure/geom"
)

// placer turns markers into a camera.
type placer struct {
	im     *Picture
	lens   camera.Lens
	scale  float64
	sheets []sheet // cards first, in order of number
	sol    *camera.Solution
	blur   float64
	notes  []string
}

func (p *placer) problem() []camera.Sheet {
	s := make([]camera.Sheet, len(p.sheets))
	for i := 1; i < len(s); i++ {
		s[i].ZSD = sheetHeightSD
	}
	return s
}

// rough places the camera from the marker corners of the cards.
func (p *placer) rough() error {
	v := camera.View{Width: p.im.W, Height: p.im.H, Lens: p.lens}
	for i := range p.sheets {
		v.Obs = append(v.Obs, p.cornerObs(i)...)
	}
	sol, err := camera.Solve([]camera.View{v}, p.problem(), nil)
	if err != nil {
		return fmt.Errorf("place the camera from the card: %w", err)
	}
	p.sol = sol
	return nil
}

func (p *placer) cornerObs(i int) []camera.Obs {
	var out []camera.Obs
	for _, m := range p.sheets[i].markers {
		for k, q := range m.at {
			out = append(out, camera.Obs{Sheet: i, X: q[0] * p.scale, Y: -q[1] * p.scale, Px: m.px[k], SD: cornerSD})
		}
	}
	return out
}

// addTags adds the tags whose marker is a square of the right size on the table.
func (p *placer) addTags(tags []sheet) {
	c := &p.sol.Camera
	for _, t := range tags {
		var w [4]geom.Vec3
		good := true
		for k, q := range t.markers[0].px {
			var ok bool
			w[k], ok = c.OnPlane(q, 0)
			good = good && ok
		}
		side := Revision1().Tag.Marker.SideMM * p.scale
		for k := range w {
			s, d := w[(k+1)%4].Sub(w[k]).Norm(), w[(k+2)%4].Sub(w[k]).Norm()
			good = good && math.Abs(s/side-1) < cardQuadTolerance && math.Abs(d/side/math.Sqrt2-1) < cardQuadTolerance
		}
		// clockwise as printed, seen from above
		good = good && w[1].Sub(w[0]).Cross(w[2].Sub(w[1])).Z < 0
		if good {
			p.sheets = append(p.sheets, t)
		}
	}
}

// refine replaces the marker corners by all printed edges, twice.
func (p *placer) refine() error {
	start := []camera.Camera{p.sol.Camera}
	v := camera.View{Width: p.im.W, Height: p.im.H, Lens: p.lens}
	for i := range p.sheets {
		v.Obs = append(v.Obs, p.cornerObs(i)...)
	}
	sol, err := camera.Solve([]camera.View{v}, p.problem(), start)
	if err != nil {
		return fmt.Errorf("place the camera from the card: %w", err)
	}
	p.sol = sol
	var markerEdges []edge
	for _, e := range p.sheets[0].edges {
		if e.group == 0 {
			markerEdges = append(markerEdges, e)
		}
	}
	p.blur = p.im.estimateBlur(&sol.Camera, sol.Sheets[0], p.scale, markerEdges)
	reach := 3.0
	for pass := 0; pass < 3; pass++ {
		v := p.edgeView(reach)
		if len(v.Obs) < minEdges || !enough(v.Obs) {
			p.notes = append(p.notes, NoteCardBlurred)
			return nil
		}
		sol, err := camera.Solve([]camera.View{v}, p.problem(), []camera.Camera{p.sol.Camera})
		if err != nil {
			p.notes = append(p.notes, NoteCardBlurred)
			return nil
		}
		p.sol = sol
		reach = 1.5
	}
	return nil
}

// doubtLens asks whether the card contradicts what was said of the lens, and then solves again with
// less trust in it. Two signs: a principal point far from the middle fits far better (the photo is
// a cut-out), or the focal length is drawn away from the stated one by more than rounding does.
func (p *placer) doubtLens() bool {
	v := p.edgeView(1.5)
	if len(v.Obs) < minEdges || !enough(v.Obs) {
		return false
	}
	stated := p.lens.Focal
	loose := camera.LensUnknown(p.im.W, p.im.H) // distortion too may be another camera's
	loose.Focal = camera.Prior{Mean: stated.Mean, SD: math.Max(stated.SD, 0.2*stated.Mean)}
	cut := loose
	cut.Focal = camera.Prior{Mean: 1.15 * stated.Mean, SD: 0.2 * stated.Mean} // a cut-out has the smaller diagonal
	cut.CX.SD, cut.CY.SD = looseCentre*float64(p.im.W), looseCentre*float64(p.im.H)
	z := math.Log(p.sol.Camera.Focal/stated.Mean) * stated.Mean / stated.SD
	zk := 0.0 // of a lens file's distortion
	if p.lens.K1.SD > 0 {
		zk = (p.sol.Camera.K1 - p.lens.K1.Mean) / p.lens.K1.SD
	}
	near := math.Max(math.Abs(z), math.Abs(zk)) < doubtFocal
	doubtRMS := math.Max(doubtRMS, doubtShare*float64(max(p.im.W, p.im.H)))
	if near && p.sol.RMS[0] < doubtRMS { // nothing to doubt: a freer fit could not be told from it
		return false
	}
	start := &p.sol.Camera
	if !near || p.sol.RMS[0] > doubtAnew { // what was said of the lens may have led astray
		start = nil
	}
	free, err := p.solveWith(v, loose, start)
	if err != nil {
		return false
	}
	if free.RMS[0] > doubtRMS {
		better := func(sol *camera.Solution, err error) bool { return err == nil && free.RMS[0] > doubtGain*sol.RMS[0] }
		sol, err := p.solveWith(v, cut, &free.Camera)
		if !better(sol, err) && free.RMS[0] > doubtAnew {
			sol, err = p.solveWith(v, cut, nil)
		}
		if better(sol, err) {
			p.trust(cut, sol)
			return true
		}
	}
	if near && (p.sol.RMS[0] < doubtRMS || p.sol.RMS[0] < doubtGain*free.RMS[0]) {
		return false
	}
	p.trust(loose, free)
	return true
}

// solveWith solves for lens l, from camera start or, when that is nil, from the card's outline.
func (p *placer) solveWith(v camera.View, l camera.Lens, start *camera.Camera) (*camera.Solution, error) {
	v.Lens = l
	var from []camera.Camera
	if start != nil {
		from = []camera.Camera{*start}
	}
	return camera.Solve([]camera.View{v}, p.problem(), from)
}

func (p *placer) trust(l camera.Lens, sol *camera.Solution) {
	p.lens, p.sol = l, sol
	p.notes = append(p.notes, NoteLensDoubted)
}

// enough reports whether the first sheet's edges fix it in both directions.
func enough(obs []camera.Obs) bool {
	n := [2]int{}
	for _, o := range obs {
		if o.Sheet == 0 {
			if math.Abs(o.Normal.X) > math.Abs(o.Normal.Y) {
				n[0]++
			} else {
				n[1]++
			}
		}
	}
	return n[0] >= 8 && n[1] >= 8
}

// edgeView locates the edges of all sheets with the present camera. A seen edge is offset towards
// its dark side by tone curve and ink: all markers share one offset, each patch has its own.
func (p *placer) edgeView(reach float64) camera.View {
	v := camera.View{Width: p.im.W, Height: p.im.H, Lens: p.lens}
	c := &p.sol.Camera
	v.Offsets = []camera.Prior{{SD: offsetSD}}
	for i := range p.sheets {
		group := map[int]int{0: 1}
		n := 0
		found := p.im.locate(c, p.sol.Sheets[i], p.scale, p.sheets[i].edges, p.blur*fitBlur, reach)
		onEdge := map[int]int{}
		for _, s := range found {
			onEdge[s.edge]++
		}
		for _, s := range found {
			if group[s.group] == 0 {
				v.Offsets = append(v.Offsets, camera.Prior{SD: offsetSD})
				group[s.group] = len(v.Offsets)
			}
			sd := edgeSD * math.Sqrt(1+float64(onEdge[s.edge])) * math.Max(1, 0.4/s.contrast) * math.Max(1, sq(2.2/s.half))
			v.Obs = append(v.Obs, camera.Obs{Sheet: i, X: s.x * p.scale, Y: -s.y * p.scale, Px: s.px, Normal: s.normal,
				Offset: group[s.group], SD: sd})
			n++
		}
		if n < 12 { // a sheet too small or blurred for edges keeps its corners
			v.Obs = append(v.Obs, p.cornerObs(i)...)
		}
	}
	return v
}

func sq(x float64) float64 { return x * x }
