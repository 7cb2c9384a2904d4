package card

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"offtype/measure/camera"
	"offtype/measure/geom"
	"offtype/pipeline/vision"
)

// sheet is a card or tag with the markers read on it.
type sheet struct {
	tag     bool
	number  int // card or plant number
	markers []mark
	edges   []edge
}

// mark is one marker: its corners on the layout (mm) and in the photo, clockwise.
type mark struct {
	place int // 0–3 on a card
	at    [4][2]float64
	px    [4]geom.Px
}

func (m *mark) sidePx() float64 {
	return (m.px[0].Sub(m.px[1]).Norm() + m.px[1].Sub(m.px[2]).Norm() + m.px[2].Sub(m.px[3]).Norm() + m.px[3].Sub(m.px[0]).Norm()) / 4
}

func (m *mark) centre() geom.Px {
	return m.px[0].Add(m.px[1]).Add(m.px[2]).Add(m.px[3]).Scale(0.25)
}

var placeNames = [4]string{"top left", "top right", "bottom right", "bottom left"}

type sheets struct{ cards, tags []sheet }

// efforts are the ways to look for markers in a picture whose longer side has long px, each costlier than the one before.
// A photo at its first size shows all of its markers to one threshold nearly always: all 84 of the scenes, and after a
// blur of 3 px as many as to three.
func efforts(long int) []vision.MarkerOptions {
	first := searchSide(long)
	out := []vision.MarkerOptions{{SearchSide: first, Once: true}, {SearchSide: first}}
	if long > 1200 {
		out = append(out, vision.MarkerOptions{SearchSide: 1200})
	}
	if long > 2400 {
		out = append(out, vision.MarkerOptions{SearchSide: -1})
	}
	return out
}

// findSheets detects markers at growing effort until a card is complete, and groups them.
func findSheets(im *Picture) (s sheets, err error) {
	var cardMarks, tagMarks []vision.Marker
	for _, effort := range efforts(max(im.W, im.H)) {
		m, err := vision.DetectMarkersRGB(im.RGB, im.W, im.H, []vision.Dictionary{vision.Dict4x4x50, vision.Dict5x5x250}, effort)
		if err != nil {
			return s, fmt.Errorf("find card: %w", err)
		}
		cardMarks, tagMarks = addMarks(cardMarks, m[0]), addMarks(tagMarks, m[1])
		s.cards, err = groupCards(cardMarks)
		if err == nil && complete(s.cards) {
			break
		}
	}
	if s.cards, err = groupCards(cardMarks); err != nil {
		return s, err
	}
	s.tags, err = groupTags(tagMarks)
	return s, err
}

// searchSide returns the long side at which a picture of the given long side is searched first: reduced by the whole
// factor that brings it between 2000 and 3360 px. Smaller pictures are searched as they are.
func searchSide(long int) int {
	k := max(1, int(math.Ceil(float64(long)/2400-0.4)))
	return long / k
}

func complete(cards []sheet) bool {
	for _, c := range cards {
		if len(c.markers) < 4 {
			return false
		}
	}
	return len(cards) > 0
}

func toMark(m vision.Marker) (k mark) {
	for i, c := range m.Corners {
		k.px[i] = geom.Px{X: c[0], Y: c[1]}
	}
	return k
}

// addMarks adds markers that are not there already (same number, centres closer than half a side).
func addMarks(have, more []vision.Marker) []vision.Marker {
	for _, m := range more {
		k := toMark(m)
		known := slices.ContainsFunc(have, func(h vision.Marker) bool {
			q := toMark(h)
			return h.ID == m.ID && q.centre().Sub(k.centre()).Norm() < q.sidePx()/2
		})
		if !known {
			have = append(have, m)
		}
	}
	return have
}

