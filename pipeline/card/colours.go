package card

import "offtype/measure/colour"

// Samples returns the card's patches and bare paper as samples for colour.Calibrate. inks holds the measured colours
// of this card by patch name (and paper); what it lacks is taken at its nominal colour.
func (c *Card) Samples(inks map[string]colour.Lab) []colour.Sample {
	layout := Revision1()
	var out []colour.Sample
	add := func(p PatchSample, kind colour.Kind, nominal [3]uint8) {
		s := colour.Sample{Name: p.Name, Card: c.Number, Kind: kind, RGB: p.RGB, SD: [3]float64{p.SD, p.SD, p.SD}, Place: p.Px, Clipped: p.Clipped}
		if s.Ref, s.Known = inks[p.Name]; !s.Known {
			s.Ref = colour.SRGB255(float64(nominal[0]), float64(nominal[1]), float64(nominal[2]))
		}
		if p.N > 0 {
			out = append(out, s)
		}
	}
	for _, p := range c.Patches {
		for _, q := range layout.Patches {
			if q.Name != p.Name {
				continue
			}
			kind := colour.Chroma
			if q.SRGB[0] == q.SRGB[1] && q.SRGB[1] == q.SRGB[2] {
				kind = colour.Neutral
			}
			add(p, kind, q.SRGB)
		}
	}
	for _, p := range c.Paper {
		p.Name = "paper"
		add(p, colour.Paper, layout.PaperSRGB)
	}
	return out
}
