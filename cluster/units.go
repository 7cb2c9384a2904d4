package cluster

import (
	"math"
	"slices"
)

// unit is what keeps together: the fruit of one plant, or a single fruit without a tag.
type unit struct {
	rows  []int
	plant string
	mean  []float64 // working scale
	ss    *sym      // scatter of its fruit about the mean; nil for a single fruit
}

// harvest is a table made ready: traits that tell something, on the working scale in units of the
// usual spread, gaps filled with what the other traits lead to expect.
type harvest struct {
	p      int
	cols   []int       // trait of each column
	scale  []float64   // usual spread of each column on the working scale
	raw    [][]float64 // with NaN
	x      [][]float64 // gaps filled, centred on origin
	origin []float64
	fit    []int // rows with at least one value
	units  []unit
	prior  sym // covariance that fruit of one type usually have, in these units
	within sym // scatter of fruit about their plant's mean
	gaps   sym // covariance lost by filling gaps

	belief float64 // fruit that the prior counts as
	known  *Known

	pools map[float64]*pooled // by alikeness, of the present units and gap values
}

// prepare chooses the columns, scales them and fills the gaps with column medians.
func prepare(t Table, known *Known) (*harvest, error) {
	if err := t.check(); err != nil {
		return nil, err
	}
	h := &harvest{belief: priorFruit, known: known}
	for j, tr := range t.Traits {
		v, u := workColumn(t, j)
		spread := tr.Spread
		if spread <= 0 {
			spread = guessSpread(t, v)
		}
		sd := stdev(v)
		if math.IsNaN(sd) || spread <= 0 || sd < flat*spread && len(t.Rows) > 2 {
			continue
		}
		for i := range v {
			if u[i] > tooVague*spread {
				v[i] = math.NaN()
			}
		}
		if h.repeats(v) {
			continue
		}
		h.cols = append(h.cols, j)
		h.scale = append(h.scale, spread)
		h.addColumn(v, spread)
	}
	if len(h.cols) == 0 {
		return h.bare(t)
	}
	h.finish(t)
	return h, nil
}

// flat: a trait whose standard deviation over the whole harvest is below this part of the usual
// spread within one type cannot tell types apart; leaving it out keeps small harvests readable.
// tooVague: a value with a standard uncertainty above this many usual spreads counts as missing.
const (
	flat     = 0.35
	tooVague = 2.0
	same     = 0.9999 // correlation of a trait with one that says the same
)

// repeats reports whether a column says the same as one before it.
func (h *harvest) repeats(v []float64) bool {
	for c := range h.cols {
		var a, b []float64
		for i, r := range h.raw {
			if !math.IsNaN(v[i]) && !math.IsNaN(r[c]) {
				a, b = append(a, r[c]), append(b, v[i])
			}
		}
		if len(a) > 2 && math.Abs(correlation(a, b)) > same {
			return true
		}
	}
	return false
}

func (h *harvest) addColumn(v []float64, spread float64) {
	if h.raw == nil {
		h.raw = make([][]float64, len(v))
	}
	for i, x := range v {
		h.raw[i] = append(h.raw[i], x/spread)
	}
}

// bare is a harvest in which all fruit are equal in all that was measured: one group.
func (h *harvest) bare(t Table) (*harvest, error) {
	for j := range t.Traits {
		v, _ := workColumn(t, j)
		if !math.IsNaN(median(v)) {
			h.cols, h.scale = []int{j}, []float64{1}
			h.addColumn(v, 1)
			h.finish(t)
			return h, nil
		}
	}
	return nil, ErrNoTraits
}

func (h *harvest) finish(t Table) {
	h.p = len(h.cols)
	h.prior = newSym(h.p)
	for a := range h.p {
		for b := range h.p {
			h.prior.a[a*h.p+b] = UsualCorrelation(t.Traits[h.cols[a]], t.Traits[h.cols[b]])
		}
	}
	for a, j := range h.cols { // a measurement coarser than the usual spread widens it
		_, u := workColumn(t, j)
		if m := meanSquare(u) / (h.scale[a] * h.scale[a]); m > 0.75 {
			h.prior.a[a*h.p+a] += m - 0.75
		}
	}
	h.origin = make([]float64, h.p)
	h.x = make([][]float64, len(h.raw))
	col := make([]float64, len(h.raw))
	for j := range h.origin {
		for i, r := range h.raw {
			col[i] = r[j]
		}
		h.origin[j] = median(col)
	}
	for i, r := range h.raw {
		h.x[i] = make([]float64, h.p)
		any := false
		for j, v := range r {
			if !math.IsNaN(v) {
				h.x[i][j] = v - h.origin[j]
				any = true
			}
		}
		if any {
			h.fit = append(h.fit, i)
		}
	}
	h.within, h.gaps = newSym(h.p), newSym(h.p)
	if h.known != nil {
		h.belief = sureFruit
		for a, j := range h.cols {
			for b, k := range h.cols {
				h.prior.a[a*h.p+b] = h.known.Covariance[j][k] / (h.scale[a] * h.scale[b])
			}
		}
	}
}

