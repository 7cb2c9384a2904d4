package segment

import (
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"offtype/pipeline/scene"
)

func TestZZ(t *testing.T) {
	dir := os.Getenv("DIR")
	if dir == "" {
		t.Skip()
	}
	var x0, y0, x1, y1 float64
	fmt.Sscanf(os.Getenv("BOX"), "%g,%g,%g,%g", &x0, &y0, &x1, &y1)
	net, _ := LoadNet()
	defer net.Close()
	for _, name := range scene.Names(dir) {
		if !strings.Contains(name, os.Getenv("SCENE")) {
			continue
		}
		s, _ := scene.Read(dir, name)
		im := readPhoto(t, s.Photo)
		opt := DefaultOptions()
		m, _ := runNet(im, net, opt.LongSide)
		first := append([]float32(nil), m.Body...)
		m.second(im, net, keepOut(s), opt)
		m.block(keepOut(s))
		own := m.recolour(im, opt)
		g := findRegions(m, own, opt)
		fmt.Println("usual", own.usual)
		for y := int(y0 / m.Cell); y <= int(y1/m.Cell); y++ {
			for x := int(x0 / m.Cell); x <= int(x1/m.Cell); x++ {
				i := y*m.W + x
				r := g.label[i]
				fmt.Printf("%3d/%3d/%3d S%02.0f t%3.0f L%d | ", int(100*first[i]), int(100*own.said[i]), int(100*m.Body[i]), 100*m.Stalk[i], math.Min(999, float64(own.table.shaded(own.cell[i]))), r)
			}
			fmt.Println()
		}
	}
}
