package judge

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"offtype/cluster"
	"offtype/cluster/reference"
	"offtype/pipeline/record"
)

// judging is a run on its way to a judgement.
type judging struct {
	run   *record.Run
	o     Options
	v     *Variety
	g     cluster.Result
	turns map[int]turn
	aside aside
	own   string // name of a description that this very harvest taught, and that is therefore not used

	fruits []reference.Fruit
	inside []int               // rows that are judged or are controls
	found  reference.Judged    // of the inside rows
	byRow  map[int]int         // row → place in found.Fruits
	groups []reference.Verdict // each group's fruit taken as one
}

func (j *judging) all() error {
	ju := &j.run.Judgement
	*ju = record.Judgement{Fruits: []record.FruitVerdict{}, Groups: []record.GroupVerdict{}, Plants: []record.PlantVerdict{}}
	if j.v != nil && vouchesForItself(j.run, j.v.Description) {
		j.own, j.v = j.v.Description.Name, nil
	}
	if j.v != nil {
		d := j.v.Description
		ju.Variety = &record.VarietyRef{Name: d.Name, Species: d.Species, Version: d.Version, File: j.v.File}
		j.compare()
	}
	j.fruitVerdicts()
	j.plantVerdicts()
	j.groupVerdicts()
	j.lean()
	return j.lot()
}

// compare runs the description over the fruit that can be judged.
func (j *judging) compare() {
	j.byRow = map[int]int{}
	var in []reference.Fruit
	for i := range j.run.Fruits {
		f := &j.run.Fruits[i]
		if f.Has(noteCut) || j.aside.reason(f) != "" {
			continue
		}
		j.fruits[i].Control = j.aside.control[f.Plant]
		j.byRow[i] = len(in)
		j.inside = append(j.inside, i)
		in = append(in, j.fruits[i])
	}
	ro := reference.DefaultOptions()
	ro.Alpha, ro.Doubt, ro.Stage, ro.DeltaE = j.o.Alpha, 2*j.o.Alpha, j.o.Stage, deltaE
	d := j.v.Description
	j.found = d.Judge(in, ro)
	j.groups = make([]reference.Verdict, len(j.g.Groups))
	asGroup := slices.Clone(in)
	for k, row := range j.inside {
		asGroup[k].Plant = "group " + strconv.Itoa(j.g.Members[row].Group)
		if asGroup[k].Control {
			asGroup[k].Plant = j.fruits[row].Plant
		}
	}
	gs := d.Judge(asGroup, ro)
	for i, g := range j.g.Groups {
		j.groups[i] = gs.Plants["group "+strconv.Itoa(g.Number)]
	}
}

func verdict(c reference.Call) record.Verdict {
	switch c {
	case reference.True:
		return record.TrueToType
	case reference.Doubtful:
		return record.Doubtful
	case reference.OffType:
		return record.OffType
	}
	return record.NotJudged
}

