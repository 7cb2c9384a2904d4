package seed

import (
	"fmt"
	"math"
	"slices"

	"offtype/cluster/lot"
	"offtype/cluster/season"
	"offtype/pipeline/record"
)

// Share is one grower's count of a pooled lot.
type Share struct {
	Grower  string `json:"grower"`
	Harvest string `json:"harvest"`
	Off     int    `json:"off"`
	Plants  int    `json:"plants"`            // judged one way or the other
	Unsure  int    `json:"unsure,omitempty"`  // could not be decided
	Again   int    `json:"again,omitempty"`   // of these, plants that an earlier harvest of the list counts already
	Vouched bool   `json:"vouched,omitempty"` // all of them taught the description: true by the grower's word

	Of map[string]record.Verdict `json:"-"` // verdict of each plant, named by its planting and number; empty: not known which
}

// Says is the share's own count with its interval, unsure plants counted both ways.
func (s Share) Says() string {
	said := fmt.Sprintf("%d off-type of %s judged", s.Off, record.Count(s.Plants, "plant", "plants"))
	if s.Unsure > 0 {
		said += fmt.Sprintf(", %d not decided", s.Unsure)
	}
	if s.Again > 0 {
		said += fmt.Sprintf(", %d counted in another harvest already", s.Again)
	}
	switch {
	case s.Vouched:
		return said + "; they taught the description: no evidence, not counted"
	case s.Plants+s.Unsure == 0:
		return said
	}
	low, high := bothWays(s.Off, s.Plants, s.Unsure)
	return said + fmt.Sprintf(" (rate between %s and %s)", percent(low), percent(high))
}

// Pooled is what several growers of one lot number found together.
type Pooled struct {
	Lot       string   `json:"lot"`
	Shares    []Share  `json:"shares"`
	Off       int      `json:"off"`
	Plants    int      `json:"plants"`
	Low       *float64 `json:"low"` // null where the rates differ: no common rate
	High      *float64 `json:"high"`
	PBetween  *float64 `json:"p_between"` // exact test of equal rates; null with fewer than two growers
	Sentences []string `json:"sentences"`
}

// differ is the p at and below which rates are not called those of one lot. Common practice, no source.
const differ = 0.05

// bothWays is the exact interval with undecided plants as true in its low and as off-type in its high end.
func bothWays(off, plants, unsure int) (low, high float64) {
	confidence := season.DefaultOptions().Confidence
	low, _ = lot.ClopperPearson(off, plants+unsure, confidence)
	_, high = lot.ClopperPearson(off+unsure, plants+unsure, confidence)
	return low, high
}

// Pool puts the counts of several growers of one lot number together and tests whether their rates
// differ more than chance gives (exact, Freeman and Halton). Where they do there is no common rate.
func Pool(lot string, shares []Share) Pooled {
	shares = once(shares)
	p := Pooled{Lot: lot, Shares: shares}
	var x, n []int
	again := 0
	unsure := 0
	for _, s := range shares {
		if s.Vouched {
			continue
		}
		again += s.Again
		p.Off, p.Plants, unsure = p.Off+s.Off, p.Plants+s.Plants, unsure+s.Unsure
		if s.Plants > 0 {
			x, n = append(x, s.Off), append(n, s.Plants)
		}
	}
	if p.Plants == 0 {
		p.Sentences = []string{fmt.Sprintf("No plant of lot %s was judged yet.", lot)}
		if unsure > 0 {
			p.Sentences = []string{fmt.Sprintf("No plant of lot %s could be decided.", lot)}
		}
		return p
	}
	who := "grower"
	if !severalGrowers(shares) {
		who = "harvest" // of one grower, or nobody wrote down whose
	}
	together := fmt.Sprintf("Together %d of %s of lot %s are off-type", p.Off, record.Count(p.Plants, "plant", "plants"), lot)
	if b := season.Between(x, n); !math.IsNaN(b) {
		p.PBetween = &b
		if b <= differ {
			p.Sentences = []string{
				fmt.Sprintf("The %[1]ss' rates differ more than chance gives (exact test: such a difference comes by chance with %[2]s): the packets may not hold the same seed, or plants were mixed up somewhere.", who, percent(b)),
				fmt.Sprintf("%s, but that is the rate of no lot, so that no common range is given. Look at each %s by itself.", together, who)}
			return p
		}
	}
	low, high := bothWays(p.Off, p.Plants, unsure)
	p.Low, p.High = &low, &high
	said := fmt.Sprintf("%s; the rate in the lot is likely between %s and %s, if these plants are a fair sample of it.", together, percent(low), percent(high))
	if unsure > 0 {
		said += fmt.Sprintf(" %s could not be decided: the range counts them both ways.", record.Count(unsure, "plant more", "plants more"))
	}
	if again > 0 {
		said += " " + record.Count(again, "plant stands in more than one harvest and is", "plants stand in more than one harvest and are") + " counted once."
	}
	p.Sentences = append(p.Sentences, said)
	if p.PBetween == nil {
		p.Sentences = append(p.Sentences, fmt.Sprintf("Only one %[1]s has judged plants: nothing can be said on differences between %[1]ss.", who))
		return p
	}
	p.Sentences = append(p.Sentences, fmt.Sprintf("The %ss' rates do not differ more than chance gives; with few plants only large differences show.", who))
	return p
}

// once counts a plant that stands in several harvests of the list (young and ripe, fresh and cured) in the first of them only,
// as off-type where any of them found it so.
func once(shares []Share) []Share {
	type place struct {
		share   int
		verdict record.Verdict
	}
	first := map[string]place{}
	out := slices.Clone(shares)
	add := func(s *Share, v record.Verdict, n int) {
		switch v {
		case record.OffType:
			s.Off, s.Plants = s.Off+n, s.Plants+n
		case record.TrueToType:
			s.Plants += n
		case record.Doubtful:
			s.Unsure += n
		}
	}
	for i := range out {
		if out[i].Vouched {
			continue
		}
		for id, v := range out[i].Of {
			f, ok := first[id]
			if !ok {
				first[id] = place{i, v}
				continue
			}
			add(&out[i], v, -1)
			out[i].Again++
			if v == record.OffType || f.verdict == record.Doubtful { // what is known better, the worse of two
				add(&out[f.share], f.verdict, -1)
				add(&out[f.share], v, 1)
				first[id] = place{f.share, v}
			}
		}
	}
	return out
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
