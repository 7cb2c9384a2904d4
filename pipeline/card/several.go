package card

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"offtype/measure/camera"
	"offtype/measure/geom"
)

// ErrCardsDiffer is returned when the cards of a photo cannot all have their printed size on one table.
var ErrCardsDiffer = errors.New("the scale cards on it do not fit together")

// cardsDiffer is the difference in size of two cards from which they do not fit together. By one card alone, at the other
// side of the picture, sizes are right to 1.2 % (docs/camera.md); a card printed to fit the page of other paper has 3 to 6 % less.
const cardsDiffer = 0.04

// sameSize returns ErrCardsDiffer when one of several cards, told by another alone, has another size: a picture of a card on
// a leaflet, a print that was fitted to its page. Together they would lead the camera astray, so it is asked where the stated
// lens, which may also be wrong, does not fit them; what either lens explains is let pass.
func (p *placer) sameSize(stated camera.Lens) error {
	l := Revision1()
	var all [][]geom.Px // the corners of each card, as seen; cards are the first sheets
	for i := range p.sheets {
		if !p.sheets[i].tag {
			all = append(all, p.quad(p.sol.Sheets[i], l.WidthMM, l.HeightMM))
		}
	}
	if len(all) < 2 {
		return nil
	}
	worst := 0.0
	for k := range all {
		differ := make([]float64, len(all))
		for i := range differ {
			differ[i] = math.Inf(1)
		}
		for _, lens := range []camera.Lens{stated, p.lens} {
			alone := placer{im: p.im, lens: lens, scale: p.scale, sheets: slices.Clone(p.sheets[k : k+1])}
			if alone.rough() != nil || alone.refine() != nil {
				return nil // a card that cannot stand alone tells nothing of the others
			}
			for j, q := range all {
				if by, ok := sizeOf(&alone, q, l); ok {
					differ[j] = math.Min(differ[j], math.Abs(math.Log(by)))
				}
			}
		}
		for j, d := range differ {
			if j != k && !math.IsInf(d, 1) {
				worst = math.Max(worst, d)
			}
		}
	}
	if worst > cardsDiffer {
		return fmt.Errorf("%w: one is about %.0f %% larger than another; leave the one whose 100 mm line is right by the ruler, take away or cover the other (a picture of a card counts too), and retake", ErrCardsDiffer, 100*(math.Exp(worst)-1))
	}
	return nil
}

// sizeOf is the size of the card with corners q on the table of p over its printed size: the root of the areas' ratio.
func sizeOf(p *placer, q []geom.Px, l *Layout) (float64, bool) {
	var flat []geom.Px
	for _, c := range q {
		at, ok := p.sol.Camera.OnPlane(c, 0)
		if !ok {
			return 0, false
		}
		flat = append(flat, geom.Px{X: at.X, Y: at.Y})
	}
	a := geom.Area(flat) / (l.WidthMM * l.HeightMM * p.scale * p.scale)
	return math.Sqrt(a), a > 0
}
