package desk

import (
	"context"
	"net/http"
	"sort"

	"offtype/pipeline/gather"
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
	if v.Chosen != "" {
		var err error
		if v.Rows, err = gather.Trial(r.Context(), d.book, v.Chosen); err != nil {
			p.Problem = sentence(err.Error())
		} else if len(v.Rows) == 0 {
			v.Empty = "This harvest has no plants yet. Photograph with plant tags, say on the photo which plant a fruit is from, or write the plants down under In the bed."
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
	if v.Chosen != "" {
		pooled, err := gather.Pool(r.Context(), d.book, v.Chosen)
		switch {
		case err != nil:
			p.Problem = sentence(err.Error())
		case len(pooled.Shares) == 0:
			v.Empty = "No measured harvest grew this lot. Name the seed lot of a harvest under its Photos."
		default:
			v.Pooled = &pooled
		}
	}
	p.Data = v
	d.show(w, r, "lots", p)
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
