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
// cell: 6 × 6 for the card's markers, 8 × 8 never (5 × 5 markers have 7 × 7).
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
	group          int     // edges of one printed thing
	luma           float64 // expected linear luminance of the dark side, paper = 1
}

// markerEdges lists the edges of a marker whose top-left corner lies at (x, y).
func markerEdges(c [][]bool, x, y, side float64, group int) []edge {
	n := len(c)
	w := side / float64(n)
	dark := func(r, q int) bool { return r >= 0 && q >= 0 && r < n && q < n && c[r][q] }
	lum := linear(black)
	var out []edge
	// runs of equal transitions along each grid line, upright (t = 0) and level (t = 1)
	for t := 0; t < 2; t++ {
		at := func(i, j int) int { // transition across line i at place j: +1 dark after, −1 dark before
			a, b := dark(j, i-1), dark(j, i)
			if t == 1 {
				a, b = dark(i-1, j), dark(i, j)
			}
			switch {
			case b && !a:
				return 1
			case a && !b:
				return -1
			}
			return 0
		}
		for i := 0; i <= n; i++ {
			for j := 0; j < n; {
				s := at(i, j)
				k := j + 1
				for k < n && at(i, k) == s {
					k++
				}
				if s != 0 {
					e := edge{inside: w, around: w, group: group, luma: lum}
					p, q0, q1 := float64(i)*w, float64(j)*w, float64(k)*w
					if t == 0 {
						e.x0, e.y0, e.x1, e.y1, e.nx = x+p, y+q0, x+p, y+q1, float64(s)
					} else {
						e.x0, e.y0, e.x1, e.y1, e.ny = x+q0, y+p, x+q1, y+p, float64(s)
					}
					out = append(out, e)
				}
				j = k
			}
		}
	}
	return out
}

// rectEdges lists the four edges of a patch.
func rectEdges(p Patch, group int) []edge {
	x, y, w, h := p.Rect[0], p.Rect[1], p.Rect[2], p.Rect[3]
	lum := 0.2126*linear(p.SRGB[0]) + 0.7152*linear(p.SRGB[1]) + 0.0722*linear(p.SRGB[2])
	const gap = 3 // mm, the narrowest white between patches
	e := func(x0, y0, x1, y1, nx, ny, in float64) edge {
		return edge{x0, y0, x1, y1, nx, ny, in, gap, group, lum}
	}
	return []edge{
		e(x, y, x, y+h, 1, 0, w), e(x+w, y, x+w, y+h, -1, 0, w),
		e(x, y, x+w, y, 0, 1, h), e(x, y+h, x+w, y+h, 0, -1, h),
	}
}

// cardEdges lists all edges of card number n, grouped: 1…4 the markers, then the patches.
func (l *Layout) cardEdges(number int) ([]edge, error) {
	var out []edge
	for k, at := range l.Markers.TopLeftMM {
		c, err := cells(vision.Dict4x4x50, 4*number+k)
		if err != nil {
			return nil, err
		}
		out = append(out, markerEdges(c, at[0], at[1], l.Markers.SideMM, k)...)
	}
	for i, p := range l.Patches {
		out = append(out, rectEdges(p, 4+i)...)
	}
	return out, nil
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
