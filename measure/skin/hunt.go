package skin

import (
	"math"
	"slices"

	"offtype/measure/geom"
)

// stand is where a lamp is looked for: height above the table in mm (0: far), offsets to the side over the height, and
// the roughness of the skin.
type stand struct{ x, y, h, alpha float64 }

// Lamps are looked for from straight above to 56° (near) and 76° (far) from it. Lamps lower than 1.2 m or higher than
// 4 m cannot be told from others by their fall-off.
const (
	lowestLamp, usualLamp, highestLamp = 1200, 2000, 4000 // mm
	mostNear, mostFar                  = 1.5, 4.0         // to the side over height
	usualAlpha                         = 0.3
	huntLit                            = 200  // pixels looked at while hunting
	minGain                            = 0.01 // of the cost, for a lamp to be believed
)

var alphas = [...]float64{.12, .2, .25, .3, .45}

func (s stand) lamp(about geom.Vec3) lamp {
	if s.h == 0 {
		return lamp{at: geom.Vec3{X: s.x, Y: s.y, Z: 1}.Unit(), far: true, alpha: s.alpha}
	}
	return lamp{at: geom.Vec3{X: about.X + s.x*s.h, Y: about.Y + s.y*s.h, Z: s.h}, alpha: s.alpha}
}

func (s stand) allowed() bool {
	r := math.Hypot(s.x, s.y)
	return s.h == 0 && r <= mostFar || s.h > 0 && r <= mostNear
}

// hunt looks for lamps that explain pixels better than smooth light alone.
type hunt struct {
	from *light
	far  bool    // far ones only
	all  []lit   // the pixels
	few  *trials // on some of them
	best float64
	at   []stand
}

// newHunt prepares one from light l, with parts found anew for far lamps, which come first; ok is false when there is too
// little skin.
func newHunt(skins []*patchwork, l *light, far bool) (h *hunt, ok bool) {
	h = &hunt{from: l.clone(), far: far, all: gather(skins, l, nil, far)}
	if len(h.all) < 60 {
		return h, false
	}
	var about geom.Vec3
	for i := range h.all {
		about = about.Add(h.all[i].q.place.Scale(1 / float64(len(h.all))))
	}
	about.Z = 0
	h.from.about = about
	step := max(1, len(h.all)/huntLit)
	few := make([]lit, 0, len(h.all)/step+1)
	for i := 0; i < len(h.all); i += step {
		t := h.all[i]
		t.w *= math.Sqrt(float64(step))
		few = append(few, t)
	}
	h.few = newTrials(h.from, few)
	return h, true
}

// lamps finds up to mostLamps of them, one after the other, and returns the light with them and its cost over all
// pixels. The light has none when they do not help.
func (h *hunt) lamps() (*light, float64) {
	now := h.from.clone()
	cost := now.settle(h.all, 3)
	for len(h.at) < mostLamps {
		n := len(h.at)
		h.best = math.Inf(1)
		h.add()
		if len(h.at) == n {
			break
		}
		h.refine()
		l, c := h.light(h.at)
		if !(c < (1-minGain)*cost) {
			break
		}
		now, cost = l, c
	}
	return now, cost
}

// light fits the light with lamps at the stands; the cost is infinite when a lamp would have to take light away.
func (h *hunt) light(at []stand) (*light, float64) {
	l := h.from.clone()
	for _, s := range at {
		l.lamps = append(l.lamps, s.lamp(l.about))
	}
	cost := l.settle(slices.Clone(h.all), 3)
	for i := range l.lamps {
		if p := &l.lamps[i].power; min(p[0], p[1], p[2]) < 0 {
			return l, math.Inf(1)
		}
	}
	return l, cost
}

// try keeps the stands when they are better than the best so far.
func (h *hunt) try(at []stand) bool {
	if slices.Equal(at, h.at) { // as it is
		return false
	}
	for _, s := range at {
		if !s.allowed() || h.far && s.h != 0 {
			return false
		}
	}
	if c := h.few.cost(at, h.best); c < h.best {
		h.best, h.at = c, slices.Clone(at)
		return true
	}
	return false
}

// add looks around the sky for one more lamp.
func (h *hunt) add() {
	was := slices.Clone(h.at)
	for _, height := range [...]float64{usualLamp, 0} {
		h.try(append(was, stand{0, 0, height, usualAlpha}))
		for _, r := range [...]float64{.3, .8, 1.6, 3} {
			for k := range 8 {
				sin, cos := math.Sincos(float64(k) * math.Pi / 4)
				h.try(append(was, stand{r * cos, r * sin, height, usualAlpha}))
			}
		}
	}
}

// refine moves the lamps while that helps, in ever smaller steps.
func (h *hunt) refine() {
	for step := .2; step > .04; step /= 2 {
		for moved, n := true, 0; moved && n < 6; n++ {
			moved = false
			for i := range h.at {
				moved = h.move(i, step) || moved
			}
			for _, a := range alphas {
				s := slices.Clone(h.at)
				for i := range s {
					s[i].alpha = a
				}
				moved = h.try(s) || moved
			}
		}
	}
}

// move tries places beside, above and below lamp i, and far away.
func (h *hunt) move(i int, step float64) (moved bool) {
	to := func(f func(*stand)) {
		s := slices.Clone(h.at)
		f(&s[i])
		moved = h.try(s) || moved
	}
	for _, d := range [...][2]float64{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
		to(func(s *stand) {
			r := step * (1 + math.Hypot(s.x, s.y))
			s.x, s.y = s.x+d[0]*r, s.y+d[1]*r
		})
	}
	for _, f := range [...]float64{1 / (1 + step), 1 + step} {
		to(func(s *stand) { s.h = min(highestLamp, max(lowestLamp, s.h*f)) })
	}
	to(func(s *stand) { s.h = usualLamp })
	to(func(s *stand) { s.h = 0 })
	return moved
}
