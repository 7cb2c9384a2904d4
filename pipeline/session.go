package pipeline

import (
	"errors"
	"fmt"
	"os"
	"reflect"
	"runtime/debug"
	"slices"
	"sync"
	"sync/atomic"

	"offtype/measure/body"
	"offtype/measure/skin"
	"offtype/pipeline/photo"
	"offtype/pipeline/segment"
)

// Session measures photos one at a time, for a page that stays open: the networks stay loaded, and
// the photo looked at last stays in memory with its card and its network maps, so that a
// correction is measured again at once. A Session may be used by several goroutines. Close it.
type Session struct {
	base *measurer

	use    sync.RWMutex // held for reading while photos are measured, so that Close waits for them
	closed bool

	mu     sync.Mutex // guards held; one correction at a time
	held   *heldPhoto
	wanted atomic.Int64 // counts the calls that want a photo in memory: only the newest Hold is worth its time
}

var errClosed = errors.New("the program is ending; start it again")

// begin keeps the networks open until end is called.
func (s *Session) begin() (end func(), err error) {
	s.use.RLock()
	if s.closed {
		s.use.RUnlock()
		return nil, errClosed
	}
	return s.use.RUnlock, nil
}

// Shot is one photo and how it is to be measured.
type Shot struct {
	Input
	Out string // result folder

	CoinMM    float64 // no card: diameter of a coin, mm
	ScaleLine string  // no card: x1,y1,x2,y2=MM
	NoScale   bool
	Pose      string // side or upright for every fruit, empty: seen by itself
	Fixes     string // folder of corrections, empty: beside the photo
	MaxPixels int    // 0: 120 megapixels

	CardLength  float64        // mm that a ruler reads on the card's 100 mm line; 0: 100
	CardColours map[int]string // card number → file of its measured colours
	CameraFile  string         // lens file

	Plant string // plant of every fruit that no tag and no correction names one for
}

// heldPhoto is a photo up to the point where corrections come in.
type heldPhoto struct {
	sha, settings string
	shot          *shot
	found         *segment.Result
	fruits        []segment.Fruit // of the last measurement, with the bodies fitted to them
	bodies        []*body.Body    // each fitted by itself
	skins         []skin.Result   // of the same fruit
}

// NewSession loads the networks. workers is how many photos Measure can work on at a time.
func NewSession(program string, workers int) (*Session, error) {
	o := Options{Program: program, CardLength: 100, MaxPixels: 120_000_000}
	m, err := newMeasurer(&o, max(1, workers))
	if err != nil {
		return nil, err
	}
	return &Session{base: m}, nil
}

// Close waits for the calls that are under way and frees the networks. Later calls give an error.
func (s *Session) Close() {
	s.use.Lock()
	defer s.use.Unlock()
	if !s.closed {
		s.closed = true
		s.base.close()
	}
}

// measurer returns the base measurer with the shot's own settings.
func (s *Session) measurer(x *Shot) (*measurer, error) {
	m, o := *s.base, *s.base.opt
	o.Out, o.CoinMM, o.ScaleLine, o.NoScale, o.Pose, o.Fixes = x.Out, x.CoinMM, x.ScaleLine, x.NoScale, x.Pose, x.Fixes
	o.CardColours, o.CameraFile = x.CardColours, x.CameraFile
	if x.CardLength > 0 {
		o.CardLength = x.CardLength
	}
	if x.MaxPixels > 0 {
		o.MaxPixels = x.MaxPixels
	}
	m.opt = &o
	if err := m.readFiles(); err != nil {
		return nil, err
	}
	if x.Plant != "" { // there is no such option for all photos of a run
		m.settings = hash([]byte(m.settings + "\n" + x.Plant))[:16]
	}
	return &m, nil
}

