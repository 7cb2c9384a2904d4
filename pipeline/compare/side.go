// Package compare sets harvests beside each other: which groups both have, what changed in size,
// shape, colour and off-types, said in sentences, with intervals, as JSON and as a page.
//
// It takes results as they are in package record and knows neither files nor the harvest book.
package compare

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"offtype/cluster/season"
	"offtype/pipeline/record"
)

// Side is one harvest to compare.
type Side struct {
	Name   string
	Season string
	Lot    string // seed lot
	// ControlLots are the seed lots of its control plants; none: not known.
	ControlLots []string
	Stage       string // young, at harvest, cured, stored; empty: not said
	Run         record.Run
	Hand        []Hand // observations made by hand
}

// Hand is a number observed by hand on a fruit (Photo, Fruit) or a plant.
type Hand struct {
	Key         record.Key
	Plant       string
	Trait, Unit string
	Value       float64
}

// trait is a trait as compared and named on the page.
type trait struct {
	season.Trait
	label    string
	decimals int
	of       func(*record.Fruit) record.Value
	joint    bool // part of the test of all traits together
	more     string
	less     string
}

func ribs(f *record.Fruit) record.Value {
	if f.Ribs < 0 {
		return record.None()
	}
	return record.Value{V: float64(f.Ribs), U: math.NaN()}
}

// measured are the traits that are compared. Traits that follow from others (volume from length and
// width, middle line from length) are shown only once, so that they do not count twice.
var measured = []trait{
	{season.Trait{Name: "length_mm", Unit: "mm"}, "length", 0, func(f *record.Fruit) record.Value { return f.Length }, true, "longer", "shorter"},
	{season.Trait{Name: "width_mm", Unit: "mm"}, "width", 0, func(f *record.Fruit) record.Value { return f.Width }, true, "wider", "narrower"},
	{season.Trait{Name: "ratio"}, "length / width", 3, func(f *record.Fruit) record.Value { return f.Ratio }, false, "more slender", "stouter"},
	{season.Trait{Name: "broadest_at"}, "widest place (0 stem end, 1 blossom end)", 3, func(f *record.Fruit) record.Value { return f.BroadestAt }, true, "widest nearer the blossom end", "widest nearer the stem end"},
	{season.Trait{Name: "neck"}, "neck (thinnest / widest)", 3, func(f *record.Fruit) record.Value { return f.Neck }, true, "thicker in the neck", "thinner in the neck"},
	{season.Trait{Name: "bend_deg", Unit: "°"}, "bend", 0, func(f *record.Fruit) record.Value { return f.Bend }, true, "more bent", "straighter"},
	{season.Trait{Name: "volume_cm3", Unit: "cm³"}, "volume", 0, func(f *record.Fruit) record.Value { return f.Volume }, false, "larger", "smaller"},
	{season.Trait{Name: "ribs"}, "ribs", 1, ribs, false, "more ribbed", "less ribbed"},
	{season.Trait{Name: "groove_depth"}, "groove depth", 3, func(f *record.Fruit) record.Value { return f.GrooveDepth }, false, "more deeply grooved", "less deeply grooved"},
	{season.Trait{Name: "second_share"}, "share of the second colour", 3, func(f *record.Fruit) record.Value { return f.SecondShare }, false, "more of the second colour", "less of the second colour"},
}

// traitsOf returns the measured traits and those observed by hand on both sides.
func traitsOf(a, b *Side) []trait {
	out := append([]trait(nil), measured...)
	both := map[string]int{}
	unit := map[string]string{}
	for i, s := range []*Side{a, b} {
		for _, h := range s.Hand {
			both[h.Trait] |= 1 << i
			unit[h.Trait] = h.Unit
		}
	}
	var names []string
	for n, m := range both {
		if m == 3 {
			names = append(names, n)
		}
	}
	sort.Strings(names)
	for _, n := range names {
		label := strings.ReplaceAll(n, "_", " ")
		out = append(out, trait{season.Trait{Name: n, Unit: unit[n]}, label + " (by hand)", 1, nil, false, "more " + label, "less " + label})
	}
	return out
}

// table is what a side gives to the comparison.
type table struct {
	side     *Side
	fruits   []season.Fruit
	of       []*record.Fruit // the fruit behind each row
	group    []int           // 0: none
	controls []season.Fruit  // of control plants, which are left out of rows
	items    bool            // each fruit is a plant of its own: roots, bulbs
	aside    int             // fruit left out as not assessable
	verdict  map[string]record.Verdict
}