// sureFruit: with so many fruit behind it, the prior is not moved by a harvest.
const sureFruit = 1e5

// UsualCorrelation is the correlation of two traits among fruit of one type that is taken before seeing data: length and width of fruit of one type go
// together (bigger fruit are bigger all over), colour coordinates a little, the rest not. Common practice, no source.
func UsualCorrelation(a, b Trait) float64 {
	switch {
	case a.Name == b.Name:
		return 1
	case a.Kind != b.Kind:
		return 0
	case a.Kind == Size:
		return 0.5
	case a.Kind == Colour || a.Kind == Pattern:
		return 0.2
	}
	return 0
}

// workColumn returns trait j of all rows and its standard uncertainty on the working scale.
func workColumn(t Table, j int) (v, u []float64) {
	s := t.Traits[j].Scale
	v, u = make([]float64, len(t.Rows)), make([]float64, len(t.Rows))
	for i, r := range t.Rows {
		v[i] = s.Work(r.Values[j])
		if math.IsInf(v[i], 0) {
			v[i] = math.NaN()
		}
		if r.U != nil && r.U[j] > 0 && !math.IsNaN(v[i]) {
			u[i] = r.U[j] * s.Slope(r.Values[j])
		}
	}
	return v, u
}

// guessSpread is for a trait whose usual spread is not known: the spread within plants where tags
// give one, otherwise half the robust spread over all fruit.
func guessSpread(t Table, v []float64) float64 {
	plants := map[string][]float64{}
	for i, r := range t.Rows {
		if r.Plant != "" && !math.IsNaN(v[i]) {
			plants[r.Plant] = append(plants[r.Plant], v[i])
		}
	}
	var dev []float64
	df := 0
	for _, p := range plants {
		m := median(slices.Clone(p))
		for _, x := range p {
			dev = append(dev, math.Abs(x-m))
		}
		df += len(p) - 1
	}
	if df >= 5 {
		return 1.4826 * median(dev) * 1.2
	}
	m := median(slices.Clone(v))
	dev = dev[:0]
	for _, x := range v {
		if !math.IsNaN(x) {
			dev = append(dev, math.Abs(x-m))
		}
	}
	if s := 1.4826 * median(dev) / 2; s > 0 {
		return s
	}
	return stdev(v) / 2
}

// median of the values that are numbers; NaN when there are none. v is not changed.
func median(v []float64) float64 {
	s := make([]float64, 0, len(v))
	for _, x := range v {
		if !math.IsNaN(x) {
			s = append(s, x)
		}
	}
	if len(s) == 0 {
		return math.NaN()
	}
	slices.Sort(s)
	if n := len(s); n%2 == 0 {
		return (s[n/2-1] + s[n/2]) / 2
	}
	return s[len(s)/2]
}

// stdev is the sample standard deviation (n−1) of the values that are numbers, 0 for a single one.
func stdev(v []float64) float64 {
	n, m := 0.0, 0.0
	for _, x := range v {
		if !math.IsNaN(x) {
			n++
			m += x
		}
	}
	if n == 0 {
		return math.NaN()
	}
	m /= n
	s := 0.0
	for _, x := range v {
		if !math.IsNaN(x) {
			s += (x - m) * (x - m)
		}
	}
	return math.Sqrt(s / max(1, n-1))
}

func meanSquare(u []float64) float64 {
	s := 0.0
	for _, x := range u {
		s += x * x
	}
	return s / max(1, float64(len(u)))
}

// setUnits fills means and the scatter within plants for the given division into units.
func (h *harvest) setUnits(us []unit) {
	h.pools = nil
	h.units = us
	h.within = newSym(h.p)
	d := make([]float64, h.p)
	for i := range h.units {
		u := &h.units[i]
		u.mean = make([]float64, h.p)
		for _, r := range u.rows {
			for j, v := range h.x[r] {
				u.mean[j] += v / float64(len(u.rows))
			}
		}
		if len(u.rows) < 2 {
			continue
		}
		ss := newSym(h.p)
		u.ss = &ss
		for _, r := range u.rows {
			for j, v := range h.x[r] {
				d[j] = v - u.mean[j]
			}
			ss.rank1(1, d)
		}
		h.within.plus(1, ss)
	}
}

// byPlant puts the fruit of one plant into one unit and every untagged fruit into its own.
func (h *harvest) byPlant(t Table) []unit {
	var us []unit
	at := map[string]int{}
	for _, i := range h.fit {
		p := t.Rows[i].Plant
		k, ok := at[p]
		if p == "" || !ok {
			k = len(us)
			us = append(us, unit{plant: p})
			at[p] = k
		}
		us[k].rows = append(us[k].rows, i)
	}
	return us
}