// Measure measures one photo, or takes its stored result. The error says what is wrong and what to
// do; a panic in a decoder or a fit is an error too.
func (s *Session) Measure(x Shot) (part *Part, err error) {
	defer caught(&err)
	end, err := s.begin()
	if err != nil {
		return nil, err
	}
	defer end()
	m, err := s.measurer(&x)
	if err != nil {
		return nil, err
	}
	sha, err := photo.SHA256(x.Path, photo.Options{})
	if err != nil {
		return nil, err
	}
	fixes, fixHash, err := m.fixesFor(x.Input)
	if err != nil {
		return nil, err
	}
	key := partKey(sha, m.settings, fixHash, m.opt.Program)
	if p, ok := readPart(x.Out, key); ok {
		p.Rename(x.Input)
		return p, nil
	}
	p, preview, err := m.photo(&job{in: x.Input, sha: sha}, fixes)
	if err != nil {
		return nil, err
	}
	p.Key = key
	p.plant(x.Plant)
	return p, writePart(x.Out, p, preview)
}

// plant names the plant of the fruit that have none.
func (p *Part) plant(number string) {
	for i := range p.Fruits {
		if p.Fruits[i].Plant == "" {
			p.Fruits[i].Plant = number
		}
	}
}

// Rename gives a stored result the photo's present name.
func (p *Part) Rename(in Input) {
	p.Photo.Name, p.Photo.Path = in.Name, in.Path
	for i := range p.Fruits {
		p.Fruits[i].Photo = in.Name
	}
}

// caught turns a panic into the photo's error. With OFFTYPE_TRACE in the environment it prints where the panic arose.
func caught(err *error) {
	if r := recover(); r != nil {
		*err = fmt.Errorf("the program failed on this photo (%v); please report it with the photo", r)
		if os.Getenv("OFFTYPE_TRACE") != "" {
			fmt.Fprintf(os.Stderr, "%s\n", debug.Stack())
		}
	}
}

// Hold brings a photo into memory with the bodies and skins of its fruit, so that the first correction is quick
// too. When another photo is asked for while it waits for its turn, nothing is done: somebody who leafs through
// photos must not wait for all of them at the first correction.
func (s *Session) Hold(x Shot) (err error) {
	defer caught(&err)
	end, err := s.begin()
	if err != nil {
		return err
	}
	defer end()
	turn := s.wanted.Add(1)
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.wanted.Load() != turn {
		return nil
	}
	m, h, err := s.hold(&x)
	if err != nil || h.fruits != nil {
		return err
	}
	fixes, _, err := m.fixesFor(x.Input)
	if err != nil {
		return err
	}
	t := *h.shot
	t.fruits, _ = fixes.Apply(t.image(), h.found)
	h.bodiesOf(m, &t)
	m.rows(&t)
	h.skins = t.skins
	return nil
}

func (s *Session) hold(x *Shot) (*measurer, *heldPhoto, error) {
	m, err := s.measurer(x)
	if err != nil {
		return nil, nil, err
	}
	data, err := photo.Bytes(x.Path, photo.Options{})
	if err != nil {
		return nil, nil, err
	}
	sha := hash(data)
	if h := s.held; h != nil && h.sha == sha && h.settings == m.settings {
		h.shot.job.in = x.Input
		return m, h, nil
	}
	s.held = nil
	t := &shot{job: &job{in: x.Input, sha: sha}}
	if t.photo, err = photo.ReadBytes(x.Path, data, photo.Options{MaxPixels: m.opt.MaxPixels}); err != nil {
		return nil, nil, err
	}
	if err := m.place(t); err != nil {
		return nil, nil, err
	}
	found, err := m.find(t)
	if err != nil {
		return nil, nil, err
	}
	s.held = &heldPhoto{sha: sha, settings: m.settings, shot: t, found: found}
	return m, s.held, nil
}