// number is x as a JSON number, nil for NaN.
func number(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

const noDescription = "no variety description was given, so nothing can be called off-type"

func (j *judging) fruitVerdicts() {
	for i := range j.run.Fruits {
		f := &j.run.Fruits[i]
		fv := record.FruitVerdict{Photo: f.Photo, Fruit: f.Number, Plant: f.Plant, Group: j.g.Members[i].Group, Verdict: record.NotJudged}
		switch why := j.aside.reason(f); {
		case why != "":
			fv.Verdict, fv.Reasons = record.NotAssessable, []string{why}
		case j.v == nil:
			fv.Reasons = []string{noDescription}
		case f.Has(noteCut):
			fv.Reasons = []string{"cut by the edge of the photo"}
		default:
			r := j.found.Fruits[j.byRow[i]]
			fv.Verdict, fv.Reasons = verdict(r.Call), r.Reasons
			fv.Distance, fv.P = number(r.Distance), number(r.P)
		}
		if t := j.turns[i]; t != asMeasured {
			fv.Reasons = append(slices.Clone(fv.Reasons), turnedSentence(f, fv.Group, t))
		}
		j.run.Judgement.Fruits = append(j.run.Judgement.Fruits, fv)
	}
}

// plantVerdicts judges every plant with a tag; tags without fruit are listed and not counted.
func (j *judging) plantVerdicts() {
	n := map[string]int{}
	out := map[string]int{}
	var tags []string
	see := func(t string) {
		if _, ok := n[t]; !ok && t != "" {
			n[t] = 0
			tags = append(tags, t)
		}
	}
	for i := range j.run.Fruits {
		f := &j.run.Fruits[i]
		see(f.Plant)
		if f.Plant != "" {
			n[f.Plant]++
			if j.aside.reason(f) != "" {
				out[f.Plant]++
			}
		}
	}
	for _, p := range j.run.Photos {
		for t := range p.Tags {
			see(strconv.Itoa(t))
		}
	}
	slices.SortFunc(tags, record.ComparePlants)
	for _, t := range tags {
		pv := record.PlantVerdict{Plant: t, Fruits: n[t], Verdict: record.NotJudged}
		switch r, ok := j.found.Plants[t]; {
		case n[t] == 0:
			pv.Reasons = []string{"no fruit was found beside its tag; listed, not counted"}
		case out[t] == n[t]:
			pv.Verdict, pv.Reasons = record.NotAssessable, []string{"all its fruit were set aside"}
		case j.aside.control[t]:
			pv.Reasons = []string{record.ControlReason}
		case j.v == nil:
			pv.Reasons = []string{noDescription}
		case !ok:
			pv.Reasons = []string{"no fruit of this plant could be judged"}
		default:
			pv.Verdict, pv.Reasons = verdict(r.Call), slices.Clone(r.Reasons)
			j.mixed(&pv)
		}
		j.run.Judgement.Plants = append(j.run.Judgement.Plants, pv)
	}
}

// mixed makes a plant doubtful when its fruit look like more than one type, for then the tag is wrong or
// they are not of one plant. When every one of its fruit gets the same verdict by itself, that one stands.
func (j *judging) mixed(pv *record.PlantVerdict) {
	for _, m := range j.g.Mixed {
		if m.Plant != pv.Plant {
			continue
		}
		calls := map[record.Verdict]bool{}
		for i := range j.run.Fruits {
			if v := j.run.Judgement.Fruits[i].Verdict; j.run.Fruits[i].Plant == m.Plant && v != record.NotJudged && v != record.NotAssessable {
				calls[v] = true
			}
		}
		if !calls[pv.Verdict] || len(calls) > 1 {
			pv.Verdict = record.Doubtful
		}
		pv.Reasons = append([]string{mixedSentence(j.run, m)}, pv.Reasons...)
	}
}

// groupVerdicts: a group is what most of its plants are (most of its fruit, where they have no tags).
func (j *judging) groupVerdicts() {
	plant := map[string]record.PlantVerdict{}
	for _, p := range j.run.Judgement.Plants {
		plant[p.Plant] = p
	}
	for i, g := range j.g.Groups {
		gv := record.GroupVerdict{Group: g.Number, Fruits: len(g.Rows), Plants: len(g.Plants), Verdict: record.NotJudged, Apart: apart(g)}
		if j.v == nil {
			gv.Reasons = []string{noDescription}
		} else {
			var votes []record.Verdict
			var plants []record.PlantVerdict
			seen := map[string]bool{}
			for _, r := range g.Rows {
				switch t := j.run.Fruits[r].Plant; {
				case t == "":
					votes = append(votes, j.run.Judgement.Fruits[r].Verdict)
				case !seen[t]:
					seen[t] = true
					votes = append(votes, plant[t].Verdict)
					plants = append(plants, plant[t])
				}
			}
			gv.Verdict = majority(votes)
			r := j.groups[i]
			gv.Distance = number(r.Distance)
			gv.Reasons = r.Reasons
			odd := unlikeGroup(gv.Verdict, plants, votes)
			if gv.Verdict == record.TrueToType && (r.Call != reference.True || len(odd) > 0) {
				gv.Reasons = []string{"most of it is true to type"}
			}
			gv.Reasons = append(slices.Clip(gv.Reasons), odd...)
		}
		if gv.Reasons == nil {
			gv.Reasons = []string{"nothing of this group could be judged"}
		}
		j.run.Judgement.Groups = append(j.run.Judgement.Groups, gv)
	}
}

// unlikeGroup names what a group of verdict v holds of another verdict, so that an off-type is not lost under a true
// group's heading: its plants, or the number of its fruit where they have no tags.
func unlikeGroup(v record.Verdict, plants []record.PlantVerdict, votes []record.Verdict) []string {
	var out []string
	for _, other := range []record.Verdict{record.OffType, record.Doubtful, record.TrueToType} {
		if other == v || v != record.TrueToType && v != record.OffType {
			continue
		}
		var names []string
		why := ""
		for _, p := range plants {
			if p.Verdict == other {
				names = append(names, p.Plant)
				if len(p.Reasons) > 0 && p.Reasons[0] != reference.NothingAgainst {
					why = ": " + p.Reasons[0]
				}
			}
		}
		fruit := -len(names)
		for _, x := range votes {
			if x == other {
				fruit++
			}
		}
		switch n := len(names); {
		case n == 1:
			out = append(out, fmt.Sprintf("plant %s by itself is %s%s", names[0], other, why))
		case n > 1:
			out = append(out, fmt.Sprintf("%s by themselves are %s", record.NamedPlants(names, record.NamedAtMost), other))
		}
		switch {
		case fruit == 1:
			out = append(out, fmt.Sprintf("1 fruit by itself is %s", other))
		case fruit > 1:
			out = append(out, fmt.Sprintf("%d fruit by themselves are %s", fruit, other))
		}
	}
	return out
}

// majority is the verdict of more than half of those that have one, otherwise doubtful.
func majority(votes []record.Verdict) record.Verdict {
	count := map[record.Verdict]int{}
	n := 0
	for _, v := range votes {
		if v.Rests() {
			count[v]++
			n++
		}
	}
	switch {
	case n == 0 && slices.Contains(votes, record.NotAssessable):
		return record.NotAssessable
	case n == 0:
		return record.NotJudged
	case 2*count[record.TrueToType] > n:
		return record.TrueToType
	case 2*count[record.OffType] > n:
		return record.OffType
	}
	return record.Doubtful
}

// apart writes what sets a group apart from the other fruit, strongest first.
func apart(g cluster.Group) []string {
	var out []string
	for _, d := range g.Apart {
		if len(out) == 5 {
			break
		}
		out = append(out, fmt.Sprintf("%s than the other fruit (%.0f times the usual spread within a type)", d.Words, math.Abs(d.Effect)))
	}
	return out
}
