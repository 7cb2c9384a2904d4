package desk

import (
	"context"
	"errors"
	"net/http"
	"sort"

	"offtype/pipeline/book"
	"offtype/pipeline/seed"
)

// The table of a variety trial, and what several growers found of one seed lot.

func (d *Desk) lotRoutes(m *http.ServeMux) {
	m.HandleFunc("GET /trial", d.trialView)
	m.HandleFunc("GET /lots", d.poolView)
}

type trialData struct {
	Harvests []string
	Chosen   string
	Rows     []seed.TrialRow
	Empty    string
}

// trialView shows one row a variety of the harvest's plants.
func (d *Desk) trialView(w http.ResponseWriter, r *http.Request) {
	v := trialData{Harvests: d.inBook(r.Context()), Chosen: r.URL.Query().Get("h")}
	p := &page{Title: "Compare varieties", Door: "seed"}
	if v.Chosen == "" && len(v.Harvests) == 1 {
		v.Chosen = v.Harvests[0]
	}
	if v.Chosen != "" && d.opt.Commands.Trial != nil {
		h, err := d.book.Harvest(r.Context(), v.Chosen)
		if err != nil {
			p.Problem = sentence(err.Error())
		} else {
			run, err := d.book.LoadRunWith(r.Context(), v.Chosen, book.LoadOptions{NoOutlines: true})
			if err != nil && !errors.Is(err, book.ErrNotFound) {
				p.Problem = sentence(err.Error())
			}
			v.Rows = seed.Trial(d.opt.Commands.Trial(&h, &run))
			if len(v.Rows) == 0 {
				v.Empty = "This harvest has no plants yet. Photograph with plant tags, say on the photo which plant a fruit is from, or write the plants down under In the bed."
			}
		}
	}
	p.Data = v
	d.show(w, r, "trial", p)
}

type poolData struct {
	Lots   []string
	Chosen string
	Pooled *seed.Pooled
	Empty  string
}

// poolView puts together what the harvests of the book found of one seed lot.
func (d *Desk) poolView(w http.ResponseWriter, r *http.Request) {
	v := poolData{Lots: d.poolLots(r.Context()), Chosen: oneLine(r.URL.Query().Get("lot"), 120)}
	p := &page{Title: "One seed lot, several harvests", Door: "seed"}
	if v.Chosen == "" && len(v.Lots) == 1 {
		v.Chosen = v.Lots[0]
	}
	if v.Chosen != "" && d.opt.Commands.Share != nil {
		pooled, err := d.pooled(r.Context(), v.Chosen)
		switch {
		case err != nil:
			p.Problem = sentence(err.Error())
		case len(pooled.Shares) == 0:
			v.Empty = "No measured harvest grew this lot. Name the seed lot of a harvest under its Photos."
		default:
			v.Pooled = pooled
		}
	}
	p.Data = v
	d.show(w, r, "lots", p)
}

// pooled counts the judged plants of a lot, harvest by harvest.
func (d *Desk) pooled(ctx context.Context, lot string) (*seed.Pooled, error) {
	var shares []seed.Share
	for _, name := range d.inBook(ctx) {
		h, err := d.book.Harvest(ctx, name)
		if err != nil {
			return nil, err
		}
		run, err := d.book.LoadRunWith(ctx, name, book.LoadOptions{NoOutlines: true})
		if err != nil {
			return nil, err
		}
		if s, ok := d.opt.Commands.Share(&h, &run, lot); ok {
			shares = append(shares, s)
		}
	}
	p := seed.Pool(lot, shares)
	return &p, nil
}

// poolLots lists codes and, where growers' codes differ, the suppliers' lot numbers.
func (d *Desk) poolLots(ctx context.Context) []string {
	lots, err := d.book.Lots(ctx)
	if err != nil {
		return nil
	}
	have := map[string]bool{}
	for _, l := range lots {
		have[l.Code] = true
		if l.SupplierLot != "" {
			have[l.SupplierLot] = true
		}
	}
	out := make([]string, 0, len(have))
	for l := range have {
		out = append(out, l)
	}
	sort.Strings(out)
	return out
}
