package compare

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"offtype/cluster/season"
	"offtype/pipeline/record"
)

// Rest is what remains of a difference when the shift of the control plants is taken off.
type Rest struct {
	FromN     int      `json:"from_controls"`
	ToN       int      `json:"to_controls"`
	Shift     *float64 `json:"shift"` // of the control plants
	ShiftLow  *float64 `json:"shift_low"`
	ShiftHigh *float64 `json:"shift_high"`
	Remains   *float64 `json:"remains"`
	Low       *float64 `json:"low"`
	High      *float64 `json:"high"`
}

// controlled are the control plants of both harvests, where the season's shift can be taken from them.
type controlled struct{ a, b season.Sample }

// controlsOf gives the control plants of both harvests when both have some and were judged as one variety, otherwise nil.
func (p *pairing) controlsOf() *controlled {
	va, vb := p.a.side.Run.Judgement.Variety, p.b.side.Run.Judgement.Variety
	if va == nil || vb == nil || va.Name != vb.Name || p.out.Unit != "plant" {
		return nil
	}
	c := &controlled{season.Plants(p.a.controls, len(p.traits)), season.Plants(p.b.controls, len(p.traits))}
	if len(c.a.X) == 0 || len(c.b.X) == 0 {
		return nil
	}
	return c
}

// apply says of each trait of a section what remains without the control plants' shift, and of the colour how it moved on
// them. of and cols are the traits and their places among all.
func (c *controlled) apply(s *Section, a, b season.Sample, of []trait, cols []int, confidence float64) {
	if c == nil {
		return
	}
	found := 0
	for i := range s.Traits {
		if s.Traits[i].Found {
			found++
		}
	}
	for i := range s.Traits {
		t := &s.Traits[i]
		t.Rest = c.rest(a, b, cols[i], found, confidence)
		if t.Found {
			t.Sentence = strings.TrimSpace(t.Sentence + " " + restSentence(t, of[i]))
		}
	}
	if s.Colour != nil && s.Colour.Found {
		s.Colour.Sentence += controlColour(c)
	}
}

// rest takes the controls' shift off trait j of a section. So many traits are spoken of at once.
func (c *controlled) rest(a, b season.Sample, j, spoken int, confidence float64) *Rest {
	r := season.LessControls(a, b, c.a, c.b, j, 1-(1-confidence)/float64(max(1, spoken)))
	if r.NA == 0 || r.NB == 0 {
		return nil
	}
	return &Rest{FromN: r.NA, ToN: r.NB, Shift: num(r.Shift), ShiftLow: num(r.ShiftLow), ShiftHigh: num(r.ShiftHigh), Remains: num(r.Diff), Low: num(r.Low), High: num(r.High)}
}

// restSentence says how the control plants moved and what that leaves of a change that was found.
func restSentence(t *Trait, tr trait) string {
	r := t.Rest
	if r == nil || r.Shift == nil || r.Remains == nil {
		return ""
	}
	span := func(low, high *float64) string {
		return fmt.Sprintf("between %s and %s", signed(*low, tr.decimals), signedUnit(*high, tr.decimals, t.Unit))
	}
	moved := fmt.Sprintf("The control plants (%d, then %d) changed by %s", r.FromN, r.ToN, signedUnit(*r.Shift, tr.decimals, t.Unit))
	left := fmt.Sprintf("without that %s remain", signedUnit(*r.Remains, tr.decimals, t.Unit))
	if r.Low == nil || r.ShiftLow == nil {
		return fmt.Sprintf("%s; %s. With so few control plants nobody can say how sure that is.", moved, left)
	}
	s := fmt.Sprintf("%s (%s); %s (%s): ", moved, span(r.ShiftLow, r.ShiftHigh), left, span(r.Low, r.High))
	if *r.Low > 0 || *r.High < 0 {
		return s + "more than the season made of the control plants."
	}
	return s + "the season alone can have made this change."
}

// controlColour says how far the mean colour of the control plants moved; a remainder with a range is not computed.
func controlColour(c *controlled) string {
	a, b := c.a.MeanLab(), c.b.MeanLab()
	if math.IsNaN(a[0] + b[0]) {
		return ""
	}
	return fmt.Sprintf(" The mean colour of the control plants moved by %.1f (ΔE00) between the harvests: that much may be season, card or camera.", deltaE(a, b))
}

// aboutControls says what the control plants can and cannot tell of this pair.
func aboutControls(a, b *Side, used bool) string {
	const years = "Weather, bed, sowing and ripeness differ from year to year. "
	ca, cb := len(a.Run.Judgement.Controls()), len(b.Run.Judgement.Controls())
	switch {
	case used:
		same := "This holds if the control plants of both harvests grew from the same seed, which is not written down."
		switch {
		case len(a.ControlLots) == 0 || len(b.ControlLots) == 0:
		case len(a.ControlLots) == 1 && slices.Equal(a.ControlLots, b.ControlLots):
			same = fmt.Sprintf("The control plants of both harvests grew from seed lot %s.", a.ControlLots[0])
		default:
			same = fmt.Sprintf("The control plants grew from other seed lots in each harvest (%s; before %s): their change may be the seed's too.", strings.Join(b.ControlLots, ", "), strings.Join(a.ControlLots, ", "))
		}
		return years + "Control plants stand in both harvests: what they changed by is the season's share, and the page says of each measured change what remains without it. " + same + " Off-type rates, shares of groups and the test of all traits together are compared as they are."
	case ca > 0 && cb > 0:
		return years + "Control plants stand in both harvests, but these were not judged as the same variety: the season's share is not taken off."
	case ca+cb > 0:
		only := a.Name
		if cb > 0 {
			only = b.Name
		}
		return years + fmt.Sprintf("Control plants stand in %s only: what the season changed cannot be told from a change of the seed.", only)
	}
	return years + "Without control plants of known seed in both years they cannot be told from a change of the seed."
}

// ControlLots lists the seed lots that the control plants of a run grew from, none where that of one is not known. lotOf
// has that of the harvest under "": a control plant that bears it got it from the harvest, and its own is not written down.
func ControlLots(run *record.Run, lotOf map[string]string) []string {
	var out []string
	for _, p := range run.Judgement.Controls() {
		l := lotOf[p]
		if l == "" || l == lotOf[""] {
			return nil
		}
		if !slices.Contains(out, l) {
			out = append(out, l)
		}
	}
	slices.Sort(out)
	return out
}
