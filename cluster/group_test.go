package cluster

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
)

// blob makes n fruit around a centre with the usual spread of each trait; plants of m fruit (0: no tags).
func blob(t *Table, centre []float64, n, m int, rng *rand.Rand) {
	for i := range n {
		r := Row{ID: fmt.Sprint(len(t.Rows) + 1), Values: make([]float64, len(centre))}
		if m > 0 {
			r.Plant = fmt.Sprint(len(t.Rows) / m)
		}
		for j, tr := range t.Traits {
			r.Values[j] = tr.Scale.Back(tr.Scale.Work(centre[j]) + tr.Spread*rng.NormFloat64())
		}
		_ = i
		t.Rows = append(t.Rows, r)
	}
}

var (
	pear  = []float64{210, 110, .76, 5, .6, .2, 0, 70, 13, 36, 0, 0, 0, 0}
	ribby = []float64{170, 150, .77, 5, .9, .1, .07, 59, 2, 30, -6, -4, -2, .25}
)

func twoTypes(a, b, m int, seed uint64) Table {
	rng := rand.New(rand.NewPCG(seed, 3))
	t := Table{Traits: FruitTraits()}
	blob(&t, pear, a, m, rng)
	blob(&t, ribby, b, m, rng)
	return t
}

func mustFind(t *testing.T, tab Table, o Options) Result {
	t.Helper()
	r, err := Find(tab, o)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Members) != len(tab.Rows) {
		t.Fatalf("%d members for %d rows", len(r.Members), len(tab.Rows))
	}
	for i, m := range r.Members {
		if m.Group < 1 || m.Group > len(r.Groups) || !(m.Probability >= 0 && m.Probability <= 1+1e-12) || (m.Alone && !m.Unsure) {
			t.Fatalf("row %d: %+v with %d groups", i, m, len(r.Groups))
		}
	}
	return r
}

