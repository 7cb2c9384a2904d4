package seed

import (
	"sort"
	"strings"
)

// TrialPlant is what was noted of a plant in a variety trial.
type TrialPlant struct {
	Variety, Lot, Number string
	Fruits               int // measured or counted
	Ripe                 *int
	WeightG              *float64 // all fruit
	Tastes               []float64
	KeepingDays          []float64
}

// TrialRow is a variety in the trial table.
type TrialRow struct {
	Variety     string   `json:"variety"`
	Lots        []string `json:"lots"`
	Plants      int      `json:"plants"`
	Fruits      int      `json:"fruits"`
	YieldG      *float64 `json:"yield_g_per_plant"`
	Ripe        *float64 `json:"ripe_share"`
	Taste       *float64 `json:"taste"`
	KeepingDays *float64 `json:"keeping_days"`
	Note        string   `json:"note"`
}

// Trial makes the table over varieties, in name order.
func Trial(ps []TrialPlant) []TrialRow {
	by := map[string]*TrialRow{}
	type sums struct{ weight, weighed, ripe, of, taste, tastes, keep, keeps float64 }
	sum := map[string]*sums{}
	for _, p := range ps {
		name := or(p.Variety, or(p.Lot, "variety not written down"))
		r := by[name]
		if r == nil {
			r = &TrialRow{Variety: name, Lots: []string{}}
			by[name], sum[name] = r, &sums{}
		}
		s := sum[name]
		r.Plants++
		r.Fruits += p.Fruits
		if p.Lot != "" && !strings.Contains("\x00"+strings.Join(r.Lots, "\x00")+"\x00", "\x00"+p.Lot+"\x00") {
			r.Lots = append(r.Lots, p.Lot)
		}
		if p.WeightG != nil {
			s.weight, s.weighed = s.weight+*p.WeightG, s.weighed+1
		}
		if p.Ripe != nil && p.Fruits > 0 {
			s.ripe, s.of = s.ripe+float64(*p.Ripe), s.of+float64(p.Fruits)
		}
		for _, t := range p.Tastes {
			s.taste, s.tastes = s.taste+t, s.tastes+1
		}
		for _, k := range p.KeepingDays {
			s.keep, s.keeps = s.keep+k, s.keeps+1
		}
	}
	var out []TrialRow
	for name, r := range by {
		s := sum[name]
		r.YieldG, r.Ripe, r.Taste, r.KeepingDays = over(s.weight, s.weighed), over(s.ripe, s.of), over(s.taste, s.tastes), over(s.keep, s.keeps)
		if r.Plants == 1 {
			r.Note = "one plant cannot judge this seed"
		}
		out = append(out, *r)
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Variety < out[j].Variety })
	return out
}

func over(sum, n float64) *float64 {
	if n == 0 {
		return nil
	}
	x := sum / n
	return &x
}
