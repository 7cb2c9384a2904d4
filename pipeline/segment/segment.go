// Package segment outlines the fruit of a photo: pixels and network maps in, closed sub-pixel
// outlines with a confidence out.
//
// Work goes in two steps. A small network gives coarse maps (body, stalk, seam, centre, ends) at
// about 1/5 of the photo's resolution; instances.go turns them into one region a fruit. refine.go
// then finds the true edge in the photo's own pixels along the normals of each coarse outline.
// Coordinates are image px: the centre of the top-left pixel is (0, 0). Only corrections (fixes.go)
// are read from files.
package segment

import (
	"errors"
	"fmt"

	"offtype/measure/geom"
)

// Image is a photo: 8-bit sRGB, three bytes a pixel, rows from the top.
type Image struct {
	Pix           []uint8
	Width, Height int
}

// Fruit is one outlined fruit.
type Fruit struct {
	Number  int         // reading order, from 1; corrections leave the numbers of other fruit alone
	Outline []geom.Px   // closed, sub-pixel, body without stalk, first point not repeated
	Edge    []geom.Edge // what each outline point separates the fruit from
	Stalk   []geom.Px   // closed outline of the stalk, nil when none is seen

	StemBase  *geom.Px // where the stalk meets the body, or the stem end
	StalkTip  *geom.Px // free end of the stalk
	Blossom   *geom.Px // blossom end, when it can be seen
	StemBy    float64  // 0–1, how sure the stem end is
	BlossomBy float64  // 0–1, how sure the blossom end is

	UprightScore float64 // 0 lies on its side, 1 stands or lies with its end towards the camera
	Confidence   float64 // 0–1 that this is one whole fruit, rightly outlined
	CutByFrame   bool
	SigmaPx      float64  // standard deviation of an outline point across the outline, px
	Notes        []string // short codes, see docs/outlines.md

	Pose  string // set by a correction only: side, upright or unclear
	Plant string // set by a correction only
}

// Rejected is a thing that was looked at and is not counted as a fruit.
type Rejected struct {
	Outline []geom.Px
	Reason  string
}

// Result is what Find returns: fruit in reading order, and what was set aside and why.
type Result struct {
	Fruits   []Fruit
	Rejected []Rejected
	Maps     *Maps // for the step pictures
	Regions  []int32
}

// Options of Find. DefaultOptions gives the values used by every run.
type Options struct {
	LongSide     int     // px, long side of the network's input (1024: what the network was trained on)
	BodyLimit    float64 // 0–1, body probability that counts as fruit (0.5)
	MinAreaShare float64 // smallest fruit as a share of the photo's area (0.0003)
	UnsureBelow  float64 // 0–1, confidence below which a fruit is to be asked about (0.5)
	BandCells    float64 // half width of the search band in map cells (1.6)
	OwnColours   float64 // weight of the photo's own fruit and table colours on doubtful cells (0.7)
	Refine       bool    // find the true edge at full resolution (true)
	Second       bool    // ask the second network about photos that leave the first in doubt (true)
	Closer       bool    // look again, with the photo made smaller, at fruit that fill the picture (true)
}

// DefaultOptions returns the options used by every run.
func DefaultOptions() Options {
	return Options{LongSide: 1024, BodyLimit: 0.5, MinAreaShare: 0.0003, UnsureBelow: 0.5, BandCells: 1.6, OwnColours: 0.7, Refine: true, Second: true, Closer: true}
}

// Net runs the outline network: input 1×3×h×w (RGB, 0–1), output 1×8×(h/2)×(w/2).
type Net interface {
	Forward(in []float32, shape []int) (out []float32, outShape []int, err error)
}

// ErrEmptyPhoto is returned for a photo without pixels.
var ErrEmptyPhoto = errors.New("the photo has no pixels")

// Find outlines the fruit of im. keepOut holds polygons (px) that are never fruit: cards, tags.
// A photo without fruit gives an empty result and no error.
func Find(im Image, net Net, keepOut [][]geom.Px, opt Options) (*Result, error) {
	if im.Width < 1 || im.Height < 1 {
		return nil, ErrEmptyPhoto
	}
	if len(im.Pix) != 3*im.Width*im.Height {
		return nil, fmt.Errorf("photo of %d × %d px has %d bytes, needs %d", im.Width, im.Height, len(im.Pix), 3*im.Width*im.Height)
	}
	m, err := runNet(im, net, opt.LongSide)
	if err != nil {
		return nil, err
	}
	if opt.Second {
		if err := m.second(im, net, keepOut, opt); err != nil {
			return nil, err
		}
	}
	if opt.Closer {
		if err := m.closer(im, net, keepOut, opt); err != nil {
			return nil, err
		}
	}
	var seek func(g *regions) error
	if opt.Closer {
		seek = func(g *regions) error { return m.seekStems(im, g, net) }
	}
	return fromMaps(im, m, keepOut, opt, seek)
}

// speck is the size, in map cells, below which nothing is reported at all.
const speck = 16

// FromMaps outlines the fruit of im from network maps that are already there.
func FromMaps(im Image, m *Maps, keepOut [][]geom.Px, opt Options) *Result {
	res, _ := fromMaps(im, m, keepOut, opt, nil) // only a closer look fails
	return res
}

// fromMaps is FromMaps with a closer look at stem ends, seek (nil: none), as soon as the fruit are known.
func fromMaps(im Image, m *Maps, keepOut [][]geom.Px, opt Options, seek func(g *regions) error) (*Result, error) {
	m.block(keepOut)
	own := m.recolour(im, opt)
	own.rescue(m, opt)
	g := findRegions(m, own, opt)
	if seek != nil {
		if err := seek(g); err != nil {
			return nil, err
		}
	}
	stalks := g.findStalks(m, own)
	res := &Result{Maps: m, Regions: g.label}
	t := newTools()
	cand := make([]*candidate, 0, len(g.regions))
	for _, r := range g.regions {
		if r.cells < speck {
			continue
		}
		if r.reject != "" {
			res.Rejected = append(res.Rejected, Rejected{m.traceRegion(g, r, im), r.reason()})
			continue
		}
		if c := newCandidate(im, m, g, r); c != nil {
			c.stalk, c.stalkCells = m.traceStalk(stalks[r.id], im), stalks[r.id]
			for _, i := range c.stalkCells {
				c.stalkTop = max(c.stalkTop, float64(m.Stalk[i]))
			}
			cand = append(cand, c)
		}
	}
	for _, c := range cand {
		c.mark(im, m, g)
		if opt.Refine {
			c.refine(im, m, t, opt)
		}
	}
	settleContacts(cand)
	for _, c := range cand {
		c.untangle(60)
		c.refineStalk(im, m, g, t, opt)
		f := c.fruit(im, m, opt)
		why := implausible(f, im, opt)
		if why == "" {
			why = c.pieceOf(cand, m, f, opt)
		}
		if why == "" && c.isTable(f, own, opt) {
			why = "no edge, and the table's colours inside"
		}
		if why != "" {
			res.Rejected = append(res.Rejected, Rejected{f.Outline, why})
			continue
		}
		res.Fruits = append(res.Fruits, f)
	}
	sortReading(res.Fruits)
	for i := range res.Fruits {
		res.Fruits[i].Number = i + 1
	}
	return res, nil
}
