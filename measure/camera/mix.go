package camera

// Mix returns base moved by share[k] of the way to modes[k] for each k, all changes added: focal length, distortion,
// principal point and centre as they are, the turns one after the other. Shares beyond the shorter of both lists
// count as 0. Meant for small changes such as Solution.Modes gives.
func Mix(base Camera, modes []Camera, share []float64) Camera {
	out, at := base, base.Centre()
	centre := at
	for k := range modes[:min(len(modes), len(share))] {
		m, a := &modes[k], share[k]
		out.Focal += a * (m.Focal - base.Focal)
		out.K1 += a * (m.K1 - base.K1)
		out.K2 += a * (m.K2 - base.K2)
		out.CX += a * (m.CX - base.CX)
		out.CY += a * (m.CY - base.CY)
		centre = centre.Add(m.Centre().Sub(at).Scale(a))
		x, y, z := turnBetween(&base, m)
		out.R = mul(expRot(a*x, a*y, a*z), out.R)
	}
	out.setCentre(centre)
	return out
}

// turnBetween returns the small rotation vector about camera a's own axes that turns a into b, radians.
func turnBetween(a, b *Camera) (x, y, z float64) {
	var d [3][3]float64 // b.R · a.Rᵀ
	for i := range d {
		for j := range d[i] {
			for k := 0; k < 3; k++ {
				d[i][j] += b.R[i][k] * a.R[j][k]
			}
		}
	}
	return (d[2][1] - d[1][2]) / 2, (d[0][2] - d[2][0]) / 2, (d[1][0] - d[0][1]) / 2
}

// Carry returns the camera that differs from to as changed differs from base.
func Carry(base, changed, to Camera) Camera {
	out := to
	out.Focal += changed.Focal - base.Focal
	out.K1 += changed.K1 - base.K1
	out.K2 += changed.K2 - base.K2
	out.CX += changed.CX - base.CX
	out.CY += changed.CY - base.CY
	x, y, z := turnBetween(&base, &changed)
	out.R = mul(expRot(x, y, z), to.R)
	out.setCentre(to.Centre().Add(changed.Centre().Sub(base.Centre())))
	return out
}