func newTable(s *Side, ts []trait) *table {
	t := &table{side: s, verdict: map[string]record.Verdict{}}
	group := map[record.Key]int{}
	for _, m := range s.Run.Groups {
		group[m.Key] = m.Group
	}
	left := map[record.Key]bool{}
	for _, v := range s.Run.Judgement.Fruits {
		left[record.Key{Photo: v.Photo, Number: v.Fruit}] = v.Verdict == record.NotAssessable
	}
	for _, v := range s.Run.Judgement.Plants {
		t.verdict[v.Plant] = v.Verdict
	}
	hand := handValues(s)
	controls := s.Run.Judgement.Controls()
	t.items = s.Run.Judgement.ItemIsPlant()
	for i := range s.Run.Fruits {
		f := s.Run.Fruits[i].Known()
		if left[f.Key()] {
			t.aside++
			continue
		}
		row := season.Fruit{Plant: f.Plant, Lab: [3]float64{math.NaN(), math.NaN(), math.NaN()}, LabU: math.NaN()}
		if t.items {
			row.Plant = itemName(f.Photo, f.Number)
		}
		if f.Skin != nil {
			row.Lab, row.LabU = [3]float64{f.Skin.L, f.Skin.A, f.Skin.B}, f.Skin.U
		}
		for _, x := range ts {
			v := record.None()
			if x.of != nil {
				v = x.of(f)
			} else if h, ok := hand[handKey{x.Name, f.Key(), ""}]; ok {
				v.V = h
			} else if h, ok := hand[handKey{x.Name, record.Key{}, f.Plant}]; ok && f.Plant != "" {
				v.V = h
			}
			if math.IsInf(v.V, 0) {
				v = record.None()
			}
			row.X, row.U = append(row.X, v.V), append(row.U, v.U)
		}
		if slices.Contains(controls, f.Plant) {
			t.controls = append(t.controls, row)
			continue
		}
		t.fruits = append(t.fruits, row)
		t.of = append(t.of, f)
		t.group = append(t.group, group[f.Key()])
	}
	return t
}

type handKey struct {
	trait string
	fruit record.Key
	plant string
}

// handValues averages what was written more than once.
func handValues(s *Side) map[handKey]float64 {
	sum, n := map[handKey]float64{}, map[handKey]float64{}
	for _, h := range s.Hand {
		k := handKey{h.Trait, h.Key, h.Plant}
		if h.Key.Number != 0 {
			k.plant = ""
		}
		sum[k] += h.Value
		n[k]++
	}
	for k := range sum {
		sum[k] /= n[k]
	}
	return sum
}

// groups returns the groups with their fruit, in number order.
func (t *table) groups() []season.Group {
	by := map[int][]season.Fruit{}
	for i, g := range t.group {
		if g > 0 {
			by[g] = append(by[g], t.fruits[i])
		}
	}
	var out []season.Group
	for g, fs := range by {
		out = append(out, season.Group{Number: g, Fruits: fs})
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Number < out[j].Number })
	return out
}

// in returns the fruit of a group; 0 means all.
func (t *table) in(g int) []season.Fruit {
	var out []season.Fruit
	for i, f := range t.fruits {
		if g == 0 || t.group[i] == g {
			out = append(out, f)
		}
	}
	return out
}

// shown returns up to n fruit of a group for pictures, in the order of the photos: one a plant first, then further ones.
func (t *table) shown(g, n int) []*record.Fruit {
	var fs []*record.Fruit
	for i, f := range t.of {
		if (g == 0 || t.group[i] == g) && len(f.Outline) > 2 {
			fs = append(fs, f)
		}
	}
	var out []*record.Fruit
	seen := map[string]bool{}
	for round := 0; round < 2 && len(out) < n; round++ {
		for _, f := range fs {
			if len(out) < n && (round == 0) != seen[f.Plant] && !slices.Contains(out, f) {
				out = append(out, f)
				seen[f.Plant] = true
			}
		}
	}
	return out
}

// plantsIn counts the plants of a group: a plant is in the group of most of its fruit.
func (t *table) plantsIn() (of map[int][]string, all int) {
	count := map[string]map[int]int{}
	var order []string
	for i, f := range t.fruits {
		if f.Plant == "" {
			continue
		}
		if count[f.Plant] == nil {
			count[f.Plant] = map[int]int{}
			order = append(order, f.Plant)
		}
		count[f.Plant][t.group[i]]++
	}
	of = map[int][]string{}
	for _, p := range order {
		best := 0
		for g, n := range count[p] {
			if n > count[p][best] || n == count[p][best] && (best == 0 || g < best) {
				best = g
			}
		}
		of[best] = append(of[best], p)
	}
	return of, len(order)
}

// itemName names a root or bulb that is a plant of its own.
func itemName(photo string, number int) string { return fmt.Sprintf("%s/%d", photo, number) }

// with returns the plants of a verdict, in order.
func (t *table) with(v record.Verdict) []string {
	out := []string{}
	if t.items {
		for _, f := range t.side.Run.Judgement.Fruits {
			if f.Verdict == v {
				out = append(out, itemName(f.Photo, f.Fruit))
			}
		}
	}
	for _, p := range t.side.Run.Judgement.Plants {
		if p.Verdict == v {
			out = append(out, p.Plant)
		}
	}
	return out
}

// offTypes returns the off-type plants and how many plants were judged one way or the other.
func (t *table) offTypes() (off []string, judged int) {
	off = t.with(record.OffType)
	return off, len(off) + len(t.with(record.TrueToType))
}

// vouched reports whether all plants that were judged taught the description.
func (t *table) vouched(judged int) bool {
	return judged > 0 && len(t.side.Run.Judgement.Lot.Taught) >= judged+len(t.doubtful())
}

// doubtful returns the plants that could not be decided.
func (t *table) doubtful() []string { return t.with(record.Doubtful) }

// devices lists cameras and cards, sorted.
func (s *Side) devices() (cameras, cards []string, doubtful int) {
	cam, card := map[string]bool{}, map[string]bool{}
	for _, p := range s.Run.Photos {
		if p.Status != record.StatusOK {
			continue
		}
		if m := strings.TrimSpace(p.Make + " " + p.Model); m != "" {
			cam[m] = true
		}
		for _, c := range p.Cards {
			card[fmt.Sprintf("%d", c)] = true
		}
		if !p.ColourOK {
			doubtful++
		}
	}
	return keys(cam), keys(card), doubtful
}

func keys(m map[string]bool) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}
