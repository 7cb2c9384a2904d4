package body

import (
	"math"

	"offtype/measure/camera"
)

// Shot is one photo of a table: its camera and cameras one standard uncertainty away in one independent way each.
type Shot struct {
	Camera camera.Camera
	Modes  []camera.Camera
}

// mostMove bounds by how many standard uncertainties a camera is moved.
const mostMove = 3

// RefineTable moves the cameras of photos of one undisturbed table so that the outlines of all its fruit agree best.
// bodies: fruit fitted to two or more photos each; shots: the photos; seen: for each body the place in shots of
// each of its views, in their order. It returns the moved cameras with what remains of their uncertainty, and
// false when no body ties photos together. Gauss and Newton's method on the bodies and the cameras' modes
// together, each mode held to 0 by its own standard uncertainty; call again with the bodies fitted anew for a
// second step.
func RefineTable(bodies []*Body, shots []Shot, seen [][]int) ([]Shot, bool) {
	first := make([]int, len(shots)+1) // of each photo's modes among all
	for i := range shots {
		first[i+1] = first[i] + len(shots[i].Modes)
	}
	n := first[len(shots)]
	s := newNormal(n)
	for i := 0; i < n; i++ {
		s.a[i*n+i] = 1
	}
	tied := false
	for i, b := range bodies {
		if b == nil || b.task == nil || len(b.views) < 2 {
			continue
		}
		tied = b.task.tie(b.m, shots, seen[i], first, s) || tied
	}
	if !tied || n == 0 {
		return shots, false
	}
	inv := s.inverse()
	if inv == nil {
		return shots, false
	}
	out := make([]Shot, len(shots))
	for v := range shots {
		share := make([]float64, first[v+1]-first[v])
		for k := range share {
			r := inv[(first[v]+k)*n : (first[v]+k+1)*n]
			for j := range r {
				share[k] -= r[j] * s.g[j]
			}
			share[k] = math.Min(math.Max(share[k], -mostMove), mostMove)
		}
		out[v].Camera = camera.Mix(shots[v].Camera, shots[v].Modes, share)
		for k := range share {
			left := make([]float64, k+1)
			i := first[v] + k
			left[k] = math.Sqrt(math.Max(0, inv[i*n+i]))
			out[v].Modes = append(out[v].Modes, camera.Mix(out[v].Camera, relative(shots[v], out[v].Camera), left))
		}
	}
	return out, true
}

// relative returns cameras that differ from to as the modes of s differ from its camera.
func relative(s Shot, to camera.Camera) []camera.Camera {
	out := make([]camera.Camera, len(s.Modes))
	for i := range s.Modes {
		out[i] = camera.Carry(s.Camera, s.Modes[i], to)
	}
	return out
}

// tie adds to s, the normal equations of all modes, what the outlines of one fruit say of them once the fruit
// itself has followed.
func (t *task) tie(m *model, shots []Shot, seen, first []int, s *normal) bool {
	eq := t.evidence(m)
	inv := eq.inverse()
	if inv == nil {
		return false
	}
	weight := t.share
	t.forget()
	row := make([]float64, len(m.p))
	np, n := len(m.p), s.n
	cross := make([]float64, np*n) // JᵀW·(residuals' change by each mode)
	c := 4 * t.robust
	for i := range t.rays {
		y := &t.rays[i]
		if !y.free() || y.nose || y.stub {
			continue
		}
		r, ok := t.distance(m, y, row)
		if !ok {
			continue
		}
		u := 1 / (1 + r*r/(c*c))
		w := weight * u * u
		v := seen[y.view]
		d := make([]float64, len(shots[v].Modes))
		for k := range d {
			z := newRay(&shots[v].Modes[k], y.at)
			z.sigma, z.near, z.bow = y.sigma, y.near, y.bow
			if q, ok := t.distance(m, &z, nil); ok {
				d[k] = q - r
			}
		}
		for k, x := range d {
			a := first[v] + k
			s.g[a] += w * x * r
			for l, z := range d[:k+1] {
				s.a[a*n+first[v]+l] += w * x * z
			}
			for p, z := range row {
				cross[p*n+a] += w * x * z
			}
		}
	}
	// the fruit follows: Schur's complement
	help := make([]float64, np*n) // inv·cross
	for p := 0; p < np; p++ {
		for q := 0; q < np; q++ {
			if k := inv[p*np+q]; k != 0 {
				for a := 0; a < n; a++ {
					help[p*n+a] += k * cross[q*n+a]
				}
			}
		}
	}
	for p := 0; p < np; p++ {
		for a := 0; a < n; a++ {
			x := cross[p*n+a]
			if x == 0 {
				continue
			}
			for b := 0; b <= a; b++ {
				s.a[a*n+b] -= x * help[p*n+b]
			}
		}
	}
	for a := 0; a < n; a++ {
		for p := 0; p < np; p++ {
			s.g[a] -= help[p*n+a] * eq.g[p]
		}
	}
	return true
}

// distance returns how far ray y passes from touching the body, multiples of its sigma, and in row, when not
// nil, the derivatives by the parameters.
func (t *task) distance(m *model, y *ray, row []float64) (float64, bool) {
	y.near, y.bow, y.seen = m.graze(y.o, y.d, y.near, y.bow)
	gn := y.seen.grad.Norm()
	if gn < 1e-9 {
		return 0, false
	}
	k := y.focal / (y.near * y.zdir) / y.sigma / gn
	if row != nil {
		m.jac(y.o.Add(y.d.Scale(y.near)), y.seen, row)
		for j := range row {
			row[j] *= k
		}
	}
	return y.seen.g * k, true
}
