package skin

import (
	"math"

	"offtype/measure/colour"
	"offtype/measure/geom"
)

const (
	// Lamps are taken for near when that explains the pixels of at least nearFruit fruit better than far ones do by this
	// factor of the cost. Rendered scenes under bulbs and panels: 1.28 to 2.2; under sun and sky: 0.93 to 1.04.
	minNear   = 1.10
	nearFruit = 3
	// sdExpect is how well found lamps tell the log light at a place against the cards.
	sdExpect = 0.06
	// sdLamps is what stays unsure of the light half a diagonal of the picture away from the cards.
	sdLamps = 0.05
)

// lightOf finds the light and the calibration whose fall-off goes with it, and brings the samples in line with both. It
// is found with few samples of each fruit; the others follow at the end.
func lightOf(skins []*patchwork, ph *Photo) (*light, *colour.Calibration) {
	lift := liftOf(skins, ph.Colour)
	few := thinAll(skins)
	lower(few, lift)
	l := fitLight(few, flat(), 4)
	if ph.Colour.Corrected {
		if h, ok := newHunt(few, l, true); ok {
			far, cost := h.lamps()
			if m, cal, ok := underLamps(skins, few, l, cost, lift, ph); ok {
				return m, cal
			}
			l = far
		}
	}
	resplit(few, l)
	if c := even(few, l, ph.Colour); c != ph.Colour {
		now := liftOf(skins, c)
		regain(few, ph.Colour, c)
		lower(few, now-lift)
		if len(l.lamps) > 0 {
			l.settle(gather(few, l, nil, true), 2)
		} else {
			l = fitLight(few, l, 2)
		}
		regain(skins, ph.Colour, c)
		lift = now
	}
	lower(skins, lift)
	return l, ph.Colour
}

// underLamps looks for near lamps with few of the samples, which lift has been taken out of. ok is false, and these are
// as before, when far ones, which leave farCost, do as well.
//
// Near lamps tell how their light falls off over the table: the card alone tells only its slope where the card lies, and
// to go on with that slope over a table under a bulb is wrong by a quarter of the light and more.
func underLamps(skins, few []*patchwork, l *light, farCost, lift float64, ph *Photo) (*light, *colour.Calibration, bool) {
	bodies := 0
	for _, s := range skins {
		if s.fruit.Surface != nil && len(s.px) >= 40 {
			bodies++
		}
	}
	if bodies < nearFruit || len(ph.Cards) == 0 {
		return nil, nil, false
	}
	lower(few, -lift) // near lamps say themselves what height does
	near, _ := newHunt(few, l, false)
	m, nearCost := near.lamps()
	if !m.isNear() || farCost < minNear*nearCost {
		lower(few, lift)
		return nil, nil, false
	}
	cal := ph.Colour
	for range 2 {
		c := ph.Colour.Expect(m.spots(skins, ph), sdExpect, sdLamps)
		regain(few, cal, c)
		cal = c
		m.settle(gather(few, m, nil, true), 3)
	}
	resplit(few, m)
	now := even(few, m, cal)
	if now != cal {
		regain(few, cal, now)
		m.settle(gather(few, m, nil, true), 3)
	}
	regain(skins, ph.Colour, now)
	return m, cal, true
}

// spots lists the light that the lamps and a usual lens are expected to give at the fruit, against the cards.
func (l *light) spots(skins []*patchwork, ph *Photo) (out []colour.Spot) {
	card := 0.0
	for _, c := range ph.Cards {
		card += math.Log(lum(l.table(c))) / float64(len(ph.Cards))
	}
	for _, s := range skins {
		if s.fruit.Surface == nil || len(s.px) == 0 {
			continue
		}
		var at geom.Vec3
		for i := range s.px {
			at = at.Add(s.px[i].place.Scale(1 / float64(len(s.px))))
		}
		p := geom.Centroid(s.fruit.Outline)
		out = append(out, colour.Spot{Place: p, LogY: math.Log(lum(l.table(at))) - card + ph.Colour.Vignette(p)})
	}
	return out
}
