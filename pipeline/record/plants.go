package record

import (
	"slices"
	"strconv"
	"strings"
)

// ComparePlants orders plants as their tags are numbered, words after the numbers: for slices.SortFunc.
func ComparePlants(a, b string) int {
	x, errX := strconv.Atoi(a)
	y, errY := strconv.Atoi(b)
	switch {
	case errX == nil && errY == nil && x != y:
		return x - y
	case errX == nil && errY != nil:
		return -1
	case errX != nil && errY == nil:
		return 1
	}
	return strings.Compare(a, b)
}

// SortedPlants returns the plants named, each once and in order; fruit of no plant (empty) are left out.
func SortedPlants(names []string) []string {
	out := slices.DeleteFunc(slices.Clone(names), func(p string) bool { return p == "" })
	slices.SortFunc(out, ComparePlants)
	return slices.Compact(out)
}

// PlantsOf lists the plants with fruit in group g, in order.
func (r *Run) PlantsOf(g int) []string {
	var names []string
	for _, m := range r.Groups {
		if m.Group == g {
			names = append(names, m.Plant)
		}
	}
	return SortedPlants(names)
}
