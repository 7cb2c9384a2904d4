// Package card knows the printed scale card and the plant tags: it writes them as PDF, finds them
// in a photo, and places the camera from them.
//
// One layout file (card.json, embedded) serves printing and finding. Its lengths are mm from the
// top-left corner of the cut line, x right, y down; sheet coordinates of package camera are
// (x, −y).
package card

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"math"
	"sync"

	"offtype/pipeline/vision"
)

//go:embed card.json
var layoutJSON []byte

// Rect is a rectangle on a sheet, mm: left, top, width, height.
type Rect [4]float64

// Patch is a printed colour patch.
type Patch struct {
	Name string   `json:"name"`
	Rect Rect     `json:"rect_mm"`
	SRGB [3]uint8 `json:"srgb"` // sent to the printer; not the printed colour
}

// Layout is what card.json holds.
type Layout struct {
	Revision  int      `json:"revision"`
	WidthMM   float64  `json:"width_mm"`
	HeightMM  float64  `json:"height_mm"`
	PaperSRGB [3]uint8 `json:"paper_srgb"`
	Markers   struct {
		Dictionary string       `json:"dictionary"`
		SideMM     float64      `json:"side_mm"`
		TopLeftMM  [][2]float64 `json:"top_left_mm"` // clockwise from the card's top-left
	} `json:"markers"`
	Patches   []Patch `json:"patches"`
	CheckLine struct {
		From [2]float64 `json:"from"`
		To   [2]float64 `json:"to"`
	} `json:"check_line_mm"`
	WritingField Rect `json:"writing_field_mm"`
	Tag          struct {
		WidthMM  float64 `json:"width_mm"`
		HeightMM float64 `json:"height_mm"`
		Marker   struct {
			Dictionary string     `json:"dictionary"`
			SideMM     float64    `json:"side_mm"`
			TopLeftMM  [2]float64 `json:"top_left_mm"`
		} `json:"marker"`
		TextBox Rect `json:"text_box_mm"`
	} `json:"plant_tag"`
}

// MaxCard is the greatest card number, MaxPlant the greatest plant number of a tag.
const (
	MaxCard  = 9
	MaxPlant = 249
)

// black is the sRGB value of printed black: not 0, to stay matt.
const black = 28

var theLayout = sync.OnceValue(func() *Layout {
	var l Layout
	if err := json.Unmarshal(layoutJSON, &l); err != nil {
		panic(fmt.Sprintf("card: embedded layout: %v", err)) // part of the program
	}
	return &l
})

// Revision1 returns the card's layout. It is shared: do not change it.
func Revision1() *Layout { return theLayout() }

// cells returns the marker's cells row by row, true where printed black, with its border of one
// cell: 6 × 6 for the card's markers, 7 × 7 for the tags'.
func cells(d vision.Dictionary, id int) ([][]bool, error) {
	n := 6
	if d == vision.Dict5x5x250 {
		n = 7
	}
	const k = 4
	pic, err := vision.MarkerPicture(d, id, n*k)
	if err != nil {
		return nil, err
	}
	c := make([][]bool, n)
	for y := range c {
		c[y] = make([]bool, n)
		for x := range c[y] {
			c[y][x] = pic[(y*k+k/2)*n*k+x*k+k/2] < 128
		}
	}
	return c, nil
}

// edge is a straight printed edge between dark and light.
type edge struct {
	x0, y0, x1, y1 float64 // layout mm (y down)
	nx, ny         float64 // unit normal towards the dark side, layout mm
	inside, around float64 // clear width on the dark and on the light side, mm
	group          int     // edges of one printed thing; 0: markers
}

// markerEdges lists the four outer edges of a marker whose top-left corner lies at (x, y). The
// edges between its inner cells are not used: markers drawn by common tools have whole pixels a
// cell, which moves the inner edges by up to a tenth of a millimetre.
func markerEdges(c [][]bool, x, y, side float64, group int) []edge {
	w := side / float64(len(c))
	e := func(x0, y0, x1, y1, nx, ny float64) edge {
		return edge{x0, y0, x1, y1, nx, ny, w, w, group}
	}
	return []edge{
		e(x, y, x, y+side, 1, 0), e(x+side, y, x+side, y+side, -1, 0),
		e(x, y, x+side, y, 0, 1), e(x, y+side, x+side, y+side, 0, -1),
	}
}

// rectEdges lists the four edges of a patch.
func rectEdges(p Patch, group int) []edge {
	x, y, w, h := p.Rect[0], p.Rect[1], p.Rect[2], p.Rect[3]
	e := func(x0, y0, x1, y1, nx, ny, in float64) edge {
		return edge{x0, y0, x1, y1, nx, ny, in, 0, group}
	}
	return []edge{
		e(x, y, x, y+h, 1, 0, w), e(x+w, y, x+w, y+h, -1, 0, w),
		e(x, y, x+w, y, 0, 1, h), e(x, y+h, x+w, y+h, 0, -1, h),
	}
}

// cardEdges lists all edges of card number n, grouped: 0 the markers, then the patches.
func (l *Layout) cardEdges(number int) ([]edge, error) {
	var out []edge
	for k, at := range l.Markers.TopLeftMM {
		c, err := cells(vision.Dict4x4x50, 4*number+k)
		if err != nil {
			return nil, err
		}
		out = append(out, markerEdges(c, at[0], at[1], l.Markers.SideMM, 0)...)
	}
	for i, p := range l.Patches {
		out = append(out, rectEdges(p, 1+i)...)
	}
	l.clear(out)
	return out, nil
}

// clear sets the width of white outside each edge: to the next printed thing or the cut line.
func (l *Layout) clear(es []edge) {
	var things []Rect
	for _, at := range l.Markers.TopLeftMM {
		things = append(things, Rect{at[0], at[1], l.Markers.SideMM, l.Markers.SideMM})
	}
	for _, p := range l.Patches {
		things = append(things, p.Rect)
	}
	for i := range es {
		e := &es[i]
		// a strip outside the edge grows until it meets something
		for e.around = 0.5; e.around < 15; e.around += 0.5 {
			x0, x1 := math.Min(e.x0, e.x0-e.around*e.nx), math.Max(e.x1, e.x1-e.around*e.nx)
			y0, y1 := math.Min(e.y0, e.y0-e.around*e.ny), math.Max(e.y1, e.y1-e.around*e.ny)
			hit := x0 < 0 || y0 < 0 || x1 > l.WidthMM || y1 > l.HeightMM
			for _, q := range things {
				hit = hit || x1 > q[0]+1e-9 && x0 < q[0]+q[2]-1e-9 && y1 > q[1]+1e-9 && y0 < q[1]+q[3]-1e-9
			}
			if hit {
				e.around -= 0.5
				break
			}
		}
	}
}

// tagEdges lists the edges of a plant tag's marker.
func (l *Layout) tagEdges(plant int) ([]edge, error) {
	c, err := cells(vision.Dict5x5x250, plant)
	if err != nil {
		return nil, err
	}
	m := &l.Tag.Marker
	return markerEdges(c, m.TopLeftMM[0], m.TopLeftMM[1], m.SideMM, 0), nil
}

// corners returns a square's corners clockwise from its top-left, layout mm.
func corners(at [2]float64, side float64) [4][2]float64 {
	x, y := at[0], at[1]
	return [4][2]float64{{x, y}, {x + side, y}, {x + side, y + side}, {x, y + side}}
}
