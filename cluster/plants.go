package cluster

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// suspicion: a plant's fruit are looked at as two lots when two fruit of one plant differ as much
// with less than this probability. Whether they are told apart is left to the grouping.
const suspicion = 1e-5

// suspects keeps for every divided plant the two units its fruit were put in.
type suspects map[string][2][]int

// suspect divides plants whose fruit differ more than fruit of one plant do. The spread to compare
// with is the usual one, widened where fruit of one plant in this harvest commonly differ more.
func (h *harvest) suspect(us []unit) ([]unit, suspects) {
	low, _ := h.prior.cholesky()
	splits := make(map[int]split)
	var pair []float64
	for i, u := range us {
		if len(u.rows) < 2 {
			continue
		}
		x := make([][]float64, len(u.rows))
		for k, r := range u.rows {
			x[k] = append([]float64(nil), h.x[r]...)
			low.solveLower(x[k])
		}
		for k := 1; k < len(x); k++ {
			pair = append(pair, sq(x[k], x[k-1])/2)
		}
		splits[i] = splitOf(u, x)
	}
	chi := distuv.ChiSquared{K: float64(h.p)}
	variance := sistersShare
	if len(pair) >= 4 {
		variance = max(variance, median(pair)/chi.Quantile(0.5))
	}
	out := make([]unit, 0, len(us))
	sus := suspects{}
	for i, u := range us {
		s, ok := splits[i]
		if ok && chi.Survival(s.d2/variance)*s.ways < suspicion {
			sus[u.plant] = [2][]int{s.a, s.b}
			out = append(out, unit{plant: u.plant, rows: s.a}, unit{plant: u.plant, rows: s.b})
			continue
		}
		out = append(out, u)
	}
	return out, sus
}

// sistersShare: within plants the usual spread is about this share of a fruit's whole variance.
const sistersShare = 0.7

// split is a plant's fruit in two, the more in a.
type split struct {
	a, b []int
	d2   float64 // between the halves; under one type d2 ÷ variance is χ² with a degree of freedom a trait
	ways float64 // how many ways there were to split
}

// splitOf cuts the fruit of a unit (whitened rows x) where Ward's tree joins them last.
func splitOf(u unit, x [][]float64) split {
	tree := Ward(x, nil)
	var s split
	for k, g := range Cut(tree, 2) {
		if g == 0 {
			s.a = append(s.a, u.rows[k])
		} else {
			s.b = append(s.b, u.rows[k])
		}
	}
	top := tree[len(tree)-1].Height // √(2·na·nb/(na+nb))·|Δ|
	s.d2 = top * top / 2
	s.ways = math.Exp2(float64(len(x) - 1))
	if len(s.b) > len(s.a) {
		s.a, s.b = s.b, s.a
	}
	return s
}

// mixed reports the divided plants whose parts ended in different groups or alone.
func (h *harvest) mixed(sus suspects, ms []Member) []Mixed {
	var out []Mixed
	done := map[string]bool{}
	for _, u := range h.units {
		s, ok := sus[u.plant]
		if !ok || done[u.plant] {
			continue
		}
		done[u.plant] = true
		a, b := ms[s[0][0]], ms[s[1][0]]
		if a.Group != b.Group || a.Alone != b.Alone {
			out = append(out, Mixed{Plant: u.plant, Rows: s[1]})
		}
	}
	return out
}
