package body

import (
	"fmt"
	"math"
	"testing"

	"offtype/measure/camera"
	"offtype/measure/geom"
)

func capModel(cap float64) func(t float64) float64 {
	x := []float64{0, .12, .3, .45, .6, .74, .86, .95, 1}
	y := []float64{.52, .6, .58, .62, .84, 1, .93, .74, .55}
	m := make([]float64, len(x))
	for i := range m {
		if i == 0 {
			m[i] = (y[1] - y[0]) / (x[1] - x[0])
		} else if i == len(m)-1 {
			m[i] = (y[i] - y[i-1]) / (x[i] - x[i-1])
		} else {
			h0, h1 := x[i]-x[i-1], x[i+1]-x[i]
			m[i] = (h0*h0*y[i+1] - h1*h1*y[i-1] + (h1*h1-h0*h0)*y[i]) / (h0 * h1 * (h0 + h1))
		}
	}
	return func(t float64) float64 {
		i := 0
		for i < len(x)-2 && x[i+1] < t {
			i++
		}
		h := x[i+1] - x[i]
		s := (t - x[i]) / h
		v := (2*s*s*s-3*s*s+1)*y[i] + (s*s*s-2*s*s+s)*h*m[i] + (-2*s*s*s+3*s*s)*y[i+1] + (s*s*s-s*s)*h*m[i+1]
		c := func(u float64) float64 { u = math.Min(1, math.Max(0, u)); return math.Sqrt(1 - (1-u)*(1-u)) }
		return v * c(t/cap) * c((1-t)/cap)
	}
}

func TestDebug(t *testing.T) {
	L, W := 210.0, 110.0
	f := capModel(.1)
	cam := camera.Camera{Width: 2400, Height: 1800, Focal: 1823, CX: 1199.5, CY: 899.5}
	th := 30 * math.Pi / 180
	cam.R = [3][3]float64{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}
	cam.T = geom.Vec3{Z: 1200}
	// rotate body instead: rise th
	m := newModel(make([]float64, pProfile+knots), knots, W/2, 0)
	m.p[pLen] = L
	m.p[pZ] = 100
	m.p[pRise] = th
	m.update()
	zmin := 1e9
	for i := 1; i < 2000; i++ {
		tt := float64(i) / 2000
		zmin = math.Min(zmin, math.Sin(th)*L*(tt-.5)-W/2*f(tt)*math.Cos(th))
	}
	m.p[pZ] = -zmin
	m.update()
	var out, back []geom.Px
	prev := geom.Px{}
	for i := 1; i < 4000; i++ {
		tt := .5 - .5*math.Cos(math.Pi*float64(i)/4000)
		c, tan := m.centre(tt)
		e1 := geom.Vec3{Y: 1}
		e2 := tan.Cross(e1)
		h := 1e-6
		sl := W / 2 * (f(tt+h) - f(tt-h)) / (2 * h * L)
		p1, p2, ok := RingContour(cam.Centre(), c, tan, e1, e2, W/2*f(tt), sl)
		if !ok {
			continue
		}
		P := func(a float64) geom.Px {
			return cam.Project(c.Add(e1.Scale(W / 2 * f(tt) * math.Cos(a))).Add(e2.Scale(W / 2 * f(tt) * math.Sin(a))))
		}
		q := P(p1)
		if q.Sub(prev).Norm() < .5 {
			continue
		}
		prev = q
		out = append(out, q)
		back = append(back, P(p2))
	}
	for i := len(back) - 1; i >= 0; i-- {
		out = append(out, back[i])
	}
	fmt.Println(len(out))
	v := View{Camera: cam, Outline: out, SigmaPx: .3}
	tk := newTask([]View{v})
	tk.rays = rays(&v, 0, 140)
	fl, _ := flatten(&v)
	for _, rise := range []float64{th} {
		mm := fl.begin(0)
		mm.p[pRise] = rise
		mm.update()
		_, c := tk.run(mm, 60)
		fmt.Println("caps", mm.prof.c0, mm.prof.c1, "cost", c, "spread", tk.spread(), "L", mm.p[pLen], "rise", mm.p[pRise]*57.3, "yaw", mm.p[pYaw], "Z", mm.p[pZ], mm.p[pX])
		fmt.Println(mm.prof.c, mm.prof.rho0)
		x0 := mm.fr.o.Sub(m.fr.o).Dot(m.fr.a)
		fmt.Println("x0", x0, mm.fr.o, m.fr.o)
		for _, tt := range []float64{0.002, .005, .01, .02, .03, .05, .08, .1, .15, .2, .5, .8, .9, .95, .97, .98, .99, .995, .998} {
			x := m.mid.L*(tt-.5) - x0
			fmt.Printf("%.3f true %.2f fit %.2f\n", tt, W/2*f(tt), mm.prof.radius(.5+x/mm.mid.L))
		}
	}
}
