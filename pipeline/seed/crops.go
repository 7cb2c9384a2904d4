// Package seed answers what a grower asks about seed: which plants and fruit are fit to keep seed from,
// how many plants to grow so that a bad lot shows, and how to lay out the bed.
//
// It computes from what it is given and knows neither files nor the harvest book. Figures from the
// literature are shown with their source; figures known only from memory are not shown at all.
package seed

import "strings"

// Figure is a published figure with its source.
type Figure struct {
	Text   string  `json:"text"`
	Metres float64 `json:"metres,omitempty"`
	Source string  `json:"source"`
}

// Crop holds what was read about isolation and numbers of plants for one crop.
type Crop struct {
	Name      string   `json:"name"`
	Crosses   string   `json:"crosses"` // how pollen travels
	Isolation []Figure `json:"isolation"`
	Plants    []Figure `json:"plants"` // plants to save seed from
	MinPlants int      `json:"min_plants"`
	// MinMetres is the smallest of the distances; below it open pollination is not isolated by any source.
	MinMetres float64 `json:"min_metres"`
}

// Sources as they were read; the first three charts were read side by side, so that a figure from them
// is given to all.
const (
	charts = "seed-saving charts for gardeners (a general chart; a table of the Organic Seed Alliance, as quoted; notes of a seed library)"
	canada = "Seeds of Diversity (Canada), April 2015"
	ny     = "New York 1 CRR-NY 105.2, tomato"
	india  = "India, minimum seed certification standards, onion (foundation; certified)"
	eu     = "EU Directive 87/481/EEC, beet (from any other Beta)"
)

const (
	foot = 0.3048
	mile = 1609.344
)

func metres(m float64, text, source string) Figure { return Figure{text, m, source} }
func plants(text, source string) Figure            { return Figure{Text: text, Source: source} }

var cucurbit = []Figure{metres(1600*foot, "490 m (1,600 ft)", charts), metres(mile/2, "800 m (1/2 mile)", charts)}

// crops by genus or species, longest name first where both are listed.
var crops = []struct {
	match []string
	crop  Crop
}{
	{[]string{"cucurbita"}, Crop{Name: "squash, pumpkin", Crosses: "bees; only within the same species as a rule, between species rarely",
		Isolation: append(append([]Figure(nil), cucurbit...), metres(1500, "1,500 m", canada)),
		Plants:    []Figure{plants("10; 10–20; 25", charts+"; "+canada)}, MinPlants: 10}},
	{[]string{"cucumis", "citrullus"}, Crop{Name: "melon, cucumber", Crosses: "bees", Isolation: cucurbit, Plants: []Figure{plants("10; 10–20; 25", charts)}, MinPlants: 10}},
	{[]string{"zea"}, Crop{Name: "maize", Crosses: "wind", Isolation: []Figure{metres(1600*foot, "490 m (1,600 ft)", charts), metres(mile, "1.6–3.2 km (1–2 miles)", charts)}, Plants: []Figure{plants("100–200", charts)}, MinPlants: 100}},
	{[]string{"solanum lycopersicum", "lycopersicon"}, Crop{Name: "tomato", Crosses: "mostly by itself, some by bees",
		Isolation: []Figure{metres(10*foot, "3 m (10 ft)", charts), metres(30*foot, "9 m (30 ft) between varieties", ny), metres(40*foot, "12 m (40 ft)", charts), metres(50*foot, "15 m (50 ft)", charts)},
		Plants:    []Figure{plants("10–20", charts)}, MinPlants: 10}},
	{[]string{"capsicum"}, Crop{Name: "pepper", Crosses: "by itself and by insects", Isolation: []Figure{metres(100*foot, "30 m (100 ft)", charts)}, Plants: []Figure{plants("10", charts)}, MinPlants: 10}},
	{[]string{"phaseolus"}, Crop{Name: "bean", Crosses: "mostly by itself", Isolation: []Figure{metres(20*foot, "6 m (20 ft)", charts)}, Plants: []Figure{plants("10–20", charts)}, MinPlants: 10}},
	{[]string{"pisum"}, Crop{Name: "pea", Crosses: "by itself", Isolation: []Figure{metres(20*foot, "6 m (20 ft)", charts), metres(12, "12 m, trade", canada)}, Plants: []Figure{plants("25", charts)}, MinPlants: 25}},
	{[]string{"raphanus", "brassica"}, Crop{Name: "radish, cabbage family", Crosses: "insects", Isolation: []Figure{metres(mile/2, "800 m (1/2 mile)", charts)}, Plants: []Figure{plants("40–100", charts)}, MinPlants: 40}},
	{[]string{"allium cepa"}, Crop{Name: "onion", Crosses: "insects", Isolation: []Figure{metres(500, "500 m certified", india), metres(1000, "1,000 m foundation", india)}}},
	{[]string{"beta"}, Crop{Name: "beet", Crosses: "wind", Isolation: []Figure{metres(1000, "1,000 m", eu)}}},
}

// CropOf returns what was read about the species' crop; ok is false when nothing was.
func CropOf(species string) (Crop, bool) {
	s := strings.ToLower(strings.TrimSpace(species))
	for _, c := range crops {
		for _, m := range c.match {
			if s == m || strings.HasPrefix(s, m+" ") {
				x := c.crop
				for _, f := range x.Isolation {
					if x.MinMetres == 0 || f.Metres < x.MinMetres {
						x.MinMetres = f.Metres
					}
				}
				return x, true
			}
		}
	}
	return Crop{}, false
}
