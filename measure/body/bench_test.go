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
		m.graze(o, d, math.NaN())
	}
}