// groupCards gathers markers into cards: two or more different markers of one number that one
// homography of the layout explains. What fits no card is dropped as a false marker.
func groupCards(found []vision.Marker) ([]sheet, error) {
	l := Revision1()
	by := map[int][]mark{}
	for _, m := range found {
		if n := m.ID / 4; n <= MaxCard {
			k := toMark(m)
			k.place = m.ID % 4
			k.at = corners(l.Markers.TopLeftMM[k.place], l.Markers.SideMM)
			by[n] = append(by[n], k)
		}
	}
	var out []sheet
	var lone []string
	for n := 0; n <= MaxCard; n++ {
		rest := by[n]
		for {
			set := bestSet(rest)
			if len(set) < 2 {
				break
			}
			sort.Slice(set, func(i, j int) bool { return set[i].place < set[j].place })
			es, err := l.cardEdges(n)
			if err != nil {
				return nil, fmt.Errorf("find card: %w", err)
			}
			out = append(out, sheet{number: n, markers: set, edges: es})
			rest = slices.DeleteFunc(slices.Clone(rest), func(m mark) bool { return slices.Contains(set, m) })
		}
		for _, m := range rest {
			lone = append(lone, fmt.Sprintf("card %d %s", n, placeNames[m.place]))
		}
	}
	if len(out) == 0 {
		if len(lone) == 0 {
			return nil, ErrNoCard
		}
		return nil, fmt.Errorf("%d of 4 card markers found (%s), two of one card are needed; %w", min(len(lone), 4), strings.Join(lone, ", "), ErrPartCard)
	}
	return out, nil
}

// bestSet returns the largest set of markers with different places that agree with one homography,
// the best fitting of equal size.
func bestSet(ms []mark) []mark {
	var best []mark
	bestFit := math.Inf(1)
	for i := range ms {
		for j := i + 1; j < len(ms); j++ {
			if ms[i].place == ms[j].place {
				continue
			}
			set := []mark{ms[i], ms[j]}
			h, fit, ok := agree(set)
			if !ok {
				continue
			}
			for k := range ms {
				if k == i || k == j || slices.ContainsFunc(set, func(m mark) bool { return m.place == ms[k].place }) {
					continue
				}
				if misplaced(&h, &ms[k]) < 0.6 { // two markers foretell a third roughly
					more := append(slices.Clone(set), ms[k])
					if h2, f2, ok := agree(more); ok {
						set, h, fit = more, h2, f2
					}
				}
			}
			if len(set) > len(best) || len(set) == len(best) && fit < bestFit {
				best, bestFit = set, fit
			}
		}
	}
	return best
}

// misplaced returns the greatest distance of a corner from its foretold place, in marker sides.
func misplaced(h *camera.Homography, m *mark) float64 {
	d := 0.0
	for k, q := range m.at {
		x, y := h.Apply(q[0], q[1])
		d = math.Max(d, geom.Px{X: x, Y: y}.Sub(m.px[k]).Norm())
	}
	return d / m.sidePx()
}

// agree fits one homography to the set and reports whether all corners lie within 6 % of a
// marker's side (at least 1.5 px) of it and the card is seen from its face.
func agree(set []mark) (h camera.Homography, fit float64, ok bool) {
	var plane [][2]float64
	var px []geom.Px
	for i := range set {
		for k, q := range set[i].at {
			plane = append(plane, q)
			px = append(px, set[i].px[k])
		}
	}
	h, ok = camera.FitHomography(plane, px)
	if !ok {
		return h, 0, false
	}
	for i := range set {
		m := misplaced(&h, &set[i])
		fit = math.Max(fit, m)
		if m > math.Max(0.06, 1.5/set[i].sidePx()) {
			return h, fit, false
		}
	}
	// the card's outline: no corner beyond the horizon, turning like the layout does
	l := Revision1()
	var q [4]geom.Px
	for i, c := range [4][2]float64{{0, 0}, {l.WidthMM, 0}, {l.WidthMM, l.HeightMM}, {0, l.HeightMM}} {
		if h[6]*c[0]+h[7]*c[1]+h[8] <= 0 {
			return h, fit, false
		}
		q[i].X, q[i].Y = h.Apply(c[0], c[1])
	}
	for i := range q {
		if q[(i+1)%4].Sub(q[i]).Cross(q[(i+2)%4].Sub(q[(i+1)%4])) <= 0 {
			return h, fit, false
		}
	}
	return h, fit, true
}

func groupTags(found []vision.Marker) ([]sheet, error) {
	l := Revision1()
	var out []sheet
	for _, m := range found {
		if m.ID < 1 || m.ID > MaxPlant {
			continue
		}
		k := toMark(m)
		k.at = corners(l.Tag.Marker.TopLeftMM, l.Tag.Marker.SideMM)
		es, err := l.tagEdges(m.ID)
		if err != nil {
			return nil, fmt.Errorf("find plant tags: %w", err)
		}
		out = append(out, sheet{tag: true, number: m.ID, markers: []mark{k}, edges: es})
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].number < out[j].number })
	return out, nil
}
