package card

import (
	"math"

	"offtype/measure/camera"
)

// visible says which printed things of a card are in sight.
type visible struct {
	marker []bool
	patch  []bool
}

// confirm looks for the edges of every printed thing where the camera expects them. A thing is in
// sight when at least half of its four sides show an edge; where the picture is too coarse for
// edges, when the marker nearest to it was read.
func (p *placer) confirm(s *sheet, pose camera.SheetPose) visible {
	l, c := Revision1(), &p.sol.Camera
	read := make([]bool, len(l.Markers.TopLeftMM))
	for _, m := range s.markers {
		read[m.place] = true
	}
	blur := p.blur
	if blur == 0 {
		blur = 0.9
	}
	sides := func(first int) (tried, got int) {
		for i := first; i < first+4; i++ {
			if !p.im.resolves(c, pose, p.scale, &s.edges[i], blur*fitBlur) {
				continue
			}
			tried++
			if len(p.im.locate(c, pose, p.scale, s.edges[i:i+1], blur*fitBlur, 2.5)) > 0 {
				got++
			}
		}
		return tried, got
	}
	v := visible{marker: make([]bool, len(read)), patch: make([]bool, len(l.Patches))}
	for i := range read {
		tried, got := sides(4 * i)
		v.marker[i] = read[i] || tried > 2 && got >= 3
	}
	for i, q := range l.Patches {
		tried, got := sides(4 * (len(read) + i))
		if tried == 0 {
			v.patch[i] = read[l.nearestMarker(q.Rect)]
			continue
		}
		v.patch[i] = 2*got >= tried
	}
	return v
}

// resolves reports whether e is long and clear enough in the photo to be located.
func (im *Picture) resolves(c *camera.Camera, pose camera.SheetPose, scale float64, e *edge, blur float64) bool {
	x, y := (e.x0+e.x1)/2, (e.y0+e.y1)/2
	step := c.MMPerPx(pose.ToTable(x*scale, -y*scale))
	return math.Min(e.inside, e.around)*scale/step*0.62 > math.Max(1.5, 1.15*blur) && !math.IsNaN(step)
}

func middle(r Rect) (x, y float64) { return r[0] + r[2]/2, r[1] + r[3]/2 }

func (l *Layout) nearestMarker(r Rect) int {
	x, y := middle(r)
	best, d := 0, math.Inf(1)
	for i, at := range l.Markers.TopLeftMM {
		if e := math.Hypot(at[0]+l.Markers.SideMM/2-x, at[1]+l.Markers.SideMM/2-y); e < d {
			best, d = i, e
		}
	}
	return best
}

// near reports whether the printed thing nearest to place r is in sight.
func (v *visible) near(l *Layout, r Rect) bool {
	x, y := middle(r)
	dist := func(q Rect) float64 {
		dx := math.Max(0, math.Max(q[0]-x, x-q[0]-q[2]))
		dy := math.Max(0, math.Max(q[1]-y, y-q[1]-q[3]))
		return math.Hypot(dx, dy)
	}
	ok, d := false, math.Inf(1)
	for i, at := range l.Markers.TopLeftMM {
		if e := dist(Rect{at[0], at[1], l.Markers.SideMM, l.Markers.SideMM}); e < d {
			ok, d = v.marker[i], e
		}
	}
	for i, q := range l.Patches {
		if e := dist(q.Rect); e < d {
			ok, d = v.patch[i], e
		}
	}
	return ok
}
