package segment

import (
	"math"
	"testing"

	"offtype/measure/geom"
)

// restGrid is a map with one region: a disc of 20 cells at (50, 60), cut off at y = 42, a neck out of its top as
// wide as half says at each y, and a stalk of the cells that is says.
func restGrid(half func(y int) float64, is func(x, y int) bool) (g *regions, stalk []int) {
	const w, h = 100, 100
	g = &regions{w: w, h: h, label: make([]int32, w*h)}
	r := &region{id: 1, wide: 20, box: box{w, h, -1, -1}}
	for i := range g.label {
		x, y := i%w, i/w
		disc := y > 42 && math.Hypot(float64(x)-50, float64(y)-60) <= 20
		neck := y <= 42 && math.Abs(float64(x)-50) <= half(y)
		switch {
		case is(x, y):
			stalk = append(stalk, i)
		case disc || neck:
			g.label[i] = 1
			r.cells++
			r.box = r.box.with(x, y)
			r.cx, r.cy = r.cx+float64(x), r.cy+float64(y)
		}
	}
	r.cx, r.cy = r.cx/float64(r.cells), r.cy/float64(r.cells)
	g.regions = []*region{r}
	return g, stalk
}

// The network saw a splinter of a stalk 7 cells wide, or only its end: the rest of it, down to the shoulder, is stalk.
func TestRestOfStalk(t *testing.T) {
	straight := func(y int) float64 {
		if y < 30 {
			return -1
		}
		return 3
	}
	for name, is := range map[string]func(x, y int) bool{
		"its end":    func(x, y int) bool { return y >= 30 && y < 35 && x >= 47 && x <= 53 },
		"a splinter": func(x, y int) bool { return y >= 30 && y < 41 && x >= 47 && x <= 47+(41-y)/3 },
	} {
		g, stalk := restGrid(straight, is)
		rest := g.restOfStalk(g.regions[0], stalk)
		want := 13*7 - len(stalk)
		if math.Abs(float64(len(rest)-want)) > 14 {
			t.Errorf("%s: %d cells given, want about %d", name, len(rest), want)
		}
		for _, i := range rest {
			if p := g.cell(i); p.Y > 44 || math.Abs(p.X-50) > 4 {
				t.Fatalf("%s: cell %v is fruit", name, p)
			}
		}
	}
}

// What is the fruit's own stays with it: a pointed end below the stalk, a neck wider than a stalk, and the skin around a stalk
// that lies before the fruit.
func TestFruitKeepsItsEnd(t *testing.T) {
	end := func(x, y int) bool { return y >= 15 && y < 22 && x >= 47 && x <= 53 }
	for name, half := range map[string]func(y int) float64{
		"pointed": func(y int) float64 { return 0.45 * float64(y-16) },
		"necked": func(y int) float64 {
			if y < 22 {
				return -1
			}
			return 9
		},
	} {
		g, stalk := restGrid(half, end)
		if rest := g.restOfStalk(g.regions[0], stalk); len(rest) > 0 {
			t.Errorf("%s: %d cells given", name, len(rest))
		}
	}
	none := func(int) float64 { return -1 }
	g, stalk := restGrid(none, func(x, y int) bool { return geom.Px{X: float64(x) - 50, Y: float64(y) - 48}.Norm() < 4 })
	if rest := g.restOfStalk(g.regions[0], stalk); len(rest) > 0 {
		t.Errorf("standing: %d cells given", len(rest))
	}
}
