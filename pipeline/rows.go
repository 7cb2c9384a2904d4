package pipeline

import (
	"math"
	"strconv"
	"strings"

	"offtype/measure/body"
	"offtype/measure/colour"
	"offtype/measure/geom"
	"offtype/measure/skin"
	"offtype/pipeline/record"
	"offtype/pipeline/segment"
)

func value(v body.Value) record.Value { return record.Value{V: v.V, U: v.U} }

func lab(c *colour.Lab, u float64) *record.Lab {
	if c == nil {
		return nil
	}
	if math.IsNaN(u) {
		u = 0 // not known: an uncorrected photo
	}
	return &record.Lab{L: c.L, A: c.A, B: c.B, U: u}
}

// rows turns what was measured into the rows of fruits.csv, in reading order.
func (m *measurer) rows(s *shot) []record.Fruit {
	if s.skins == nil {
		s.skins = m.skins(s)
	}
	skins := s.skins
	plants := assignPlants(s.found, s.fruits, s.bodies)
	out := make([]record.Fruit, len(s.fruits))
	for i := range s.fruits {
		f := m.outlineRow(s, i)
		if plants[i] > 0 {
			f.Plant = strconv.Itoa(plants[i])
		}
		if s.fruits[i].Plant != "" {
			f.Plant = strings.TrimLeft(s.fruits[i].Plant, "0") // 0: of no plant
		}
		if b := s.bodies[i]; b != nil {
			bodyRow(&f, b)
		}
		m.stalkRow(s, i, &f)
		if !f.Has("cut") {
			skinRow(&f, &skins[i], s.row.ColourOK)
			f.AddNotes(s.colour.Notes...)
			ribsRow(&f, s.bodies[i])
		}
		out[i] = f
	}
	return out
}

// outlineRow fills what the outline alone tells.
func (m *measurer) outlineRow(s *shot, i int) record.Fruit {
	g := &s.fruits[i]
	c := geom.Centroid(g.Outline)
	f := record.Fruit{
		Photo: s.job.in.Name, Number: g.Number, X: c.X, Y: c.Y, Pose: record.Unclear, Outline: g.Outline, Edge: g.Edge, StalkPx: g.Stalk,
		StemPx: g.StemBase, BlossomPx: g.Blossom, Confidence: g.Confidence, SigmaPx: g.SigmaPx, Ribs: -1, Views: 1,
		Unscaled: m.opt.NoScale,
		Unsure:   g.Confidence < segment.DefaultOptions().UnsureBelow,
	}
	for _, v := range []*record.Value{&f.Length, &f.Width, &f.Ratio, &f.Midline, &f.Bend, &f.BroadestAt, &f.Volume, &f.Neck, &f.Taper,
		&f.Lopsided, &f.SecondShare, &f.GrooveDepth, &f.Roughness, &f.StalkLength} {
		*v = record.None()
	}
	f.AddNotes(g.Notes...)
	if g.CutByFrame {
		f.AddNotes("cut")
	}
	f.StemBy, f.BlossomBy = g.StemBy, g.BlossomBy
	if b := s.bodies[i]; b != nil {
		f.Strokes = b.Strokes()
	}
	f.TableMM, f.SegStem, f.SegTip = middle(&s.found.Camera, g.Outline, s.bodies[i]), g.StemBase, g.StalkTip
	return f
}

func bodyRow(f *record.Fruit, b *body.Body) {
	f.Pose = record.Pose(b.Pose)
	f.Length, f.Width, f.Midline = value(b.Length), value(b.Width), value(b.Midline)
	f.Bend, f.BroadestAt, f.Volume = value(b.Bend), value(b.BroadestAt), value(b.Volume)
	f.Profile = b.Profile
	f.AddNotes(b.Notes...)
	if len(b.Views) > 0 {
		d := b.Views[0]
		f.LengthLine, f.WidthLine, f.MidlinePx = d.Length, d.Width, d.Midline
		if f.StemPx == nil && b.StemKnown {
			f.StemPx = &d.Stem
		}
	}
	shapeRow(f, b)
}

// ribsRow prefers the ribs that the outline shows over those seen in the shading, whose number is only good to ±2.
func ribsRow(f *record.Fruit, b *body.Body) {
	if b != nil && b.Ribs > 0 {
		f.Ribs, f.GrooveDepth = b.Ribs, record.None()
		if b.GrooveDepth >= 0 { // below: noise of the outline
			f.GrooveDepth.V = b.GrooveDepth
		}
	} else if f.Ribs > 0 {
		f.AddNotes("ribs-unsure") // counted in the shading alone
	}
}

func skinRow(f *record.Fruit, r *skin.Result, colourOK bool) {
	f.AddNotes(r.Notes...)
	if !colourOK || r.OtherLight {
		f.AddNotes("colour-doubtful")
	}
	if !r.OK {
		return
	}
	f.Skin, f.SkinWords = lab(&r.Main, r.MainU), r.Words
	f.Second = lab(r.Second, r.SecondU)
	if r.Second != nil {
		f.SecondShare = record.Value{V: r.SecondShare, U: math.NaN()}
	}
	f.Pattern, f.Stripes, f.Ribs = string(r.Pattern), r.Stripes, r.Ribs
	f.GrooveDepth = record.Value{V: r.Groove, U: math.NaN()}
	if !f.Roughness.Ok() {
		f.Roughness = record.Value{V: r.Rough, U: math.NaN()}
	}
	for _, c := range r.More {
		f.More = append(f.More, record.ColourShare{Lab: record.Lab{L: c.Lab.L, A: c.Lab.A, B: c.Lab.B}, Share: c.Share, Kind: c.Kind})
	}
}
