package desk

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"offtype/cluster/lot"
	"offtype/pipeline/card"
	"offtype/pipeline/compare"
	"offtype/pipeline/gather"
	"offtype/pipeline/seed"
)

func (d *Desk) yearRoutes(m *http.ServeMux) {
	m.HandleFunc("GET /compare", d.compareView)
	m.HandleFunc("GET /compare/page", d.comparePage)
	m.HandleFunc("GET /compare/file", d.comparePage)
	m.HandleFunc("GET /seed/choose", d.seedView)
	m.HandleFunc("GET /plan", d.planView)
	m.HandleFunc("GET /plan/page", d.planPage)
	m.HandleFunc("GET /print", d.printView)
	m.HandleFunc("GET /print/card", d.printCard)
	m.HandleFunc("GET /print/tags", d.printTags)
}

// inBook lists the measured harvests of the book, oldest first.
func (d *Desk) inBook(ctx context.Context) []string {
	list, err := d.book.ListHarvests(ctx)
	if err != nil {
		return nil
	}
	var out []string
	for _, s := range list {
		if s.Revision > 0 {
			out = append(out, s.Name)
		}
	}
	return out
}

type compareData struct {
	Harvests []string
	Chosen   map[string]bool
	Query    string
	Pairs    []compare.Pair
}

// compared builds the comparison of the harvests in the address.
func (d *Desk) compared(r *http.Request) (*compare.Result, []compare.Side, error) {
	var sides []compare.Side
	have := d.inBook(r.Context())
	want := map[string]bool{}
	for _, n := range r.URL.Query()["h"] {
		want[n] = true
	}
	for _, n := range have {
		if !want[n] {
			continue
		}
		s, err := gather.Side(r.Context(), d.book, n)
		if err != nil {
			return nil, nil, err
		}
		sides = append(sides, s)
	}
	if len(sides) < 2 {
		return nil, nil, fmt.Errorf("choose two harvests that are in the book")
	}
	o := compare.DefaultOptions()
	o.Program = "offtype " + d.opt.Program
	res, err := compare.Build(sides, o)
	return res, sides, err
}

func (d *Desk) compareView(w http.ResponseWriter, r *http.Request) {
	v := compareData{Harvests: d.inBook(r.Context()), Chosen: map[string]bool{}}
	p := &page{Title: "Compare years", Door: "seed"}
	if hs := r.URL.Query()["h"]; len(hs) > 0 {
		for _, h := range hs {
			v.Chosen[h] = true
		}
		res, _, err := d.compared(r)
		if err != nil {
			p.Problem = sentence(err.Error())
		} else {
			v.Pairs = res.Pairs
			v.Query = url.Values{"h": hs}.Encode()
		}
	}
	p.Data = v
	d.show(w, r, "compare", p)
}

