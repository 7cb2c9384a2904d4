package book

import "cmp"

// Newest leaves of the numbers observed only the newest of each trait of each fruit, plant and group: that of the
// last day, and of one day the one entered last. Scores of several named tasters stay, and so do words, and what lost its
// fruit or group. The order stays.
func Newest(os []Observation) []Observation {
	return lastOf(os, func(Observation) string { return "" })
}

// NewestOfDay leaves the newest number of each trait, subject and day, else as Newest.
func NewestOfDay(os []Observation) []Observation {
	return lastOf(os, func(o Observation) string { return o.Day })
}

func lastOf(os []Observation, day func(Observation) string) []Observation {
	type key struct {
		s              Subject
		trait, by, day string
	}
	keyOf := func(o Observation) key {
		k := key{Subject{o.Photo, o.Fruit, o.Plant, o.Group}, o.Trait, "", day(o)}
		if o.Trait == "taste" {
			k.by = o.By
		}
		return k
	}
	last := map[key]int{}
	for i, o := range os {
		if x, ok := last[keyOf(o)]; !ok || cmp.Or(cmp.Compare(os[x].Day, o.Day), cmp.Compare(os[x].ID, o.ID)) <= 0 {
			if o.Lost == "" && o.Value != nil {
				last[keyOf(o)] = i
			}
		}
	}
	var out []Observation
	for i, o := range os {
		if o.Lost != "" || o.Value == nil || last[keyOf(o)] == i {
			out = append(out, o)
		}
	}
	return out
}
