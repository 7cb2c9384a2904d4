package card

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"offtype/measure/camera"
	"offtype/measure/geom"
	"offtype/pipeline/lens"
)

var (
	// ErrNoCard is returned when no marker of a card was found.
	ErrNoCard = errors.New("no scale card found; retake with the whole card in view, flat and free of glare")
	// ErrPartCard is wrapped when too few markers of a card were found.
	ErrPartCard = errors.New("retake with the whole card in view")
)

// Options of Find. The zero value assumes a card printed at its exact size and no lens knowledge.
type Options struct {
	// Lens is what is known of the lens; zero: camera.LensUnknown. Find fills it from the photo.
	Lens camera.Lens
	// LensFile is a calibration of the photo's camera, or nil.
	LensFile *lens.File
	// LengthMM is what a ruler read on the card's 100 mm line; 0 means 100.
	LengthMM float64

	from FocalFrom
}

// Card is one card found.
type Card struct {
	Number  int
	Markers int // of its four markers, how many were read or confirmed by their edges
	Pose    camera.SheetPose
	Quad    []geom.Px // its cut corners, clockwise from its top-left
	Patches []PatchSample
	Paper   []PatchSample // bare paper at many places
	Hidden  []string      // patches covered, or outside the picture: not in Patches
}

// Tag is one plant tag found.
type Tag struct {
	Plant int
	Px    geom.Px   // its centre
	At    geom.Vec3 // the same on the table, mm
	Pose  camera.SheetPose
	Quad  []geom.Px
}

// Found is what the cards of a photo tell.
type Found struct {
	Camera     camera.Camera
	Solution   *camera.Solution
	FocalFrom  FocalFrom
	Cards      []Card // in order of number; the table frame is that of the first
	Tags       []Tag  // in order of plant number
	ResidualPx float64
	MMPerPx    float64 // at the middle of the first card
	TiltDeg    float64
	HeightMM   float64
	Notes      []string
}

// Notes of Found.
const (
	NoteCardNotFlat   = "card not flat"    // large residual
	NoteCardBlurred   = "card blurred"     // only the markers' corners could be used
	NoteCardPart      = "card part hidden" // fewer than four markers
	NoteFocalUnsure   = "focal length unsure"
	NoteCardTwice     = "card number twice" // two cards of the same number
	NoteLensDoubted   = "stated focal length does not fit"
	residualLimitPx   = 1.0
	focalUnsureRel    = 0.02
	cornerSD          = 0.4  // px, of OpenCV's marker corners against printed edges
	edgeSD            = 0.02 // px, error that all pieces of a printed edge share, and that of a piece (measured on the scenes)
	sheetHeightSD     = 1.0  // mm: tags and further cards lie this level with the first (assumed)
	offsetSD          = 0.4  // px
	patchOffsetExtra  = 0.15
	looseCentre       = 0.1  // of the side
	doubtGain         = 60   // gain of twice the log likelihood that doubts the lens
	doubtRMS          = 0.08 // px
	fitBlur           = 1.4  // the step fitted is this much softer than the picture: less noise (measured)
	minEdges          = 24
	cardQuadTolerance = 0.10
)

// FindIn is Find for decoded pixels with the lens given in the options.
func FindIn(im Picture, o Options) (*Found, error) {
	if im.W < 32 || im.H < 32 || len(im.RGB) != 3*im.W*im.H {
		return nil, fmt.Errorf("find card: picture of %d × %d px with %d bytes", im.W, im.H, len(im.RGB))
	}
	scale := 1.0
	if o.LengthMM != 0 {
		if !(o.LengthMM > 50 && o.LengthMM < 200) {
			return nil, fmt.Errorf("card length %g mm: give what the ruler reads on the card's 100 mm line", o.LengthMM)
		}
		scale = o.LengthMM / 100
	}
	if o.Lens.Focal.Mean == 0 {
		o.Lens, o.from = camera.LensUnknown(im.W, im.H), FromCard
	}
	raw, err := findSheets(&im)
	if err != nil {
		return nil, err
	}
	p := placer{im: &im, lens: o.Lens, scale: scale, sheets: raw.cards}
	if err := p.rough(); err != nil {
		return nil, err
	}
	p.addTags(raw.tags)
	if err := p.refine(); err != nil {
		return nil, err
	}
	if p.doubtLens() {
		o.from = FromCard
	}
	f := p.found()
	f.FocalFrom = o.from
	return f, nil
}

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

