package body

import (
	"errors"

	"offtype/measure/camera"
	"offtype/measure/geom"
)

// View is one photo's evidence of a fruit.
type View struct {
	Camera  camera.Camera
	Outline []geom.Px   // closed, px, body without the stalk, n ≥ 12 points, first not repeated
	Edge    []geom.Edge // one a point; nil: all free

	Stem     *geom.Px // where the stalk meets the body, on the outline or inside it
	StalkTip *geom.Px // far end of the stalk
	Blossom  *geom.Px // blossom scar

	// Strokes are lines seen in the skin that may run from end to end; the fit finds out whether they do.
	Strokes []geom.Stroke

	SigmaPx     float64 // standard uncertainty of an outline point, px; 0: 0.5
	StemSigmaPx float64 // of Stem and Blossom, px; 0: 4, or 8 for an unsure one

	// StemBy and BlossomBy say how sure the finder is of each end, 0–1; 0: not stated, believed. Below 0.6
	// the place is used but not the name: it may be the other end. A StalkTip makes the stem end sure.
	StemBy, BlossomBy float64

	// Perturbed are cameras one standard uncertainty away from Camera in one independent way each
	// (focal length, tilt, height …). The fit is repeated with each; the changes add in quadrature.
	Perturbed []camera.Camera
}

// Pose says how a fruit lies.
type Pose string

// The poses.
const (
	Side    Pose = "side"
	Upright Pose = "upright"
)

// Options steer Fit. The zero value is the default.
type Options struct {
	Pose     Pose // Side or Upright forces the pose; empty: found
	Samples  int  // outline points used a view; 0: 140
	Straight bool // never bend the middle line
	Ribs     int  // number of ribs if known; 0: found from the outline; −1: smooth
}

// Errors of Fit.
var (
	ErrNoOutline = errors.New("body: no outline with at least 12 points")
	ErrCamera    = errors.New("body: camera does not look down on the table")
	ErrHidden    = errors.New("body: too little of the outline is the fruit's own")
	ErrNoFit     = errors.New("body: no body fits the outline")
)

// Note codes of Body.Notes.
const (
	NoteOblique  = "too-oblique"     // an end points at the camera: length rests on assumptions
	NoteEnds     = "ends-unsure"     // the axis could also lie across
	NoteStem     = "stem-unsure"     // which end is the stem end was guessed from the shape
	NoteResidual = "poor-fit"        // the outline is not that of a round body
	NoteHidden   = "partly-hidden"   // much of the outline is covered or cut
	NoteUpright  = "upright"         // length cannot be seen
	NotePose     = "pose-unsure"     // upright or lying could not be told
	NoteFar      = "far-from-camera" // few pixels on the fruit
)

// Value is a number with its expanded uncertainty (k = 2) in the same unit; NaN when not measured.
type Value struct{ V, U float64 }

// Body is the fitted fruit.
type Body struct {
	Pose       Pose
	Length     Value // mm, stalk base to blossom end in a straight line, extent of the body
	Width      Value // mm, greatest diameter across the middle line, over the ribs
	Midline    Value // mm, along the middle line
	Bend       Value // degrees, turn of the middle line from end to end, ≥ 0
	BroadestAt Value // 0 stem end … 1 blossom end
	Volume     Value // cm³
	Height     Value // mm above the table
	Ratio      Value // length / width, without what an error of scale does to both

	Profile     []float64 // diameters in mm at 21 even stations from the stem end to the blossom end
	ProfileU    []float64 // their expanded uncertainties, mm
	RiseDeg     float64   // rise of the blossom end above the stem end, degrees
	ResidualPx  float64   // robust standard deviation of the outline about the body, px
	Roughness   float64   // the same after removing its slow part, relative to the greatest radius
	RoughnessU  float64   // its expanded uncertainty: the outline's own noise
	Lopsided    float64   // greatest difference between the two sides / width
	Ribs        int       // ribs around that the outline shows, 0 when it shows none
	GrooveDepth float64   // their depth / radius

	StemKnown bool // a stalk or scar, not the shape, told the stem end
	Notes     []string

	Views []Drawing // one a view, in the order given

	m     *model
	task  *task
	early []string // notes of the search
	seen  float64  // share of the outline that is the fruit's own
	rival rival
	views []View
	grids []*grid
}

// Drawing is where the body's lines lie in a view, px.
type Drawing struct {
	Length  [2]geom.Px // stem end, blossom end
	Width   [2]geom.Px
	Midline []geom.Px // 21 points
	Stem    geom.Px
	Blossom geom.Px
}
