package card

import (
	"errors"
	"fmt"
	"sort"

	"offtype/measure/camera"
	"offtype/measure/geom"
	"offtype/pipeline/lens"
)

var (
	// ErrNoCard is returned when no marker of a card was found.
	ErrNoCard = errors.New("no scale card found; retake a sharp photo with the whole card in view, flat and free of glare")
	// ErrPartCard is wrapped when too few markers of a card were found.
	ErrPartCard = errors.New("retake with the whole card in view")

	errLine = errors.New("scale line") // begins what is said of a line that cannot be used
)

// NoScale reports whether err says that a photo could be read but that nothing in it gave its scale: no card or coin was
// found, cards do not fit together or to a camera, or the scale line is none. Another scale may then help.
func NoScale(err error) bool {
	for _, e := range []error{ErrNoCard, ErrPartCard, ErrCardsDiffer, camera.ErrDiverged, ErrNoCoin, errLine} {
		if errors.Is(err, e) {
			return true
		}
	}
	return false
}

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
	Markers int       // of its four markers, how many were read or confirmed by their edges
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

// Notes of Found: short codes, explained in docs/tables.md.
const (
	NoteCardNotFlat   = "card-not-flat"    // large residual
	NoteCardBlurred   = "card-blurred"     // only the markers' corners could be used
	NoteCardPart      = "card-part-hidden" // fewer than four markers
	NoteFocalUnsure   = "focal-length-unsure"
	NoteCardTwice     = "card-number-twice" // two cards of the same number
	NoteLensDoubted   = "stated-focal-length-does-not-fit"
	residualLimitPx   = 0.5
	residualLimitMM   = 0.3
	focalUnsureRel    = 0.02
	cornerSD          = 0.4        // px, of OpenCV's marker corners against printed edges
	edgeSD            = 0.02       // px, error that all pieces of a printed edge share, and that of a piece (measured on the scenes)
	sheetHeightSD     = 1.0        // mm: tags and further cards lie this level with the first (assumed)
	offsetSD          = 0.4        // px
	looseCentre       = 0.1        // of the side
	doubtGain         = 1.3        // ratio of residuals that doubts the lens
	doubtFocal        = 2.5        // stated standard deviations; rounding moves it by 1.5 at most
	doubtRMS          = 0.05       // px, below which nothing is doubted
	doubtShare        = 1. / 48000 // the same as a share of the long side: the edges of larger pictures are softer
	doubtAnew         = 0.25       // px, above which the solution anew begins from the card's outline
	fitBlur           = 1.4        // the step fitted is this much softer than the picture: less noise (measured)
	minEdges          = 24
	cardQuadTolerance = 0.10
)

// FindIn is Find for decoded pixels with the lens given in the options.
func FindIn(im Picture, o Options) (*Found, error) {
	if len(im.RGB) != 3*im.W*im.H {
		return nil, fmt.Errorf("find card: picture of %d × %d px with %d bytes", im.W, im.H, len(im.RGB))
	}
	if im.W < 32 || im.H < 32 {
		return nil, fmt.Errorf("the picture has only %d × %d px; take the photo as the camera wrote it", im.W, im.H)
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
		if err := p.sameSize(o.Lens); err != nil {
			return nil, err
		}
	}
	f := p.found()
	f.FocalFrom = o.from
	return f, nil
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
	if f.ResidualPx > residualLimitPx && f.ResidualPx*f.MMPerPx > residualLimitMM {
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
