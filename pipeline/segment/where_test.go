package segment

import (
	"fmt"
	"math"
	"os"
	"testing"

	"offtype/measure/geom"
	"offtype/pipeline/scene"
)

func TestWhere(t *testing.T) {
	name := os.Getenv("WHERE")
	if name == "" {
		t.Skip()
	}
	s, _ := scene.Read(sceneDir, name)
	im := readPhoto(t, s.Photo)
	l := sceneLabels(s)
	res := FromMaps(im, simulated(l, s.Fruits, 1, 7), nil, DefaultOptions())
	var stems []geom.Px
	for _, f := range s.Fruits {
		stems = append(stems, geom.Px{X: f.StemPx[0] - .5, Y: f.StemPx[1] - .5})
	}
	for k, f := range res.Fruits {
		c := geom.Centroid(f.Outline)
		out := ""
		for d := 0; d < 12; d++ {
			g := f
			g.Edge = append([]geom.Edge(nil), f.Edge...)
			for i, p := range f.Outline {
				a := math.Atan2(p.Y-c.Y, p.X-c.X)/(2*math.Pi) + 1
				if int(math.Mod(a, 1)*12) != d {
					g.Edge[i] = geom.EdgeContact
				}
			}
			e, _ := edgeErrors(l, []Fruit{g}, stems)
			out += fmt.Sprintf(" %+.2f", mean(e))
		}
		t.Logf("%d (%.0f,%.0f): %s  (12 sectors from right, clockwise)", k, c.X, c.Y, out)
	}
}
