package pipeline

import (
	"errors"
	"fmt"
	"image"
	"image/png"
	"io"
	"io/fs"
	"math"
	"path/filepath"
	"strings"

	"offtype/measure/body"
	"offtype/measure/colour"
	"offtype/measure/geom"
	"offtype/measure/grain"
	"offtype/measure/skin"
	"offtype/pipeline/atomic"
	"offtype/pipeline/card"
	"offtype/pipeline/photo"
	"offtype/pipeline/picture"
	"offtype/pipeline/record"
	"offtype/pipeline/segment"
	"offtype/pipeline/vision"
)

// shot is one photo on its way through the stages.
type shot struct {
	job    *job
	photo  *photo.Photo
	found  *card.Found
	colour *colour.Calibration
	fruits []segment.Fruit
	bodies []*body.Body  // one a fruit; nil: not fitted
	skins  []skin.Result // one a fruit; nil: not measured yet
	row    record.Photo
}

// photo measures one photo: decode, find the card, calibrate the colours, outline, correct, fit
// the bodies, read the skin. The preview is a JPEG without metadata.
func (m *measurer) photo(j *job, fixes *segment.Fixes) (*Part, []byte, error) {
	s := &shot{job: j}
	data, err := photo.Bytes(j.in.Path, photo.Options{})
	if err != nil {
		return nil, nil, err
	}
	if s.photo, err = photo.ReadBytes(s.job.in.Path, data, photo.Options{MaxPixels: m.opt.MaxPixels, Space: m.space()}); err != nil {
		return nil, nil, err
	}
	data = nil
	defer m.done(s)
	if err := m.place(s); err != nil {
		return nil, nil, err
	}
	if err := m.outline(s, fixes); err != nil {
		return nil, nil, err
	}
	m.bodies(s)
	p := m.part(s)
	preview, err := PreviewOf(s.photo)
	if err != nil {
		return nil, nil, err
	}
	return p, preview, nil
}

// part is what is stored of a photo whose bodies are fitted.
func (m *measurer) part(s *shot) *Part {
	p := &Part{Photo: s.row, Fruits: m.rows(s), Camera: &s.found.Camera}
	p.Photo.Fruits = len(p.Fruits)
	if s.found.Solution != nil {
		p.Modes = s.found.Solution.Modes(cameraModes)
	}
	return p
}

// space returns the pixel array of a photo that is done with, or nil.
func (m *measurer) space() []uint8 {
	select {
	case p := <-m.pixels:
		return p
	default:
		return nil
	}
}

// done keeps the photo's pixel array for the next, unless it is uncommonly large.
func (m *measurer) done(s *shot) {
	const most = 3 * 24_000_000
	if cap(s.photo.Pix) > most {
		return
	}
	select {
	case m.pixels <- s.photo.Pix:
		s.photo.Pix = nil
	default:
	}
}

// PreviewOf makes the small picture that pages show, a JPEG without metadata.
func PreviewOf(p *photo.Photo) ([]byte, error) {
	w, h, _ := picture.Fit(p.Width, p.Height, picture.PreviewSide)
	small, err := vision.Reduce(p.Pix, p.Width, p.Height, 3, w, h)
	if err != nil {
		return nil, err
	}
	return vision.EncodeJPEG(small, w, h, 88)
}

// Preview reads a photo and shrinks it as PreviewOf does, for pages that show photos of an earlier run. scale is
// preview px a photo px.
func Preview(path string) (preview image.Image, scale float64, err error) {
	p, err := photo.Read(path, photo.DefaultOptions())
	if err != nil {
		return nil, 0, err
	}
	preview, scale = picture.Shrink(&picture.RGB{Pix: p.Pix, W: p.Width, H: p.Height}, picture.PreviewSide)
	return preview, scale, nil
}

