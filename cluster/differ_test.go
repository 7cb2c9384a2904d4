package cluster

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/combin"
)

// everySubset is differs by brute force: the gain of each set of traits, its prior included.
func everySubset(one, types sym, occam, nu float64) (sum float64, best []int) {
	p, top := one.n, math.Inf(-1)
	for bits := 1; bits < 1<<p; bits++ {
		var s []int
		for j := range p {
			if bits>>j&1 == 1 {
				s = append(s, j)
			}
		}
		_, a := one.sub(s).cholesky()
		_, b := types.sub(s).cholesky()
		n := len(s)
		v := float64(n)/2*occam - (nu-float64(p-n))/2*(b-a) - math.Log(float64(p)) - combin.LogGeneralizedBinomial(float64(p), float64(n))
		sum += math.Exp(v)
		if v > top {
			top, best = v, s
		}
	}
	return math.Log(sum), best
}

func TestDiffersAgainstEverySubset(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	for range 50 {
		const p = 6
		types := newSym(p)
		x := make([]float64, p)
		for range 40 {
			for j := range x {
				x[j] = rng.NormFloat64()
			}
			x[1] += x[0]
			types.rank1(1, x)
		}
		one := types.clone() // two types differ in traits 0 and 3
		clear(x)
		x[0], x[3] = 5+rng.NormFloat64(), -6
		one.rank1(1, x)
		got, only := differs(one, types, -5, 60)
		want, best := everySubset(one, types, -5, 60)
		slices.Sort(only)
		if !slices.Equal(only, best) {
			t.Errorf("types differ in %v, of all sets %v", only, best)
		}
		if got > want+1e-9 || got < want-0.2 {
			t.Errorf("gain %.3f, over all sets %.3f", got, want)
		}
	}
}

// The score of a partition in the traits that types differ in follows the long way round: two partitions differ there
// by as much as their blocks of the scatter say.
func TestScoreInSomeTraits(t *testing.T) {
	tab := twoTypes(9, 6, 3, 4)
	h, err := prepare(tab, nil)
	if err != nil {
		t.Fatal(err)
	}
	h.setUnits(h.byPlant(tab))
	th := make([]float64, h.p)
	_, nu := h.degrees()
	only := []int{5, 1, 7}
	s := setting{alike: 0.35, pull: 0.6, spread: &th, only: only}
	sp := h.space(s)
	score := func(of []int) (quick, long float64) {
		p := sp.partition(of)
		quick = sp.inner(p.n, p.w, p.g, p.det)
		for _, a := range h.accounts(of, count(of)) {
			if a.pool.alike == s.alike && a.pull == s.pull {
				c := h.usual(&th)
				c.plus(1, a.left)
				_, det := c.sub(only).cholesky()
				long = a.rest + float64(len(only))/2*a.occam - (nu-float64(h.p-len(only)))/2*det
			}
		}
		return quick, long
	}
	q1, l1 := score([]int{0, 0, 0, 1, 1})
	q2, l2 := score([]int{0, 1, 0, 2, 1})
	if math.Abs((q1-q2)-(l1-l2)) > 1e-8 {
		t.Errorf("scores differ by %.9f in the coordinates, by %.9f from the scatter", q1-q2, l1-l2)
	}
}

// With equal widths of all types the score is the one that differs sums over sets of traits.
func TestWidthsWithTraitsInFront(t *testing.T) {
	tab := twoTypes(8, 8, 0, 5)
	h, err := prepare(tab, nil)
	if err != nil {
		t.Fatal(err)
	}
	h.setUnits(h.byPlant(tab))
	of := make([]int, 16)
	for i := 8; i < 16; i++ {
		of[i] = 1
	}
	th := make([]float64, h.p)
	_, nu := h.degrees()
	for _, only := range [][]int{{2, 0}, {6, 5, 4}} {
		e := h.spreader(of, 2, setting{alike: 0.3, pull: 0.6, spread: &th, only: only})
		a := h.accounts(of, 2)[slices.Index(pulls, 0.6)]
		one, types := h.usual(&th), h.usual(&th)
		one.plus(1, a.pool.one)
		types.plus(1, a.left)
		_, all := one.cholesky()
		_, o := one.sub(only).cholesky()
		_, k := types.sub(only).cholesky()
		s := float64(len(only))
		want := -nu/2*all - (nu-float64(h.p)+s)/2*(k-o) + s/2*a.occam - float64(h.p)/2*math.Log(a.pool.sum)
		if got := e.score(); math.Abs(got-(want+a.rest-a.pool.jac)) > 1e-8 {
			t.Errorf("types differ in %v: %.9f, from the scatter %.9f", only, got, want+a.rest-a.pool.jac)
		}
	}
}
