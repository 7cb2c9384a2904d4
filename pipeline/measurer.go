package pipeline

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"runtime"
	"runtime/debug"
	"strings"

	"offtype/measure/colour"
	"offtype/pipeline/atomic"
	"offtype/pipeline/card"
	"offtype/pipeline/lens"
	"offtype/pipeline/photo"
	"offtype/pipeline/segment"
	"offtype/pipeline/vision"
)

// ErrUsage marks a broken variety, colour or lens file or a wrong option: said before any photo
// is read.
var ErrUsage = errors.New("wrong usage")

// usageError is an error of ErrUsage's kind that prints only its own text.
type usageError struct{ err error }

func (u usageError) Error() string   { return u.err.Error() }
func (u usageError) Unwrap() []error { return []error{u.err, ErrUsage} }

// measurer holds what all photos of a run share.
type measurer struct {
	opt      *Options
	settings string // hash of everything but the photo that numbers depend on
	nets     chan segment.Net
	pixels   chan []uint8 // arrays of photos that are done with, to be filled again
	closers  []func()
	lensFile *lens.File
	inks     map[int]map[string]colour.Lab // card number → patch name → measured colour
}

// perNet workers share a network. It is busy for a sixth of the time that a photo takes, and each one more keeps 60 MB.
const perNet = 4

// newMeasurer checks the files a run depends on and loads the networks.
func newMeasurer(o *Options, workers int) (*measurer, error) {
	m := &measurer{opt: o}
	if err := m.readFiles(); err != nil {
		return nil, err
	}
	keepMemoryLow()
	vision.SetNumThreads(min(2, runtime.NumCPU())) // a worker that waits for the network leaves its core to it; more only wait
	m.nets, m.pixels = make(chan segment.Net, workers), make(chan []uint8, workers)
	nets, err := segment.LoadNets((workers + perNet - 1) / perNet)
	if err != nil {
		return nil, err
	}
	for _, n := range nets {
		m.closers = append(m.closers, n.Close)
	}
	for i := range workers {
		m.nets <- nets[i%len(nets)]
	}
	return m, nil
}

// keepMemoryLow makes the process give back what a photo took. Collecting after 10 % of growth, not 100 %, costs 8 % of
// the processor time and saves 94 of 427 MB (eight photos of 12 megapixels, two workers). The variable GOGC has its way.
func keepMemoryLow() {
	vision.ReturnMemory()
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(10)
	}
}

// readFiles reads the colour and lens files that the options name, and hashes all that numbers depend on.
func (m *measurer) readFiles() error {
	o := m.opt
	m.inks, m.lensFile = map[int]map[string]colour.Lab{}, nil
	set := map[string]string{
		"card-length": fmt.Sprint(o.CardLength), "coin": fmt.Sprint(o.CoinMM), "line": o.ScaleLine, "no-scale": fmt.Sprint(o.NoScale),
		"pose": o.Pose, "max": fmt.Sprint(o.MaxPixels), "side": fmt.Sprint(segment.DefaultOptions()),
	}
	for n, file := range o.CardColours {
		b, err := atomic.Read(file, atomic.MostText)
		if err != nil {
			return usageError{fmt.Errorf("--card-colours %d=%s: cannot be read (%w); check the name", n, file, plainErr(err))}
		}
		inks, err := colour.ReadCGATS(strings.NewReader(string(b)))
		if err != nil {
			return usageError{fmt.Errorf("--card-colours %d=%s: %w", n, file, err)}
		}
		m.inks[n] = inks
		set[fmt.Sprintf("colours-%d", n)] = hash(b)
	}
	if o.CameraFile != "" {
		f, err := lens.Read(o.CameraFile)
		if err != nil {
			return usageError{fmt.Errorf("--camera %s: %w", o.CameraFile, err)}
		}
		m.lensFile = f
		set["camera"] = fmt.Sprint(*f)
	}
	j, err := json.Marshal(set)
	if err != nil {
		return err
	}
	m.settings = hash(j)[:16]
	return nil
}

func (m *measurer) close() {
	for _, c := range m.closers {
		c()
	}
}

func hash(b []byte) string {
	h := sha256.Sum256(b)
	return hex.EncodeToString(h[:])
}

// scale finds what gives the photo its scale: the card, or what the options put in its place.
func (m *measurer) scale(p *photo.Photo) (*card.Found, error) {
	o := card.Options{LensFile: m.lensFile, LengthMM: m.opt.CardLength}
	switch {
	case m.opt.CoinMM > 0:
		return card.FindCoin(p, m.opt.CoinMM, o)
	case m.opt.ScaleLine != "":
		return card.FromScaleLine(p, m.opt.ScaleLine, o)
	case m.opt.NoScale:
		return card.WithoutScale(p, o)
	}
	return card.Find(p, o)
}

// samples turns a card's patches into samples with their true or nominal colours.
func (m *measurer) samples(c card.Card) []colour.Sample { return c.Samples(m.inks[c.Number]) }
