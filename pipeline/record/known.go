package record

import "slices"

// noteRibs speaks of the number of ribs, and goes with it.
const noteRibs = "ribs-unsure"

// Known returns f as tables, reports and verdicts may use it. Without a card and a scale, lengths are px, colours are
// those of the light, and ribs and grooves follow from a camera that is only assumed: such a fruit (Unscaled) comes back
// without sizes, volume, profile, ribs, grooves and colours, and stays marked. Any other fruit is returned itself.
func (f *Fruit) Known() *Fruit {
	if !f.Unscaled {
		return f
	}
	g := *f
	for _, v := range []*Value{&g.Length, &g.Width, &g.Midline, &g.Volume, &g.StalkLength, &g.GrooveDepth} {
		*v = None()
	}
	g.Profile, g.Skin, g.Second, g.StalkColour, g.More, g.SkinWords = nil, nil, nil, nil, nil, ""
	g.Ribs = -1
	g.Notes = slices.DeleteFunc(slices.Clone(f.Notes), func(n string) bool { return n == noteRibs })
	return &g
}
