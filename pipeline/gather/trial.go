package gather

import (
	"context"
	"errors"

	"offtype/pipeline/book"
	"offtype/pipeline/record"
	"offtype/pipeline/seed"
)

// Trial gives one row a variety that the harvest's plants are of; none when the book knows no plant of it. A harvest that was
// not measured has the counts and weights that were written down.
func Trial(ctx context.Context, b *book.Book, harvest string) ([]seed.TrialRow, error) {
	h, err := b.Harvest(ctx, harvest)
	if err != nil {
		return nil, err
	}
	run, err := b.LoadRunWith(ctx, harvest, book.LoadOptions{NoOutlines: true})
	if err != nil && !errors.Is(err, book.ErrNotFound) {
		return nil, err
	}
	return seed.Trial(trialPlants(&h, &run)), nil
}

// trialPlants puts what was counted and observed under each plant.
func trialPlants(h *book.Harvest, run *record.Run) []seed.TrialPlant {
	lots := map[string]book.Lot{}
	for _, l := range h.Lots {
		lots[l.Code] = l
	}
	plantOf := map[record.Key]string{}
	counted := map[string]int{}
	for i := range run.Fruits {
		f := &run.Fruits[i]
		plantOf[f.Key()] = f.Plant
		counted[f.Plant]++
	}
	newest := book.Newest(h.Observations)
	var out []seed.TrialPlant
	for _, p := range h.Plants {
		x := seed.TrialPlant{Variety: lots[p.Lot].Variety, Lot: p.Lot, Number: p.Number, Fruits: counted[p.Number], Ripe: p.RipeCount, WeightG: p.WeightG}
		if v := run.Judgement.Variety; x.Variety == "" && x.Lot == "" && v != nil {
			x.Variety = v.Name // nothing was written down: what the harvest was compared with
		}
		if p.FruitCount != nil {
			x.Fruits = *p.FruitCount
		}
		weight := 0.0
		var whole *float64 // written down for the plant itself: all its fruit
		weighed := map[record.Key]bool{}
		for _, o := range newest {
			k := record.Key{Photo: o.Photo, Number: o.Fruit}
			if o.Value == nil || o.Lost != "" || o.Plant != p.Number && (o.Fruit == 0 || plantOf[k] != p.Number) {
				continue
			}
			switch o.Trait {
			case "taste":
				x.Tastes = append(x.Tastes, *o.Value)
			case "keeping":
				x.KeepingDays = append(x.KeepingDays, *o.Value)
			case "weight":
				if o.Plant != "" {
					whole = o.Value
					continue
				}
				weight += *o.Value
				weighed[k] = true
			}
		}
		switch {
		case x.WeightG != nil:
		case len(weighed) > 0 && len(weighed) >= x.Fruits:
			x.WeightG = &weight // every fruit of the plant was weighed
		default:
			x.WeightG = whole
		}
		out = append(out, x)
	}
	return out
}
