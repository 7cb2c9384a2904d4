package seed

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"offtype/cluster/season"
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

// Share is one grower's count of a pooled lot.
type Share struct {
	Grower  string `json:"grower"`
	Harvest string `json:"harvest"`
	Off     int    `json:"off"`
	Plants  int    `json:"plants"` // judged one way or the other
}

// Pooled is what several growers of one lot number found together.
type Pooled struct {
	Lot       string   `json:"lot"`
	Shares    []Share  `json:"shares"`
	Off       int      `json:"off"`
	Plants    int      `json:"plants"`
	Low       float64  `json:"low"`
	High      float64  `json:"high"`
	PBetween  *float64 `json:"p_between"` // exact test of equal rates; null with fewer than two growers
	Sentences []string `json:"sentences"`
}

// Pool puts the counts of several growers of one lot number together and tests whether their rates
// differ more than chance gives (exact, Freeman and Halton).
func Pool(lot string, shares []Share) Pooled {
	p := Pooled{Lot: lot, Shares: shares}
	var x, n []int
	for _, s := range shares {
		p.Off, p.Plants = p.Off+s.Off, p.Plants+s.Plants
		if s.Plants > 0 {
			x, n = append(x, s.Off), append(n, s.Plants)
		}
	}
	r := season.Rates(p.Off, p.Plants, 0, 0, season.DefaultOptions())
	p.Low, p.High = r.LowA, r.HighA
	if p.Plants == 0 {
		p.Sentences = []string{fmt.Sprintf("No plant of lot %s was judged yet.", lot)}
		return p
	}
	p.Sentences = append(p.Sentences, fmt.Sprintf("Together %d of %d plants of lot %s are off-type; the rate in the lot is likely between %s and %s, if these plants are a fair sample of it. Plants that could not be decided are left out.", p.Off, p.Plants, lot, percent(p.Low), percent(p.High)))
	who := "grower"
	if !severalGrowers(shares) {
		who = "harvest" // of one grower, or nobody wrote down whose
	}
	if len(n) < 2 {
		p.Sentences = append(p.Sentences, fmt.Sprintf("Only one %[1]s has judged plants: nothing can be said on differences between %[1]ss.", who))
		return p
	}
	if b := season.Between(x, n); !math.IsNaN(b) {
		p.PBetween = &b
		if b < 0.05 {
			p.Sentences = append(p.Sentences, fmt.Sprintf("The %[1]ss' rates differ more than chance gives: the packets may not hold the same seed, or plants were mixed up somewhere. Look at each %[1]s by itself before you speak of the lot.", who))
		} else {
			p.Sentences = append(p.Sentences, fmt.Sprintf("The %ss' rates do not differ more than chance gives.", who))
		}
	}
	return p
}

// severalGrowers reports whether every share is of a grower of its own.
func severalGrowers(shares []Share) bool {
	seen := map[string]bool{}
	for _, s := range shares {
		if s.Grower == "" || seen[s.Grower] {
			return false
		}
		seen[s.Grower] = true
	}
	return true
}