// place finds card and tags, places the camera and calibrates the colours.
func (m *measurer) place(s *shot) error {
	p := s.photo
	found, err := m.scale(p)
	if err != nil {
		return err
	}
	s.found = found
	r := record.Photo{
		Name: s.job.in.Name, Path: s.job.in.Path, SHA256: s.job.sha, Width: p.Width, Height: p.Height, Taken: p.Exif.Taken,
		Make: p.Exif.Make, Model: p.Exif.Model, Status: record.StatusOK, MMPerPx: found.MMPerPx, TiltDeg: found.TiltDeg,
		HeightMM: found.HeightMM, FocalPx: found.Camera.Focal, FocalFrom: string(found.FocalFrom), CardResidual: found.ResidualPx,
		Tags: map[int]geom.Px{}, Settings: m.settings, Notes: append(append([]string(nil), p.Notes...), found.Notes...),
	}
	if m.opt.NoScale {
		r.MMPerPx, r.HeightMM = 0, 0
	}
	for _, v := range []*float64{&r.MMPerPx, &r.TiltDeg, &r.HeightMM, &r.FocalPx, &r.CardResidual} {
		if math.IsNaN(*v) || math.IsInf(*v, 0) { // not known without a card; JSON has no NaN
			*v = 0
		}
	}
	for _, c := range found.Cards {
		r.Cards = append(r.Cards, c.Number)
		r.Quads = append(r.Quads, c.Quad)
	}
	for _, t := range found.Tags {
		r.Tags[t.Plant] = t.Px
		r.Quads = append(r.Quads, t.Quad)
	}
	s.colour = m.calibrate(s, &r)
	r.ColourDE00, r.ColourOK = s.colour.Mean, s.colour.OK
	r.ColourBefore = s.colour.Before
	for _, v := range []*float64{&r.ColourDE00, &r.ColourBefore} {
		if math.IsNaN(*v) {
			*v = 0
		}
	}
	s.row = r
	return nil
}

// calibrate fits the photo's colours to its cards; without a usable card they stay uncorrected
// and are marked doubtful.
func (m *measurer) calibrate(s *shot, r *record.Photo) *colour.Calibration {
	f := colour.Frame{Width: s.photo.Width, Height: s.photo.Height, MMPerPx: s.found.MMPerPx}
	var samples []colour.Sample
	for _, c := range s.found.Cards {
		samples = append(samples, m.samples(c)...)
	}
	if len(samples) == 0 {
		return colour.Uncorrected(f)
	}
	cal, err := colour.Calibrate(samples, f, colour.DefaultOptions())
	if err != nil {
		r.Notes = append(r.Notes, "colours-uncorrected")
		return colour.Uncorrected(f)
	}
	r.Notes = append(append(r.Notes, cal.Reasons...), cal.Notes...)
	return cal
}

// outline finds the fruit and applies the grower's corrections.
func (m *measurer) outline(s *shot, fixes *segment.Fixes) error {
	res, err := m.find(s)
	if err != nil {
		return err
	}
	if m.opt.ShowSteps != "" {
		if err := m.showSteps(s, res); err != nil {
			return err
		}
	}
	s.fruits, err = fixes.Apply(s.image(), res)
	s.unapplied(err)
	return nil
}

// find outlines the fruit with one of the networks; a panic gives it back too.
func (m *measurer) find(s *shot) (*segment.Result, error) {
	net := <-m.nets
	defer func() { m.nets <- net }()
	res, err := segment.Find(s.image(), net, s.row.Quads, segment.DefaultOptions())
	if err != nil {
		return nil, fmt.Errorf("cannot be outlined (%w); please report it with the photo", err)
	}
	return res, nil
}

func (s *shot) image() segment.Image {
	return segment.Image{Pix: s.photo.Pix, Width: s.photo.Width, Height: s.photo.Height}
}

// unapplied says which corrections could not be applied; the others count.
func (s *shot) unapplied(err error) {
	if err == nil {
		return
	}
	s.row.Message = "some corrections were not applied: " + strings.ReplaceAll(err.Error(), "\n", "; ")
	s.row.Notes = append(s.row.Notes, "corrections-not-applied")
}

