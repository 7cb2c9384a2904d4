package judge

import (
	"fmt"
	"strconv"
	"strings"

	"offtype/pipeline/record"
)

// aside are the fruit and plants outside the judgement, and the control plants.
type aside struct {
	fruits  map[record.Key]string // with the reason
	plants  map[string]string
	control map[string]bool
}

// newAside reads the options and notes. An option that names nothing in the run is an error.
func newAside(run *record.Run, o Options) (aside, error) {
	a := aside{map[record.Key]string{}, map[string]string{}, map[string]bool{}}
	plants := map[string]bool{}
	keys := map[record.Key]bool{}
	for i := range run.Fruits {
		f := &run.Fruits[i]
		keys[f.Key()] = true
		if f.Plant != "" {
			plants[f.Plant] = true
		}
		for _, n := range asideNotes {
			if f.Has(n) {
				a.fruits[f.Key()] = "set aside by its note: " + n
			}
		}
	}
	for _, p := range run.Photos {
		for t := range p.Tags {
			plants[strconv.Itoa(t)] = true
		}
	}
	for _, what := range o.NotAssessable {
		if p, ok := strings.CutPrefix(what, "plant:"); ok {
			if !plants[p] {
				return a, fmt.Errorf("not assessable %q: no such plant in this harvest; give plant:NUMBER as on the tag", what)
			}
			a.plants[p] = "set aside by the grower"
			continue
		}
		i := strings.LastIndexByte(what, ':')
		n, err := strconv.Atoi(what[i+1:])
		if i < 0 || err != nil || !keys[record.Key{Photo: what[:max(i, 0)], Number: n}] {
			return a, fmt.Errorf("not assessable %q: no such fruit in this harvest; give PHOTO:NUMBER as in fruits.csv, or plant:NUMBER", what)
		}
		a.fruits[record.Key{Photo: what[:i], Number: n}] = "set aside by the grower"
	}
	for _, c := range o.Controls {
		if !plants[c] {
			return a, fmt.Errorf("control plant %q: no such plant in this harvest; give the number on its tag", c)
		}
		a.control[c] = true
	}
	return a, nil
}

// reason is why a fruit is outside the judgement, empty when it is inside.
func (a aside) reason(f *record.Fruit) string {
	if s := a.plants[f.Plant]; s != "" && f.Plant != "" {
		return s
	}
	return a.fruits[f.Key()]
}
