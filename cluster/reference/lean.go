package reference

import (
	"fmt"
	"math"
)

// Side says which of two varieties fruit resemble in a trait.
type Side string

// The sides.
const (
	LikeOurs  Side = "like ours"
	Between   Side = "between"
	LikeOther Side = "like the other"
	Beyond    Side = "beyond either"
	Untold    Side = "cannot be told"
)

// Leaning is where fruit lie in a trait on the way from our variety (0) to another (1), with the 95 %
// interval of that position.
type Leaning struct {
	Trait     string
	At        float64
	Low, High float64
	Side      Side
}

// Lean compares fruit of one group or plant with two descriptions, trait by trait, in the traits that
// both describe and that tell the two varieties apart (means at least four standard deviations of a fruit apart).
//
// The position is no share of parentage: a dominant trait puts a cross wholly on one side, and traits
// follow many genes. A photo cannot prove a parent.
func Lean(ours, other *Description, fs []Fruit, stage string) []Leaning {
	a, _ := ours.build(stage)
	b, _ := other.build(stage)
	rows := make([]int, len(fs))
	for i := range rows {
		rows[i] = i
	}
	var out []Leaning
	for _, da := range a.dims {
		for _, db := range b.dims {
			if da.name != db.name || da.trait.Name != db.trait.Name || da.side != 0 || db.side != 0 {
				continue
			}
			way := db.mean - da.mean
			sd := math.Sqrt((da.sd*da.sd + db.sd*db.sd) / 2)
			if math.Abs(way) < 4*sd {
				continue
			}
			x, u, m := average(fs, rows, da)
			if m == 0 {
				continue
			}
			at := (x - da.mean) / way
			// one plant's worth of spread, the season, and how well either mean is known
			v := sd*sd/m + da.plants*da.plants + u*u + da.season*da.season + da.plants*da.plants/a.n + db.plants*db.plants/b.n
			half := 1.96 * math.Sqrt(v) / math.Abs(way)
			out = append(out, Leaning{da.trait.Label, at, at - half, at + half, side(at-half, at+half)})
		}
	}
	return out
}

// side reads an interval of positions.
func side(low, high float64) Side {
	switch {
	case low > 1.25 || high < -0.25:
		return Beyond
	case high < 0.4:
		return LikeOurs
	case low > 0.6:
		return LikeOther
	case low > 0.1 && high < 0.9:
		return Between
	}
	return Untold
}

// Sentence tells a leaning in words.
func (l Leaning) Sentence(other string) string {
	at := fmt.Sprintf("%.0f %% of the way to %s, interval %.0f to %.0f %%", 100*l.At, other, 100*l.Low, 100*l.High)
	switch l.Side {
	case LikeOther:
		return fmt.Sprintf("%s like %s (%s)", l.Trait, other, at)
	case LikeOurs, Between, Beyond:
		return fmt.Sprintf("%s %s (%s)", l.Trait, l.Side, at)
	}
	return fmt.Sprintf("%s: %s (%s)", l.Trait, l.Side, at)
}

// LeanLimits is what has to stand beside leanings.
const LeanLimits = "A hint with limits: dominant traits put a cross wholly on one side, traits hang on many genes, and a photo cannot prove a parent."

// Cause says what pattern of off-types fits which cause, as hints. groups is the number of off-type
// groups, plants the number of off-type plants, other the name of a described variety that the off-types match in every
// trait compared, or empty.
//
// From memory, textbook genetics, not checked against a source: the fruit is the mother plant's tissue, so this year's
// off-type shows last year's seed; first-generation crosses with one pollen parent look alike; their
// saved seed segregates. Gene effects in Cucurbita are listed by the Cucurbit Genetics Cooperative.
func Cause(groups, plants int, other string) []string {
	switch {
	case plants == 0 || groups == 0:
		return nil
	case other != "":
		return []string{fmt.Sprintf("The off-type fruit match the description of %s: that fits a mix-up of seed (at packing, or at your own sowing). It is a hint only.", other)}
	case plants == 1:
		return []string{"A single off-type plant fits a stray seed, a cross in the seed crop, or a volunteer plant in the bed: one plant does not tell which. It is a hint only."}
	case groups == 1:
		return []string{"Several plants of one other type fit a cross in the seed crop with one pollen parent, or a mix-up of seed. It is a hint only."}
	case 2*groups > plants && groups >= 3:
		return []string{"Nearly every off-type plant differs from the others: that fits saved seed of a cross, which splits up in the next generation. It is a hint only."}
	}
	return []string{"Off-types of several kinds fit more than one foreign pollen parent in the seed crop, or saved seed of a cross. It is a hint only."}
}
