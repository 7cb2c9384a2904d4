package body

import (
	"math"
	"testing"
)

func BenchmarkGraze(b *testing.B) {
	m := newModel(make([]float64, pProfile+knots), knots, 55, 0)
	m.p[pLen], m.p[pZ], m.p[pRise], m.p[pCap0], m.p[pCap1] = 210, 55, 0.2, -2, -2
	m.update()
	v := testCamera()
	o, d := v.Ray(v.Project(m.fr.o))
	for b.Loop() {
		m.graze(o, d, math.NaN(), 0)
	}
}

func BenchmarkFit(b *testing.B) {
	m := bulb()
	cam := tilted(1200, 0.2)
	px := outline(m, &cam)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Fit([]View{{Camera: cam, Outline: px}}, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSurface(b *testing.B) {
	m := bulb()
	cam := tilted(1200, 0.2)
	body, err := Fit([]View{{Camera: cam, Outline: outline(m, &cam)}}, Options{})
	if err != nil {
		b.Fatal(err)
	}
	p := body.Views[0].Midline[10]
	body.Surface(&cam, p)
	for b.Loop() {
		body.Surface(&cam, p)
	}
}
