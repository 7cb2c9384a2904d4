package record

// Known returns f as tables, reports and verdicts may use it. Without a card and a scale, lengths are px and colours are
// those of the light: such a fruit (Unscaled) comes back without sizes, volume, profile and colours, and stays marked.
// Any other fruit is returned itself.
func (f *Fruit) Known() *Fruit {
	if !f.Unscaled {
		return f
	}
	g := *f
	for _, v := range []*Value{&g.Length, &g.Width, &g.Midline, &g.Volume, &g.StalkLength} {
		*v = None()
	}
	g.Profile, g.Skin, g.Second, g.StalkColour, g.More, g.SkinWords = nil, nil, nil, nil, nil, ""
	return &g
}