// Correct measures a photo with the corrections given, which need not be written yet, and stores
// the result as a later Measure would. When the last correction cannot be applied nothing is
// stored and the error says why.
func (s *Session) Correct(x Shot, fixes *segment.Fixes) (part *Part, err error) {
	defer caught(&err)
	end, err := s.begin()
	if err != nil {
		return nil, err
	}
	defer end()
	s.wanted.Add(1)
	s.mu.Lock()
	defer s.mu.Unlock()
	m, h, err := s.hold(&x)
	if err != nil {
		return nil, err
	}
	t := *h.shot
	t.row.Notes = slices.Clone(h.shot.row.Notes)
	fruits, err := fixes.Apply(t.image(), h.found)
	if e := entryError(err, len(fixes.Fixes)); e != nil {
		return nil, e
	}
	t.fruits = fruits
	t.unapplied(err)
	h.bodiesOf(m, &t)
	p := m.part(&t)
	h.skins = t.skins
	p.plant(x.Plant)
	p.Key = partKey(h.sha, m.settings, fixes.Hash(), m.opt.Program)
	preview, err := h.preview(m, x.Out, p.Key)
	if err != nil {
		return nil, err
	}
	return p, writePart(x.Out, p, preview)
}

// entryError returns what is wrong with entry n of the corrections, nil when it was applied.
func entryError(err error, n int) error {
	var fe *segment.FixError
	if many, ok := err.(interface{ Unwrap() []error }); ok {
		for _, e := range many.Unwrap() {
			if errors.As(e, &fe) && fe.Entry == n {
				return errors.New(fe.What)
			}
		}
		return nil
	}
	if errors.As(err, &fe) && fe.Entry == n {
		return errors.New(fe.What)
	}
	return nil
}

// bodiesOf fits bodies to the fruit that changed since the last measurement and takes the others'.
func (h *heldPhoto) bodiesOf(m *measurer, t *shot) {
	plain := make([]segment.Fruit, len(t.fruits)) // as corrected, before the fit adds its notes
	copy(plain, t.fruits)
	bodies := make([]*body.Body, len(t.fruits))
	same := func(i int) *body.Body {
		for k := range h.fruits {
			a, b := h.fruits[k], plain[i]
			a.Plant, b.Plant = "", "" // whose fruit it is does not change its body
			if h.bodies[k] != nil && a.Number == b.Number && reflect.DeepEqual(a, b) {
				return h.bodies[k]
			}
		}
		return nil
	}
	for i := range plain {
		if bodies[i] = same(i); bodies[i] != nil {
			continue
		}
		one := *t
		one.fruits = t.fruits[i : i+1]
		one.fruits[0].Notes = append([]string(nil), plain[i].Notes...)
		m.bodies(&one)
		bodies[i] = one.bodies[0]
	}
	t.skins = nil
	if sameSurfaces(h.fruits, plain, h.bodies, bodies) { // a plant was named, no more
		t.skins = h.skins
	}
	h.skins = nil // until they are measured
	h.fruits, h.bodies = plain, bodies
	t.bodies = make([]*body.Body, len(bodies)) // the next correction may change which fruit are alike
	for i, b := range bodies {
		if b != nil {
			t.bodies[i] = b.Copy()
		}
	}
	body.Alike(t.bodies)
}

// sameSurfaces reports whether two measurements are of the same outlines and bodies: the skins, which are measured
// together since the light is common to them, are the same then.
func sameSurfaces(a, b []segment.Fruit, bodiesA, bodiesB []*body.Body) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if bodiesA[i] != bodiesB[i] || !slices.Equal(a[i].Outline, b[i].Outline) || !slices.Equal(a[i].Stalk, b[i].Stalk) {
			return false
		}
	}
	return true
}

// preview returns the photo's preview, nil when the result already has one.
func (h *heldPhoto) preview(m *measurer, out, key string) ([]byte, error) {
	if _, err := os.Stat(partPath(out, key, ".jpg")); err == nil {
		return nil, nil
	}
	first := partKey(h.sha, m.settings, "", m.opt.Program)
	if b, err := os.ReadFile(partPath(out, first, ".jpg")); err == nil {
		return b, nil
	}
	return PreviewOf(h.shot.photo)
}
