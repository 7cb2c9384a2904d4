package judge

import (
	"fmt"
	"math"
	"slices"

	"offtype/cluster/lot"
	"offtype/cluster/reference"
	"offtype/pipeline/record"
)

// lean adds to every group that is not true to type how it lies between our variety and each other
// described one.
func (j *judging) lean() {
	if j.v == nil {
		return
	}
	for i := range j.run.Judgement.Groups {
		g := &j.run.Judgement.Groups[i]
		if g.Verdict != record.OffType && g.Verdict != record.Doubtful {
			continue
		}
		fs := j.groupFruit(g.Group)
		for _, o := range j.o.Others {
			ls := reference.Lean(j.v.Description, o.Description, fs, j.o.Stage)
			for _, l := range ls {
				g.Leaning = append(g.Leaning, l.Sentence(o.Description.Name))
			}
		}
		if len(g.Leaning) > 0 {
			g.Leaning = append(g.Leaning, reference.LeanLimits)
		}
		g.Leaning = append(g.Leaning, reference.GeneHints(j.v.Description, fs)...)
	}
}

// groupFruit are the judged fruit of a group.
func (j *judging) groupFruit(group int) []reference.Fruit {
	var fs []reference.Fruit
	for _, row := range j.inside {
		if j.g.Members[row].Group == group && !j.g.Members[row].Alone {
			fs = append(fs, j.fruits[row])
		}
	}
	return fs
}

// causes says which cause the pattern of off-types fits.
func (j *judging) causes() []string {
	groups, plants := 0, 0
	match := ""
	for _, g := range j.run.Judgement.Groups {
		if g.Verdict != record.OffType {
			continue
		}
		groups++
		if m := j.matches(j.groupFruit(g.Group)); groups == 1 || m == match {
			match = m
		} else {
			match = ""
		}
	}
	for _, p := range j.run.Judgement.Plants {
		if p.Verdict == record.OffType {
			plants++
		}
	}
	if plants == 0 && groups > 0 {
		off, _, _ := j.run.Judgement.FruitCounts()
		plants = max(groups, off) // without tags each group is at least one plant, each fruit at most
		if l := &j.run.Judgement.Lot; groups == 1 && off > 1 && (l.Unit != "plant" || l.Most > 0) {
			return nil // one plant may have borne them all, or each another
		}
	}
	return reference.Cause(groups, plants, match)
}

// matches is the name of the other variety that fruit lean to in every trait compared (three at least).
func (j *judging) matches(fs []reference.Fruit) string {
	for _, o := range j.o.Others {
		n, like := 0, 0
		for _, l := range reference.Lean(j.v.Description, o.Description, fs, j.o.Stage) {
			n++
			if l.Side == reference.LikeOther {
				like++
			}
		}
		if n >= 3 && like == n {
			return o.Description.Name
		}
	}
	return ""
}

// leastUniform: fewer true plants than this say nothing on uniformity.
const leastUniform = 5

// uniformity compares the variance of sizes among true plants with that of the plants the description
// was learnt from, on logarithms (the 1.6 rule for cross-pollinated varieties).
func (j *judging) uniformity() []string {
	d := j.v.Description
	if d.Learnt == nil || d.Learnt.Plants < leastUniform || len(j.run.Judgement.Lot.Taught) > 0 { // or with itself
		return nil
	}
	var out []string
	for _, t := range []struct {
		name  string
		r     *reference.Range
		value func(*reference.Fruit) float64
	}{{"length", d.Traits.Length, func(f *reference.Fruit) float64 { return f.Length.V }}, {"width", d.Traits.Width, func(f *reference.Fruit) float64 { return f.Width.V }}} {
		if t.r == nil || t.r.Mean == nil || t.r.Spread == nil || t.r.PlantsSpread == nil {
			continue
		}
		means, fruit := j.plantMeans(t.value)
		if len(means) < leastUniform {
			continue
		}
		// what plant means of that many fruit vary by in the description
		b := *t.r.PlantsSpread / *t.r.Mean
		w := math.Pow(*t.r.Spread / *t.r.Mean, 2) - b*b
		u := lot.CompareVariance(variance(means), len(means), b*b+w/fruit, 1)
		word := "within"
		if !u.Within {
			word = "outside"
		}
		out = append(out, fmt.Sprintf("Uniformity of the %s among true plants: variance %.1f times that of the description, %s the limit of 1.6. An equally uniform harvest of %d plants exceeds that limit by luck in about %.0f of 100 cases.",
			t.name, u.Ratio, word, len(means), 100*u.ByLuck))
	}
	return out
}

// plantMeans are the means of the logarithm of a size over the fruit of each true plant, and the mean number of fruit.
func (j *judging) plantMeans(value func(*reference.Fruit) float64) (means []float64, fruit float64) {
	var good []string
	for _, p := range j.run.Judgement.Plants {
		if p.Verdict == record.TrueToType {
			good = append(good, p.Plant)
		}
	}
	n := 0.0
	for _, p := range good {
		s, m := 0.0, 0.0
		for _, row := range j.inside {
			if f := &j.fruits[row]; f.Plant == p && value(f) > 0 {
				s += math.Log(value(f))
				m++
			}
		}
		if m > 0 {
			means = append(means, s/m)
			n += m
		}
	}
	return slices.Clip(means), n / math.Max(1, float64(len(means)))
}

func variance(v []float64) float64 {
	m, s := 0.0, 0.0
	for _, x := range v {
		m += x / float64(len(v))
	}
	for _, x := range v {
		s += (x - m) * (x - m)
	}
	return s / math.Max(1, float64(len(v)-1))
}