func TestTwoTypes(t *testing.T) {
	for _, c := range []struct{ a, b, m int }{{12, 8, 0}, {12, 8, 4}, {4, 4, 0}, {4, 4, 4}, {20, 2, 0}, {3, 3, 1}} {
		tab := twoTypes(c.a, c.b, c.m, 1)
		r := mustFind(t, tab, DefaultOptions())
		if len(r.Groups) != 2 || len(r.Groups[0].Rows) != max(c.a, c.b) {
			t.Errorf("%+v: %d groups, want 2 (first of %d)", c, len(r.Groups), max(c.a, c.b))
			continue
		}
		for i, m := range r.Members {
			if want := 1 + btoi(i >= c.a); m.Group != want {
				t.Errorf("%+v: row %d in group %d, want %d", c, i, m.Group, want)
			}
		}
	}
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

func TestSameResultTwiceAndInAnyOrder(t *testing.T) {
	tab := twoTypes(14, 9, 0, 2)
	a, b := mustFind(t, tab, DefaultOptions()), mustFind(t, tab, DefaultOptions())
	for i := range a.Members {
		if a.Members[i] != b.Members[i] {
			t.Fatalf("row %d differs between two runs", i)
		}
	}
	if !reflect.DeepEqual(a.Tree, b.Tree) || !reflect.DeepEqual(a.Projection, b.Projection) {
		t.Error("pictures differ between two runs")
	}
	turned := Table{Traits: tab.Traits, Rows: slices.Clone(tab.Rows)}
	slices.Reverse(turned.Rows)
	c := mustFind(t, turned, DefaultOptions())
	for i := range a.Members {
		m := c.Members[len(c.Members)-1-i]
		if m.Group != a.Members[i].Group || math.Abs(m.Probability-a.Members[i].Probability) > 1e-6 {
			t.Errorf("row %d: %+v, in turned order %+v", i, a.Members[i], m)
		}
	}
}

func TestFewFruit(t *testing.T) {
	if r := mustFind(t, Table{Traits: FruitTraits()}, DefaultOptions()); len(r.Groups) != 0 {
		t.Error("groups without fruit")
	}
	one := twoTypes(1, 0, 0, 1)
	if r := mustFind(t, one, DefaultOptions()); len(r.Groups) != 1 {
		t.Errorf("one fruit: %d groups", len(r.Groups))
	}
	alike := twoTypes(2, 0, 0, 1)
	if r := mustFind(t, alike, DefaultOptions()); len(r.Groups) != 1 {
		t.Errorf("two fruit of one type: %d groups", len(r.Groups))
	}
	same := alike
	same.Rows = []Row{alike.Rows[0], alike.Rows[0]}
	if r := mustFind(t, same, DefaultOptions()); len(r.Groups) != 1 {
		t.Errorf("the same fruit twice: %d groups", len(r.Groups))
	}
}

func TestMissingValues(t *testing.T) {
	tab := twoTypes(12, 8, 0, 3)
	for j := TSkinL; j <= TStriped; j++ { // no colour on one fruit
		tab.Rows[2].Values[j] = math.NaN()
	}
	for j := 0; j < TraitCount; j += 2 { // half the traits of another
		tab.Rows[14].Values[j] = math.NaN()
	}
	for j := range tab.Rows[5].Values { // nothing on a third
		tab.Rows[5].Values[j] = math.NaN()
	}
	r := mustFind(t, tab, DefaultOptions())
	if len(r.Groups) != 2 {
		t.Fatalf("%d groups, want 2", len(r.Groups))
	}
	for i, m := range r.Members {
		if i != 5 && m.Group != 1+btoi(i >= 12) {
			t.Errorf("row %d in group %d", i, m.Group)
		}
	}
	if m := r.Members[5]; !m.Unsure || m.Probability > 0.5 {
		t.Errorf("a fruit without values: %+v", m)
	}
}

func TestNothingMeasured(t *testing.T) {
	tab := twoTypes(2, 0, 0, 1)
	for i := range tab.Rows {
		for j := range tab.Rows[i].Values {
			tab.Rows[i].Values[j] = math.NaN()
		}
	}
	if _, err := Find(tab, DefaultOptions()); err != ErrNoTraits {
		t.Errorf("error %v, want ErrNoTraits", err)
	}
	tab.Rows[0].Values = tab.Rows[0].Values[:3]
	if _, err := Find(tab, DefaultOptions()); err == nil {
		t.Error("a row with too few values: no error")
	}
}

func TestWrongTag(t *testing.T) {
	tab := twoTypes(16, 8, 4, 4)
	tab.Rows[17].Plant = tab.Rows[1].Plant // a ribby fruit under the tag of a pear plant
	r := mustFind(t, tab, DefaultOptions())
	if len(r.Groups) != 2 || len(r.Mixed) != 1 || r.Mixed[0].Plant != tab.Rows[1].Plant || !slices.Equal(r.Mixed[0].Rows, []int{17}) {
		t.Errorf("%d groups, mixed %+v", len(r.Groups), r.Mixed)
	}
}

func TestAlone(t *testing.T) {
	tab := twoTypes(20, 0, 0, 5)
	rng := rand.New(rand.NewPCG(9, 9))
	blob(&tab, ribby, 1, 0, rng)
	r := mustFind(t, tab, DefaultOptions())
	if len(r.Groups) != 1 || !r.Members[20].Alone || !r.Members[20].Unsure {
		t.Errorf("%d groups, the odd fruit %+v", len(r.Groups), r.Members[20])
	}
	for i, m := range r.Members[:20] {
		if m.Alone {
			t.Errorf("row %d is alone", i)
		}
	}
}

func TestBetween(t *testing.T) {
	tab := twoTypes(15, 15, 0, 6)
	mid := Row{ID: "mid", Values: make([]float64, TraitCount)}
	for j, tr := range tab.Traits {
		mid.Values[j] = tr.Scale.Back((tr.Scale.Work(pear[j]) + tr.Scale.Work(ribby[j])) / 2)
	}
	tab.Rows = append(tab.Rows, mid)
	r := mustFind(t, tab, DefaultOptions())
	if len(r.Groups) != 2 || !r.Members[30].Unsure {
		t.Errorf("%d groups, the fruit in the middle %+v", len(r.Groups), r.Members[30])
	}
}

func TestGroupsGiven(t *testing.T) {
	tab := twoTypes(12, 8, 0, 7)
	for _, k := range []int{1, 2, 3, 5} {
		o := DefaultOptions()
		o.Groups = k
		if r := mustFind(t, tab, o); len(r.Groups) != k {
			t.Errorf("asked for %d groups, got %d", k, len(r.Groups))
		}
	}
	o := DefaultOptions()
	o.Groups = 50
	if r := mustFind(t, tab, o); len(r.Groups) != 20 {
		t.Errorf("asked for 50 groups of 20 fruit, got %d", len(r.Groups))
	}
}

// The words are those of the traits, the figures differences of medians.
func TestApart(t *testing.T) {
	r := mustFind(t, twoTypes(12, 8, 0, 8), DefaultOptions())
	for _, g := range r.Groups {
		if len(g.Apart) == 0 || math.Abs(g.Apart[0].Effect) < 2 || g.Apart[0].Words == "" {
			t.Errorf("group %d: %+v", g.Number, g.Apart)
		}
		if math.IsNaN(g.Stability) || g.Stability < 0.9 {
			t.Errorf("group %d: stability %.2f of two clear types", g.Number, g.Stability)
		}
	}
	tr := FruitTraits()[TLength]
	for by, want := range map[float64]string{-148: "148 mm shorter", 12: "12 mm longer", 1.26: "1.3 mm longer"} {
		if got := tr.Differs(by); got != want {
			t.Errorf("%v: %q, want %q", by, got, want)
		}
	}
}

func TestDuplicateTraitCountsOnce(t *testing.T) {
	tab := twoTypes(12, 8, 0, 9)
	r := mustFind(t, tab, DefaultOptions())
	more := Table{Traits: slices.Clone(tab.Traits)}
	for range 4 { // the length five times over
		tr := tab.Traits[TLength]
		more.Traits = append(more.Traits, tr)
	}
	for _, row := range tab.Rows {
		v := slices.Clone(row.Values)
		for range 4 {
			v = append(v, row.Values[TLength]*1.0001)
		}
		more.Rows = append(more.Rows, Row{ID: row.ID, Values: v})
	}
	s := mustFind(t, more, DefaultOptions())
	if len(s.Groups) != len(r.Groups) {
		t.Errorf("%d groups with the length repeated, %d without", len(s.Groups), len(r.Groups))
	}
}

func BenchmarkFind(b *testing.B) {
	for _, c := range []struct{ n, m int }{{32, 4}, {60, 0}, {300, 0}, {5000, 0}, {5000, 4}} {
		b.Run(fmt.Sprintf("%d fruit, %d a plant", c.n, c.m), func(b *testing.B) {
			tab := twoTypes(c.n-c.n/4, c.n/4, c.m, 1)
			for b.Loop() {
				if _, err := Find(tab, DefaultOptions()); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
