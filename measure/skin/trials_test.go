package skin

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"

	"offtype/measure/colour"
	"offtype/measure/geom"
)

// roundOff is the relative error that two ways to add up the same numbers may differ by.
const roundOff = 1e-8

// some returns pixels of n parts that face everywhere, in light that no smooth terms give.
func some(rng *rand.Rand, n, perPart int) (all []lit) {
	for part := range n {
		own := colour.RGB{.1 + .3*rng.Float64(), .1 + .2*rng.Float64(), .05 + .1*rng.Float64()}
		middle := geom.Vec3{X: 800 * rng.Float64(), Y: 600 * rng.Float64()}
		for range perPart {
			a, z := 2*math.Pi*rng.Float64(), .1+.9*rng.Float64()
			r := math.Sqrt(1 - z*z)
			q := &pixel{n: geom.Vec3{X: r * math.Cos(a), Y: r * math.Sin(a), Z: z}, facing: z, part: part}
			q.place = middle.Add(q.n.Scale(60))
			q.refl = q.n.Scale(2 * z).Sub(geom.Vec3{Z: 1})
			for k := range q.c {
				q.c[k] = own[k] * (.4 + .6*max(0, q.n.Dot(geom.Vec3{X: .5, Y: .3, Z: .8}))) * (1 + .05*rng.NormFloat64())
			}
			all = append(all, lit{q: q, fn: phi(q.n), fr: phi(q.refl), part: part, base: own, w: 1})
		}
	}
	return all
}

// TestTrialsAgree compares what is worked out once for all trials with a fit from the start for each.
func TestTrialsAgree(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	px := some(rng, 5, 80)
	from := flat()
	from.about = geom.Vec3{X: 400, Y: 300}
	tr := newTrials(from, append([]lit(nil), px...))
	finite := 0
	for range 60 {
		at := []stand{{rng.NormFloat64(), rng.NormFloat64(), 2000, .3}, {rng.NormFloat64(), rng.NormFloat64(), 0, .2}}
		at = at[:1+rng.IntN(2)]
		l := from.clone()
		for _, s := range at {
			l.lamps = append(l.lamps, s.lamp(l.about))
		}
		want := l.settle(append([]lit(nil), px...), 1)
		for i := range l.lamps {
			if p := l.lamps[i].power; min(p[0], p[1], p[2]) < 0 {
				want = math.Inf(1)
			}
		}
		got := tr.cost(at, math.Inf(1))
		if got != want && !(math.Abs(got-want) <= roundOff*want) {
			t.Errorf("%v: cost %v, from the start %v", at, got, want)
		}
		if !math.IsInf(got, 1) {
			finite++
		}
	}
	if finite < 10 {
		t.Errorf("only %d trials of lamps that give light", finite)
	}
}

// TestNormals compares the solution with that of all equations at once by gonum.
func TestNormals(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for n := nSH; n <= mostTerms; n++ {
		m := normals{n: n}
		p := prior{tint: .12}
		full, g := mat.NewSymDense(4*n, nil), mat.NewVecDense(4*n, nil)
		add := func(row []float64, y, w float64) { // to all unknowns: grey terms, then each channel's differences
			for i, a := range row {
				g.SetVec(i, g.AtVec(i)+w*a*y)
				for j := i; j < len(row); j++ {
					full.SetSym(i, j, full.At(i, j)+w*a*row[j])
				}
			}
		}
		for range 200 {
			var row terms
			for j := range n {
				row[j] = rng.NormFloat64()
			}
			for k := range 3 {
				y, w := rng.NormFloat64(), 100*rng.Float64()
				m.add(k, &row, y, w)
				both := make([]float64, 4*n)
				copy(both, row[:n])
				copy(both[(k+1)*n:], row[:n])
				add(both, y, w)
			}
		}
		for j := range n {
			p.mean[j], p.sd[j], p.up[j] = rng.NormFloat64(), .1+rng.Float64(), rng.NormFloat64()
			one := make([]float64, 4*n)
			one[j] = 1
			add(one, p.mean[j], 1/(p.sd[j]*p.sd[j]))
			for k := 1; k < 4; k++ {
				one := make([]float64, 4*n)
				one[k*n+j] = 1
				add(one, 0, 1/(p.tint*p.tint))
			}
		}
		for k := range 4 {
			up := make([]float64, 4*n)
			copy(up[k*n:], p.up[:n])
			y := 0.0
			if k == 0 {
				y = 1
			}
			add(up, y, onCard)
		}
		var ch mat.Cholesky
		var want mat.VecDense
		if !ch.Factorize(full) {
			t.Fatal("the equations have no solution")
		}
		_ = ch.SolveVecTo(&want, g) // the card's weight makes the condition large on purpose
		got, ok := m.solve(&p)
		if !ok {
			t.Fatal("no solution")
		}
		for k := range got {
			for j := range n {
				if w := want.AtVec(j) + want.AtVec((k+1)*n+j); !(math.Abs(got[k][j]-w) <= roundOff) {
					t.Errorf("%d terms, channel %d, term %d: %v, want %v", n, k, j, got[k][j], w)
				}
			}
		}
	}
}
