package lot

import (
	"fmt"
	"math"
	"strconv"
)

// Count is what was seen, in plants.
type Count struct {
	Seen   int // plants whose type was judged, unsure ones included
	Off    int // off-type
	Unsure int // neither true to type nor off-type
	Most   int // with fruit of unknown plants: the most plants that can be off-type; otherwise Off
}

// Standard is a population standard.
type Standard struct {
	Off        float64 // share of off-types it accepts: 0.01
	Acceptance float64 // probability of accepting a lot that just meets it: 0.95
}

// CommonStandard is 1 % with 95 % acceptance, read in guidelines of one common UPOV template.
var CommonStandard = Standard{0.01, 0.95}

// Finding is what a count says about the lot.
type Finding struct {
	Rate, Low, High       float64 // Off ÷ (Seen − Unsure), Clopper–Pearson; unsure plants counted both ways
	WilsonLow, WilsonHigh float64
	Confidence            float64
	Allowed               int
	Within                bool // even with every unsure plant counted as off-type
	Open                  bool // whether it is within depends on the unsure plants
	Sentences             []string
}

// Judge turns a count into a finding. Low counts unsure plants as true, High as off-type.
// With no plant to count, Rate is NaN and the interval is 0 … 1.
func Judge(c Count, s Standard, confidence float64) (Finding, error) {
	f := Finding{Confidence: confidence, Rate: math.NaN(), Low: 0, High: 1, WilsonHigh: 1}
	if known := c.Seen - c.Unsure; known > 0 {
		f.Rate = float64(c.Off) / float64(known)
	}
	most := max(c.Most, c.Off+c.Unsure)
	f.Low, _ = ClopperPearson(c.Off, c.Seen, confidence)
	_, f.High = ClopperPearson(most, c.Seen, confidence)
	f.WilsonLow, _ = Wilson(c.Off, c.Seen, confidence)
	_, f.WilsonHigh = Wilson(most, c.Seen, confidence)
	var err error
	if f.Allowed, err = Allowed(c.Seen, s.Off, s.Acceptance); err != nil {
		return f, err
	}
	f.Within = most <= f.Allowed
	f.Open = !f.Within && c.Off <= f.Allowed
	f.Sentences = f.say(c, s, most)
	return f, nil
}

func (f Finding) say(c Count, s Standard, most int) []string {
	if c.Seen == 0 {
		return []string{"No plant could be judged, so nothing can be said about the seed lot."}
	}
	var out []string
	seen := plural(c.Seen, "plant")
	switch {
	case most > c.Off && c.Unsure == 0:
		out = append(out, fmt.Sprintf("Of %s, between %d and %d are off-type: without plant tags, one plant may have borne a whole group of fruit, or each fruit may come from another plant.", seen, c.Off, most))
	case c.Unsure > 0:
		out = append(out, fmt.Sprintf("Of %s seen, %d %s off-type and %d could not be decided; the interval counts those both ways.", seen, c.Off, IsAre(c.Off), c.Unsure))
	default:
		out = append(out, fmt.Sprintf("Of %s seen, %d %s off-type.", seen, c.Off, IsAre(c.Off)))
	}
	out = append(out, fmt.Sprintf("The rate in the whole seed lot lies between %s and %s, if these plants are a fair sample of it; a range found like this holds the true rate in at least %.0f of 100 harvests.", Percent(f.Low), Percent(f.High), 100*f.Confidence))
	rule := fmt.Sprintf("%s (%s off-types accepted, %s probability) allows %d in %s", s.name(), Given(s.Off), Given(s.Acceptance), f.Allowed, seen)
	switch {
	case f.Within:
		out = append(out, rule+": within it. "+strength(c.Seen, f.Allowed))
	case f.Open && c.Unsure == 0:
		out = append(out, rule+": whether the lot is within it depends on how many plants bore the off-type fruit.")
	case f.Open:
		out = append(out, rule+": whether the lot is within it depends on the plants that could not be decided.")
	default:
		out = append(out, rule+": the lot is outside it.")
	}
	if c.Off == 0 && most == 0 {
		need := PlantsToSee(0.05, 0.95)
		s := fmt.Sprintf("With 5 %% off-types in the lot, %s would have shown at least one with a chance of %s", seen, chance(ChanceToSee(c.Seen, 0.05)))
		if c.Seen < need {
			s += fmt.Sprintf("; %d plants are needed for 95 %%", need)
		}
		out = append(out, s+".")
	}
	return out
}

// name is how the rule is called in a sentence.
func (s Standard) name() string {
	if s == CommonStandard {
		return "The common rule"
	}
	return "The rule you set"
}

// strength tells how often worse lots would pass as well.
func strength(plants, allowed int) string {
	five, ten := Accept(plants, allowed, 0.05), Accept(plants, allowed, 0.10)
	times := func(p float64) string {
		if p < 0.005 {
			return "less than once"
		}
		if n := math.Round(100 * p); n != 1 {
			return fmt.Sprintf("%.0f times", n)
		}
		return "once"
	}
	s := fmt.Sprintf("a lot with 5 %% off-types would pass %s in 100, one with 10 %% %s.", times(five), times(ten))
	if five > 0.05 {
		return "That is weak evidence on so few plants: " + s
	}
	return "A" + s[1:]
}

// chance writes a probability that is never certain.
func chance(p float64) string {
	if p >= 0.995 {
		return "more than 99 %"
	}
	return Percent(p)
}

// IsAre is the verb of so many.
func IsAre(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
}

func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

// Given writes a share that somebody chose with all its digits: 99.9 % is not 100 %, and 0.25 % not 0.2 %.
func Given(x float64) string {
	return strconv.FormatFloat(math.Round(x*1e12)/1e10, 'f', -1, 64) + " %"
}

// FromPercent is the share that a percentage stands for, as the decimal number it is written as: in binary fractions
// 0.7 / 100 is a little less than 0.007, and 99.9 / 100 more than 0.999, which tips limits that hold with equality.
func FromPercent(p float64) float64 {
	x, err := strconv.ParseFloat(strconv.FormatFloat(p, 'f', -1, 64)+"e-2", 64)
	if err != nil { // NaN and the infinities have no digits
		return p / 100
	}
	return x
}

// Percent writes a share for a sentence with as many digits as it deserves: 0.04 %, 0.4 %, 12 %. Only nothing is 0 %.
func Percent(x float64) string {
	if p := 100 * x; p > 0 && p < 0.05 {
		digits := int(math.Ceil(-math.Log10(p)))
		return fmt.Sprintf("%.*f %%", digits, p)
	}
	if p := 100 * x; p > 0 && p < 9.95 && math.Abs(p-math.Round(p)) > 0.05 {
		return fmt.Sprintf("%.1f %%", p)
	}
	return fmt.Sprintf("%.0f %%", 100*x)
}

// Untagged bounds the number of off-type plants when fruit are not tagged: n fruiting plants gave
// offGroups groups that are off-type and trueGroups that are true to type. Each off-type group came from at least
// one plant; all but the plants that at least one true group needs may be off-type. Said is a sentence when
// there are more groups than plants, and empty otherwise.
func Untagged(n, offGroups, trueGroups int) (least, most int, said string) {
	least, most = min(offGroups, n), 0
	if offGroups > 0 {
		most = n
		if trueGroups > 0 {
			most = n - 1
		}
		least = min(least, most)
	}
	if offGroups+trueGroups > n {
		said = fmt.Sprintf("%d groups were found on %s: one plant bears one type, so the number of plants or the grouping is wrong.", offGroups+trueGroups, plural(n, "plant"))
	}
	return least, most, said
}
