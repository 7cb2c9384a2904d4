package gather

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"offtype/pipeline/book"
	"offtype/pipeline/compare"
	"offtype/pipeline/record"
)

// Side reads a harvest of the book to compare it with others.
func Side(ctx context.Context, b *book.Book, harvest string) (compare.Side, error) {
	h, run, err := read(ctx, b, harvest, book.LoadOptions{})
	if err != nil {
		return compare.Side{}, err
	}
	s := compare.Side{Name: harvest, Stage: h.Stage, Run: run}
	if h.Season != nil {
		s.Season = fmt.Sprint(*h.Season)
	}
	if h.Lot != nil {
		s.Lot = h.Lot.Code
	}
	for _, o := range book.Newest(h.Observations) {
		if o.Value == nil || o.Lost != "" || o.Group != 0 {
			continue
		}
		x := compare.Hand{Plant: o.Plant, Trait: o.Trait, Unit: o.Unit, Value: *o.Value}
		if o.Fruit != 0 {
			x.Key = record.Key{Photo: o.Photo, Number: o.Fruit}
		}
		s.Hand = append(s.Hand, x)
	}
	lots, _ := Lots(&h, "", nil)
	s.ControlLots = compare.ControlLots(&s.Run, lots)
	return s, nil
}

// Lots gives each plant's seed lot, with that of the harvest for all others, and the control plants of the book that
// are not among those used.
func Lots(h *book.Harvest, harvestLot string, used []string) (lots map[string]string, late []string) {
	names := map[string]string{}
	for _, l := range h.Lots {
		names[l.Code] = l.Name()
	}
	if harvestLot == "" && h.Lot != nil {
		harvestLot = h.Lot.Code
	}
	lots = map[string]string{"": cmp.Or(names[harvestLot], harvestLot)}
	for _, p := range h.Plants {
		if p.Control && !slices.Contains(used, p.Number) {
			late = append(late, p.Number)
		}
		if p.Lot != "" {
			lots[p.Number] = cmp.Or(names[p.Lot], p.Lot)
		}
	}
	return lots, late
}