// showSteps writes the stages of the outlining as pictures.
func (m *measurer) showSteps(s *shot, res *segment.Result) error {
	stem := strings.TrimSuffix(s.job.in.Name, filepath.Ext(s.job.in.Name))
	for i, st := range segment.Steps(s.image(), res, 1600) {
		name := fmt.Sprintf("%s-%d-%s.png", stem, i+1, st.Name)
		err := atomic.Write(filepath.Join(m.opt.ShowSteps, filepath.FromSlash(name)), func(w io.Writer) error { return png.Encode(w, st.Image) })
		if err != nil {
			return err
		}
	}
	var b strings.Builder
	for i, r := range res.Rejected {
		fmt.Fprintf(&b, "%d: %s\n", i+1, r.Reason)
	}
	if b.Len() == 0 {
		return nil
	}
	return atomic.WriteBytes(filepath.Join(m.opt.ShowSteps, filepath.FromSlash(stem)+"-rejected.txt"), []byte(b.String()))
}

// fixesFor reads the corrections of a photo; nil when there are none. Their hash is part of the
// key of the stored result.
func (m *measurer) fixesFor(in Input) (*segment.Fixes, string, error) {
	path := segment.FixPath(in.Path, m.opt.Fixes)
	f, err := segment.ReadFixes(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, "", nil
	case err != nil:
		return nil, "", fmt.Errorf("corrections %s: %w", filepath.Base(path), err)
	case f == nil:
		return nil, "", nil
	}
	return f, f.Hash(), nil
}

// cameraModes is how many independent camera errors the body fit is repeated with: the first
// ones carry nearly all of the uncertainty of lengths.
const cameraModes = 4

func (m *measurer) view(s *shot, f *segment.Fruit) body.View {
	v := body.View{
		Camera: s.found.Camera, Outline: f.Outline, Edge: f.Edge, SigmaPx: f.SigmaPx,
		Stem: f.StemBase, StalkTip: f.StalkTip, Blossom: f.Blossom, StemBy: f.StemBy, BlossomBy: f.BlossomBy,
		Strokes: grain.Strokes(&grain.Photo{Pix: s.photo.Pix, Width: s.photo.Width, Height: s.photo.Height}, f.Outline, f.Stalk),
	}
	if s.found.Solution != nil {
		v.Perturbed = s.found.Solution.Modes(cameraModes)
	}
	return v
}

// bodies fits a body to every fruit that the frame does not cut; where a tip is seen at a slant, with a look at the
// tips of the photo's other fruit.
func (m *measurer) bodies(s *shot) {
	s.bodies = make([]*body.Body, len(s.fruits))
	for i := range s.fruits {
		f := &s.fruits[i]
		if f.CutByFrame || len(f.Outline) < 12 {
			continue
		}
		o := body.Options{Pose: body.Pose(m.opt.Pose)}
		if f.Pose == string(body.Side) || f.Pose == string(body.Upright) {
			o.Pose = body.Pose(f.Pose)
		}
		b, err := body.Fit([]body.View{m.view(s, f)}, o)
		if err != nil {
			f.Notes = append(f.Notes, bodyNote(err))
			continue
		}
		s.bodies[i] = b
	}
	body.Alike(s.bodies)
}

func bodyNote(err error) string {
	if errors.Is(err, body.ErrHidden) {
		return "too-much-hidden"
	}
	return "no-body-fits"
}

// skins measures the colours and marks of all fruit together, since the light is common to them.
func (m *measurer) skins(s *shot) []skin.Result {
	ph := &skin.Photo{Pix: s.photo.Pix, Width: s.photo.Width, Height: s.photo.Height, Colour: s.colour, Camera: s.found.Camera.Centre()}
	for _, t := range s.found.Tags {
		ph.Tags = append(ph.Tags, t.Quad)
	}
	for _, c := range s.found.Cards {
		ph.Quads = append(ph.Quads, c.Quad)
		if at, ok := s.found.Camera.OnPlane(geom.Centroid(c.Quad), 0); ok {
			ph.Cards = append(ph.Cards, at)
		}
	}
	for i := range s.fruits {
		f := &s.fruits[i]
		sf := skin.Fruit{Outline: f.Outline, Stalk: f.Stalk}
		if b := s.bodies[i]; b != nil {
			cam := &s.found.Camera
			sf.Surface = func(p geom.Px) (float64, float64, geom.Vec3, geom.Vec3, bool) { return b.Surface(cam, p) }
			sf.Upright = b.Pose == body.Upright
		}
		ph.Fruits = append(ph.Fruits, sf)
	}
	return skin.Measure(ph, skin.DefaultOptions())
}