// doubtLens solves again as if nothing were known of the lens, principal point included, and keeps
// that when it fits far better: the photo is then a cut-out, or its stated focal length is wrong.
func (p *placer) doubtLens() bool {
	v := p.edgeView(1.5)
	if len(v.Obs) < minEdges || !enough(v.Obs) {
		return false
	}
	v.Lens = camera.LensUnknown(p.im.W, p.im.H)
	v.Lens.Focal.SD *= 2
	v.Lens.CX.SD, v.Lens.CY.SD = looseCentre*float64(p.im.W), looseCentre*float64(p.im.H)
	sol, err := camera.Solve([]camera.View{v}, p.problem(), nil)
	if err != nil {
		return false
	}
	n := float64(p.sol.Used[0])
	if n*math.Log(p.sol.RMS[0]/sol.RMS[0])*2 < doubtGain || p.sol.RMS[0] < doubtRMS {
		return false
	}
	p.sol = sol
	p.notes = append(p.notes, NoteLensDoubted)
	return true
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

// card samples the visible patches and bare paper of a card.
func (p *placer) card(s *sheet, pose camera.SheetPose) Card {
	l, c := Revision1(), &p.sol.Camera
	seen := p.confirm(s, pose)
	k := Card{Number: s.number, Quad: p.quad(pose, l.WidthMM, l.HeightMM)}
	for i := range l.Markers.TopLeftMM {
		if seen.marker[i] {
			k.Markers++
		}
	}
	for i, q := range l.Patches {
		m, ok := PatchSample{}, seen.patch[i]
		if ok {
			m, ok = p.im.sampleRect(c, pose, p.scale, q.Name, q.Rect, 0.6)
		}
		if ok {
			k.Patches = append(k.Patches, m)
		} else {
			k.Hidden = append(k.Hidden, q.Name)
		}
	}
	for _, q := range l.paperPlaces() {
		if !seen.near(l, q) {
			continue
		}
		if m, ok := p.im.sampleRect(c, pose, p.scale, "paper", q, 1); ok {
			k.Paper = append(k.Paper, m)
		}
	}
	return k
}

func sq(x float64) float64 { return x * x }

// found gathers the result.
func (p *placer) found() *Found {
	l := Revision1()
	c := &p.sol.Camera
	f := &Found{Camera: *c, Solution: p.sol, ResidualPx: p.sol.RMS[0], Notes: p.notes,
		TiltDeg: c.TiltDeg(), HeightMM: c.Centre().Z}
	f.MMPerPx = c.MMPerPx(p.sol.Sheets[0].ToTable(l.WidthMM/2*p.scale, -l.HeightMM/2*p.scale))
	for i := range p.sheets {
		s, pose := &p.sheets[i], p.sol.Sheets[i]
		if s.tag {
			t := Tag{Plant: s.number, Pose: pose, At: pose.ToTable(l.Tag.WidthMM/2*p.scale, -l.Tag.HeightMM/2*p.scale)}
			t.Px = c.Project(t.At)
			t.Quad = p.quad(pose, l.Tag.WidthMM, l.Tag.HeightMM)
			f.Tags = append(f.Tags, t)
			continue
		}
		k := p.card(s, pose)
		if k.Markers < 4 {
			f.note(NoteCardPart)
		}
		if len(f.Cards) > 0 && f.Cards[len(f.Cards)-1].Number == k.Number {
			f.note(NoteCardTwice)
		}
		f.Cards = append(f.Cards, k)
	}
	sort.SliceStable(f.Tags, func(i, j int) bool { return f.Tags[i].Plant < f.Tags[j].Plant })
	if f.ResidualPx > residualLimitPx {
		f.note(NoteCardNotFlat)
	}
	if sd, _, _ := p.sol.SD(); sd/c.Focal > focalUnsureRel {
		f.note(NoteFocalUnsure)
	}
	return f
}

func (f *Found) note(s string) {
	for _, n := range f.Notes {
		if n == s {
			return
		}
	}
	f.Notes = append(f.Notes, s)
}

func (p *placer) quad(pose camera.SheetPose, w, h float64) []geom.Px {
	var q []geom.Px
	for _, a := range [4][2]float64{{0, 0}, {w, 0}, {w, h}, {0, h}} {
		q = append(q, p.sol.Camera.Project(pose.ToTable(a[0]*p.scale, -a[1]*p.scale)))
	}
	return q
}
