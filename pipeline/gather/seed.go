package gather

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"offtype/pipeline/book"
	"offtype/pipeline/record"
	"offtype/pipeline/seed"
)

// Seed gathers what the book knows of the harvest's plants, for the choice of plants to keep seed of.
func Seed(ctx context.Context, b *book.Book, harvest string) (seed.Input, error) {
	h, run, err := read(ctx, b, harvest, book.LoadOptions{NoOutlines: true})
	if err != nil {
		return seed.Input{}, err
	}
	in := seed.Input{Harvest: harvest, Variety: h.Variety(), Protected: "unknown"}
	if v := run.Judgement.Variety; v != nil {
		in.Variety, in.Species = v.Name, v.Species
	}
	lots := map[string]book.Lot{}
	for _, l := range h.Lots {
		lots[l.Code] = l
	}
	if h.Lot != nil {
		in.Protected = h.Lot.Protected
		if in.Species == "" {
			in.Species = h.Lot.Species
		}
	}
	if len(h.Plants) == 0 && run.Judgement.ItemIsPlant() {
		in.Plants = seedItems(&h, &run)
		return in, nil
	}
	if len(h.Plants) == 0 {
		return in, fmt.Errorf("harvest %q has no plant numbers, so that no plant can be judged as a whole; photograph with plant tags, or name the plants with offtype fix", harvest)
	}
	verdicts := map[string]record.Verdict{}
	for _, v := range run.Judgement.Plants {
		verdicts[v.Plant] = v.Verdict
	}
	fruits, controls := seedFruits(&h, &run), run.Judgement.Controls()
	for _, p := range h.Plants {
		l := lots[p.Lot]
		x := seed.Plant{Number: p.Number, Species: l.Species, Lot: p.Lot, LotKind: l.Kind, Verdict: record.NotJudged, Control: p.Control || slices.Contains(controls, p.Number), Pollination: p.Pollination, IsolationM: p.IsolationM,
			Flowered: !strings.Contains(strings.ToLower(p.Fate), "before flower"), Fruits: fruits[p.Number]}
		if v, ok := verdicts[p.Number]; ok {
			x.Verdict = v
		}
		for _, d := range h.Decisions {
			if d.Plant == p.Number && d.Kind == "verdict" {
				x.Verdict = record.Verdict(d.Value)
			}
		}
		in.Plants = append(in.Plants, x)
	}
	return in, nil
}

// seedItems takes each root or bulb for the plant that it is.
func seedItems(h *book.Harvest, run *record.Run) []seed.Plant {
	fruits, verdicts, kind, lot := seedFruits(h, run), map[record.Key]record.Verdict{}, "", ""
	if h.Lot != nil {
		kind, lot = h.Lot.Kind, h.Lot.Code
	}
	for _, v := range run.Judgement.Fruits {
		verdicts[record.Key{Photo: v.Photo, Number: v.Fruit}] = v.Verdict
	}
	for _, d := range h.Decisions {
		if d.Fruit != 0 && d.Kind == "verdict" && d.Lost == "" {
			verdicts[record.Key{Photo: d.Photo, Number: d.Fruit}] = record.Verdict(d.Value)
		}
	}
	var out []seed.Plant
	for _, f := range fruits[""] {
		v := verdicts[record.Key{Photo: f.Photo, Number: f.Number}]
		f.Verdict = v
		out = append(out, seed.Plant{Number: fmt.Sprintf("%s/%d", f.Photo, f.Number), Lot: lot, LotKind: kind, Verdict: v, Flowered: true, Fruits: []seed.Fruit{f}})
	}
	return out
}

// bitterFruit tells which fruit were found bitter: themselves, or as fruit of a plant or group of which
// that was written down. Once said it holds until it is taken back from the book.
func bitterFruit(h *book.Harvest, run *record.Run) func(f *record.Fruit) bool {
	fruits, plants, groups := map[record.Key]bool{}, map[string]bool{}, map[int]bool{}
	for _, o := range h.Observations {
		switch {
		case o.Trait != "bitter" || o.Words != "yes" || o.Lost != "":
		case o.Fruit != 0:
			fruits[record.Key{Photo: o.Photo, Number: o.Fruit}] = true
		case o.Plant != "":
			plants[o.Plant] = true
		case o.Group != 0:
			groups[o.Group] = true
		}
	}
	for _, m := range run.Groups {
		if groups[m.Group] {
			fruits[m.Key] = true
		}
	}
	return func(f *record.Fruit) bool { return fruits[f.Key()] || f.Plant != "" && plants[f.Plant] }
}

// seedFruits gives each plant's fruit, under "" those without a plant, with what was observed of their seed.
func seedFruits(h *book.Harvest, run *record.Run) map[string][]seed.Fruit {
	bitter := bitterFruit(h, run)
	said := map[record.Key]map[string]string{}
	for _, o := range h.Observations {
		if o.Fruit == 0 || o.Lost != "" {
			continue
		}
		k := record.Key{Photo: o.Photo, Number: o.Fruit}
		if said[k] == nil {
			said[k] = map[string]string{}
		}
		said[k][o.Trait] = o.Words
	}
	verdicts := map[record.Key]record.Verdict{}
	for _, v := range run.Judgement.Fruits {
		verdicts[record.Key{Photo: v.Photo, Number: v.Fruit}] = v.Verdict
	}
	out := map[string][]seed.Fruit{}
	for i := range run.Fruits {
		f := &run.Fruits[i]
		k := f.Key()
		x := seed.Fruit{Photo: f.Photo, Number: f.Number, Verdict: verdicts[k], Mature: said[k]["seed_maturity"], Bitter: said[k]["bitter"]}
		if bitter(f) {
			x.Bitter = "yes"
		}
		out[f.Plant] = append(out[f.Plant], x)
	}
	return out
}
