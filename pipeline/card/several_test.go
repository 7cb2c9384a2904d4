package card

import (
	"errors"
	"math"
	"testing"

	"offtype/measure/camera"
	"offtype/measure/geom"
	"offtype/pipeline/scene"
)

// TestSeveralCards: a second card of the right size helps, whatever lens is stated; a smaller one (a picture of the card, a
// print fitted to its page) is refused, since both together would put the camera somewhere else.
func TestSeveralCards(t *testing.T) {
	s, err := scene.Read("../../testdata/scenes", "dev-1-planks-overhead")
	if err != nil {
		t.Fatal(err)
	}
	var q []geom.Px
	for _, p := range s.Cards[0].CornersPx {
		q = append(q, geom.Px{X: p[0], Y: p[1]})
	}
	mid := geom.Centroid(q)
	for _, c := range []struct {
		name   string
		size   float64 // of a copy of the card, at the other side of the table
		stated float64 // 35 mm equivalent
		err    error
	}{
		{"two cards", 1, 26, nil},
		{"two cards, wrong lens", 1, 35, nil},
		{"half size", 0.5, 26, ErrCardsDiffer},
		{"fitted to the page", 0.94, 26, ErrCardsDiffer},
	} {
		im := readPicture(t, s.Photo)
		enlarged := make([]geom.Px, len(q)) // with some table about it
		for i, p := range q {
			enlarged[i] = mid.Add(p.Sub(mid).Scale(1.1))
		}
		here, _ := s.Camera.OnPlane(mid, 0)
		there, _ := s.Camera.OnPlane(geom.Px{X: mid.X + 1150, Y: mid.Y}, 0)
		src := append([]uint8(nil), im.RGB...)
		for y := range im.H {
			for x := range im.W {
				p, _ := s.Camera.OnPlane(geom.Px{X: float64(x), Y: float64(y)}, 0)
				from := s.Camera.Project(here.Add(p.Sub(there).Scale(1 / c.size)))
				if !geom.Contains(enlarged, from) {
					continue
				}
				x0, y0 := int(math.Floor(from.X)), int(math.Floor(from.Y))
				fx, fy := from.X-float64(x0), from.Y-float64(y0)
				for k := range 3 {
					v := func(x, y int) float64 { return float64(src[3*(y*im.W+x)+k]) }
					im.RGB[3*(y*im.W+x)+k] = uint8((1-fy)*((1-fx)*v(x0, y0)+fx*v(x0+1, y0)) + fy*((1-fx)*v(x0, y0+1)+fx*v(x0+1, y0+1)) + 0.5)
				}
			}
		}
		f, err := FindIn(im, Options{Lens: camera.LensFrom35(c.stated, im.W, im.H)})
		if !errors.Is(err, c.err) {
			t.Errorf("%s: error %v, want %v", c.name, err, c.err)
		}
		if err == nil && len(f.Cards) != 2 {
			t.Errorf("%s: %d cards", c.name, len(f.Cards))
		}
	}
}
