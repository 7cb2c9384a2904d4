package body

import (
	"math"

	"offtype/measure/geom"
)

// axes returns the directions about which yaw, rise and roll turn the body.
func (m *model) axes() (yaw, rise, roll geom.Vec3) {
	s, c := math.Sincos(m.p[pYaw])
	return geom.Vec3{Z: 1}, geom.Vec3{X: s, Y: -c}, m.fr.a
}

// centreGrad adds the derivatives of g·c(t), c the middle line, by all parameters to row.
func (m *model) centreGrad(t float64, g geom.Vec3, row []float64) {
	c, _ := m.centre(t)
	w := c.Sub(m.fr.o)
	yaw, rise, roll := m.axes()
	row[pX] += g.X
	row[pY] += g.Y
	row[pZ] += g.Z
	row[pYaw] += g.Dot(yaw.Cross(w))
	row[pRise] += g.Dot(rise.Cross(w))
	row[pRoll] += g.Dot(roll.Cross(w))
	row[pLen] += g.Dot(w) / m.mid.L
	for j := range m.mid.b {
		dx, dy := m.mid.byBend(j, t)
		row[pProfile+m.nq+j] += g.Dot(m.fr.a)*dx + g.Dot(m.fr.n)*dy
	}
}

// tangentGrad adds the derivatives of g·T(t), T the unit tangent of the middle line, to row.
func (m *model) tangentGrad(t float64, g geom.Vec3, row []float64) {
	_, tan := m.centre(t)
	yaw, rise, roll := m.axes()
	row[pYaw] += g.Dot(yaw.Cross(tan))
	row[pRise] += g.Dot(rise.Cross(tan))
	row[pRoll] += g.Dot(roll.Cross(tan))
	across := m.across(t)
	for j := range m.mid.b {
		_, tail := hat(j, t)
		row[pProfile+m.nq+j] -= g.Dot(across) * tail
	}
}

// lowestGrad adds k times the derivatives of lowestAt(t), t held, to row.
func (m *model) lowestGrad(t, k float64, row []float64) {
	m.centreGrad(t, geom.Vec3{Z: k}, row)
	_, tan := m.centre(t)
	flat := math.Sqrt(math.Max(1e-12, 1-tan.Z*tan.Z))
	rho := m.prof.radius(t)
	m.tangentGrad(t, geom.Vec3{Z: k * rho * tan.Z / flat}, row)
	m.prof.addGrad(t, -rho*flat*k, row[pProfile:pProfile+m.nq])
	if rho <= 0 {
		return
	}
	d0, d1 := m.prof.byCaps(t)
	if m.prof.c0 < 0.5 {
		row[pCap0] -= k * flat * d0 * m.prof.c0 / (2 * rho)
	}
	if m.prof.c1 < 0.5 {
		row[pCap1] -= k * flat * d1 * m.prof.c1 / (2 * rho)
	}
}

// seenGrad returns the gradient of u·Project(p) by p, px a mm.
func seenGrad(v *View, p geom.Vec3, u geom.Px) geom.Vec3 {
	const h = 1e-3
	at := func(q geom.Vec3) float64 { return v.Camera.Project(q).Dot(u) }
	x := at(geom.Vec3{X: p.X + h, Y: p.Y, Z: p.Z}) - at(geom.Vec3{X: p.X - h, Y: p.Y, Z: p.Z})
	y := at(geom.Vec3{X: p.X, Y: p.Y + h, Z: p.Z}) - at(geom.Vec3{X: p.X, Y: p.Y - h, Z: p.Z})
	z := at(geom.Vec3{X: p.X, Y: p.Y, Z: p.Z + h}) - at(geom.Vec3{X: p.X, Y: p.Y, Z: p.Z - h})
	return geom.Vec3{X: x, Y: y, Z: z}.Scale(1 / (2 * h))
}
