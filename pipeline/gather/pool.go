package gather

import (
	"context"
	"slices"

	"offtype/pipeline/book"
	"offtype/pipeline/record"
	"offtype/pipeline/seed"
)

// Pool puts together what the measured harvests of the book found of a seed lot, named by its code or by the supplier's
// number. It has no shares when no measured harvest grew the lot.
func Pool(ctx context.Context, b *book.Book, lot string) (seed.Pooled, error) {
	list, err := b.ListHarvests(ctx)
	if err != nil {
		return seed.Pooled{}, err
	}
	var shares []seed.Share
	for _, s := range list {
		if s.Revision == 0 {
			continue
		}
		h, run, err := read(ctx, b, s.Name, book.LoadOptions{NoOutlines: true})
		if err != nil {
			return seed.Pooled{}, err
		}
		if x, ok := shareOf(&h, &run, lot); ok {
			shares = append(shares, x)
		}
	}
	return seed.Pool(lot, shares), nil
}

// shareOf counts the judged plants of a harvest that grew from the lot, control plants aside.
func shareOf(h *book.Harvest, run *record.Run, lot string) (seed.Share, bool) {
	codes := map[string]bool{}
	for _, l := range h.Lots {
		if l.Code == lot || l.SupplierLot == lot {
			codes[l.Code] = true
		}
	}
	s := seed.Share{Harvest: h.Name, Vouched: true, Of: map[string]record.Verdict{}}
	if h.Grower != nil {
		s.Grower = h.Grower.Name
	}
	if l := &run.Judgement.Lot; run.Judgement.ItemIsPlant() && h.Lot != nil && codes[h.Lot.Code] { // roots without tags, all of the harvest's lot
		s.Off, s.Unsure, s.Plants, s.Vouched = l.Off, l.Unsure, l.Seen-l.Unsure, false
		return s, true
	}
	mine, planting := map[string]bool{}, map[string]string{}
	for _, p := range h.Plants {
		mine[p.Number], planting[p.Number] = codes[p.Lot] && !p.Control, p.Planting
	}
	for _, v := range run.Judgement.Plants {
		if !mine[v.Plant] {
			continue
		}
		switch v.Verdict {
		case record.OffType:
			s.Off++
			s.Plants++
		case record.TrueToType:
			s.Plants++
		case record.Doubtful:
			s.Unsure++
		default:
			continue
		}
		s.Of[planting[v.Plant]+"/"+v.Plant] = v.Verdict
		s.Vouched = s.Vouched && slices.Contains(run.Judgement.Lot.Taught, v.Plant)
	}
	s.Vouched = s.Vouched && s.Plants+s.Unsure > 0
	return s, len(codes) > 0
}