// comparePage shows or gives away the whole page that the command compare writes.
func (d *Desk) comparePage(w http.ResponseWriter, r *http.Request) {
	res, sides, err := d.compared(r)
	if err != nil {
		d.problem(w, r, http.StatusUnprocessableEntity, err)
		return
	}
	var b bytes.Buffer
	if r.URL.Path == "/compare/file" {
		if err := res.Write(&b); err != nil {
			d.problem(w, r, http.StatusInternalServerError, err)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		w.Header().Set("Content-Disposition", `attachment; filename="compare.json"`)
		w.Write(b.Bytes())
		return
	}
	if err := res.WriteHTML(&b, sides, sidePicture); err != nil {
		d.problem(w, r, http.StatusInternalServerError, err)
		return
	}
	d.wholePage(w, b.Bytes())
}

// sidePicture reads a photo from where it lay when it was measured; the place is the book's.
func sidePicture(s *compare.Side, name string) (image.Image, float64, error) {
	return gather.Originals{}.Picture(&s.Run, name)
}

type seedData struct {
	Harvests []string
	Chosen   string
	Advice   *seed.Advice
}

func (d *Desk) seedView(w http.ResponseWriter, r *http.Request) {
	v := seedData{Harvests: d.inBook(r.Context()), Chosen: r.URL.Query().Get("h")}
	p := &page{Title: "Keep seed", Door: "seed"}
	if v.Chosen != "" {
		in, err := gather.Seed(r.Context(), d.book, v.Chosen)
		if err != nil {
			p.Problem = sentence(err.Error())
		} else {
			if s := oneLine(r.URL.Query().Get("species"), 60); s != "" {
				in.Species = s
			}
			a := seed.Decide(in)
			v.Advice = &a
		}
	}
	p.Data = v
	d.show(w, r, "choose", p)
}

type planData struct {
	Form  url.Values
	Plan  *seed.Plan
	Query string
	Year  int
}

// planFrom reads the plan's form from the address.
func (d *Desk) planFrom(q url.Values) (*seed.Plan, error) {
	year := seed.SeasonOf(d.opt.Now())
	if n, err := strconv.Atoi(q.Get("year")); err == nil {
		year = n
	}
	num := func(name string, otherwise float64) (float64, error) {
		if strings.TrimSpace(q.Get(name)) == "" {
			return otherwise, nil
		}
		v, err := number(q.Get(name))
		if err != nil || v < 0 {
			return 0, fmt.Errorf("%s: %q is no number that fits; write one such as 20 or 0.9", map[string]string{"rate": "share of off-types to notice", "length": "length of the row", "spacing": "from plant to plant"}[name], oneLine(q.Get(name), 40))
		}
		return v, nil
	}
	rate, err := num("rate", 5)
	if err != nil {
		return nil, err
	}
	length, err := num("length", 0)
	if err != nil {
		return nil, err
	}
	spacing, err := num("spacing", 0)
	if err != nil {
		return nil, err
	}
	in := seed.PlanInput{Species: oneLine(q.Get("species"), 60), Year: year, Rate: lot.FromPercent(rate), Confidence: 0.95, FirstTag: 1,
		Bed: seed.Bed{Name: oneLine(q.Get("bed"), 60), LengthM: length, Spacing: spacing}}
	if n, err := strconv.Atoi(q.Get("first")); err == nil {
		in.FirstTag = n
	}
	for i := 1; i <= 4; i++ {
		s := strconv.Itoa(i)
		variety := oneLine(q.Get("v"+s), 60)
		if variety == "" {
			continue
		}
		n, err := strconv.Atoi(strings.TrimSpace(q.Get("n" + s)))
		if err != nil || n < 1 {
			return nil, fmt.Errorf("give the number of plants of %s, such as 18", variety)
		}
		in.Sowings = append(in.Sowings, seed.Sowing{Variety: variety, Lot: oneLine(q.Get("l"+s), 60), Plants: n, Control: q.Get("c"+s) == "1"})
	}
	p, err := seed.MakePlan(in)
	if err != nil {
		return nil, err
	}
	return &p, nil
}

func (d *Desk) planView(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	v := planData{Form: q, Year: seed.SeasonOf(d.opt.Now())}
	p := &page{Title: "Plan the bed", Door: "sow"}
	if q.Get("v1") != "" {
		plan, err := d.planFrom(q)
		if err != nil {
			p.Problem = sentence(err.Error())
		} else {
			v.Plan, v.Query = plan, q.Encode()
		}
	}
	p.Data = v
	d.show(w, r, "plan", p)
}

func (d *Desk) planPage(w http.ResponseWriter, r *http.Request) {
	plan, err := d.planFrom(r.URL.Query())
	if err != nil {
		d.problem(w, r, http.StatusUnprocessableEntity, err)
		return
	}
	var b bytes.Buffer
	if err := plan.WriteHTML(&b); err != nil {
		d.problem(w, r, http.StatusInternalServerError, err)
		return
	}
	d.wholePage(w, b.Bytes())
}

// paperOf reads the paper of a print form.
func paperOf(q url.Values) card.Paper {
	if q.Get("paper") == "letter" {
		return card.Letter
	}
	return card.A4
}

func (d *Desk) printCard(w http.ResponseWriter, r *http.Request) {
	n, err := strconv.Atoi(r.URL.Query().Get("number"))
	if err != nil || n < 0 || n > card.MaxCard {
		d.problem(w, r, http.StatusUnprocessableEntity, fmt.Errorf("a card has a number from 0 to %d", card.MaxCard))
		return
	}
	d.pdf(w, r, fmt.Sprintf("card-%d.pdf", n), func(b io.Writer) error { return card.WritePDF(b, n, paperOf(r.URL.Query())) })
}

func (d *Desk) printTags(w http.ResponseWriter, r *http.Request) {
	plants, err := card.ParseNumbers(r.URL.Query().Get("plants"))
	if err != nil {
		d.problem(w, r, http.StatusUnprocessableEntity, err)
		return
	}
	d.pdf(w, r, "tags.pdf", func(b io.Writer) error { return card.WriteTags(b, plants, paperOf(r.URL.Query())) })
}

func (d *Desk) pdf(w http.ResponseWriter, r *http.Request, name string, fill func(io.Writer) error) {
	var b bytes.Buffer
	if err := fill(&b); err != nil {
		d.problem(w, r, http.StatusUnprocessableEntity, err)
		return
	}
	w.Header().Set("Content-Type", "application/pdf")
	w.Header().Set("Content-Disposition", `attachment; filename="`+name+`"`)
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(b.Bytes()))
}
