package desk

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"offtype/pipeline/book"
)

func (d *Desk) observeRoutes(m *http.ServeMux) {
	m.HandleFunc("GET /h/{id}/observe", d.withHarvest(d.observeView))
	m.HandleFunc("POST /h/{id}/observe", d.withHarvest(d.observe))
}

// gridTraits are the columns of the grid at first, in the order of the bench; the others are ticked on.
var gridTraits = []string{"weight", "rind_thumbnail", "flesh_thickness", "seed_maturity", "bitter", "taste"}

// gridWords name the traits in plain words.
var gridWords = map[string]string{
	"weight": "Weight", "rind_thumbnail": "Rind, thumbnail", "rind_force": "Rind, force", "rind_thickness": "Rind thickness", "flesh_thickness": "Flesh thickness",
	"flesh_colour": "Flesh colour", "brix": "Sweetness (°Bx)", "dry_matter": "Dry matter", "seed_maturity": "Seed", "days_to_maturity": "Days to ripe",
	"disease": "Disease", "keeping": "Kept, days", "taste": "Taste", "bitter": "Bitter", "saved_seed": "Seed kept", "other": "Other",
}

// cell is a field of the grid.
type cell struct {
	Harvest, Row, Trait string
	Label               string // for people who do not see the grid
	Value               string
	Words               []string
	Problem             string
	Slip                bool // refused as a likely slip: can be kept anyway
	Saved               bool
}

// ID names the field on the page, the same before and after it was saved, so that it keeps the focus.
func (c cell) ID() string {
	h := fnv.New64a()
	fmt.Fprintf(h, "%s|%s", c.Row, c.Trait)
	return fmt.Sprintf("c%x", h.Sum64())
}

// Head names the field where the columns have no head, on a narrow screen.
func (c cell) Head() string {
	name := gridWords[c.Trait]
	if t, err := book.HandTraitNamed(c.Trait); err == nil && t.Unit != "" && !strings.Contains(name, "("+t.Unit+")") {
		name += ", " + t.Unit
	}
	return name
}

// Bitter reports whether the field says that a fruit is bitter: then the page says at once what that means.
func (c cell) Bitter() bool { return c.Trait == "bitter" && c.Value == "yes" && c.Problem == "" }

type gridRow struct {
	Key, Name, Sub, Link, Cut string
	Cells                     []cell
}

type column struct {
	Trait, Name, Unit, Help string
	Shown                   bool
}

type observeData struct {
	ID      string
	Columns []column
	All     []column
	Rows    []gridRow
	Plants  bool // rows are plants
	Empty   string
	Judging bool // nothing is in the book yet, but will be
	Lost    []string
}

func traitColumn(t book.HandTrait) column {
	name := gridWords[t.Name]
	if name == "" {
		name = strings.ReplaceAll(t.Name, "_", " ")
	}
	return column{Trait: t.Name, Name: name, Unit: t.Unit, Help: t.Help}
}

// observeView shows the grid: a row a fruit, or a row a plant.
func (d *Desk) observeView(w http.ResponseWriter, r *http.Request, h *harvest) {
	v := observeData{ID: h.ID, Plants: r.URL.Query().Get("rows") == "plants"}
	v.choose(r.URL.Query()["t"])
	b, err := d.book.Harvest(r.Context(), h.Name)
	if err != nil {
		v.Empty = "There are no fruit in the harvest book yet. Bring photos first; they are written into the book once they are measured."
		h.mu.Lock()
		if v.Judging = h.busy() || h.settling(); v.Judging {
			v.Empty = "The photos are being measured. Their fruit stand here after that."
		}
		h.mu.Unlock()
		d.show(w, r, "observe", h.page("Weigh and taste", "observe", v))
		return
	}
	last := map[string]string{} // row + trait → what was written last
	for _, o := range b.Observations {
		if o.Lost != "" {
			v.Lost = append(v.Lost, fmt.Sprintf("%s %s: its fruit is not found any more (%s).", gridWords[o.Trait], o.Entered, o.Lost))
			continue
		}
		last[rowOf(o)+"|"+o.Trait] = o.Entered
	}
	rows := h.fruitRows()
	if v.Plants {
		rows = nil
		for _, p := range b.Plants {
			rows = append(rows, gridRow{Key: "plant " + p.Number, Name: "plant " + p.Number})
		}
	}
	for _, g := range rows {
		name := g.Name
		if g.Sub != "" {
			name += " of " + g.Sub
		}
		for _, c := range v.Columns {
			t, _ := book.HandTraitNamed(c.Trait)
			g.Cells = append(g.Cells, cell{Harvest: h.ID, Row: g.Key, Trait: c.Trait, Label: c.Name + " of " + name, Value: last[g.Key+"|"+c.Trait], Words: t.Words})
		}
		v.Rows = append(v.Rows, g)
	}
	if len(v.Rows) == 0 {
		v.Empty = "There is nothing to write down yet."
	}
	d.show(w, r, "observe", h.page("Weigh and taste", "observe", v))
}

// choose shows the columns that were ticked, or the usual ones.
func (v *observeData) choose(shown []string) {
	if len(shown) == 0 {
		shown = gridTraits
		if v.Plants {
			shown = []string{"disease", "days_to_maturity", "weight", "other"}
		}
	}
	for _, t := range book.HandTraits {
		c := traitColumn(t)
		c.Shown = slices.Contains(shown, t.Name)
		v.All = append(v.All, c)
		if c.Shown {
			v.Columns = append(v.Columns, c)
		}
	}
}

// fruitRows gives a row for each fruit, without cells.
func (h *harvest) fruitRows() []gridRow {
	h.mu.Lock()
	defer h.mu.Unlock()
	var out []gridRow
	for i := range h.Photos {
		p := &h.Photos[i]
		l := h.live[p.Key]
		if l.part == nil {
			continue
		}
		for k := range l.part.Fruits {
			f := &l.part.Fruits[k]
			if h.standsFor(f.Key()) != f.Key() { // its row stands under another photo
				continue
			}
			g := gridRow{Key: fmt.Sprintf("%s/%d", p.File, f.Number), Name: fmt.Sprintf("no. %d", f.Number), Sub: stem(p.File)}
			if f.Plant != "" {
				g.Name = fmt.Sprintf("plant %s, no. %d", f.Plant, f.Number)
			}
			g.Link = fmt.Sprintf("/h/%s/photo/%s?fruit=%d", h.ID, p.Key, f.Number)
			g.Cut = fmt.Sprintf("/h/%s/cut/%s/%d.jpg", h.ID, p.Key, f.Number)
			out = append(out, g)
		}
	}
	return out
}

func rowOf(o book.Observation) string {
	if o.Plant != "" {
		return "plant " + o.Plant
	}
	return fmt.Sprintf("%s/%d", o.Photo, o.Fruit)
}

// observe writes one field down: the new value first, then the old one is taken out.
func (d *Desk) observe(w http.ResponseWriter, r *http.Request, h *harvest) {
	f := r.PostForm
	c := cell{Harvest: h.ID, Row: f.Get("row"), Trait: f.Get("trait"), Label: oneLine(f.Get("label"), 200), Value: oneLine(f.Get("value"), 300)}
	t, err := book.HandTraitNamed(c.Trait)
	if err == nil {
		c.Words = t.Words
		err = d.writeDown(r.Context(), h.Name, c.Row, t, c.Value, f.Get("force") == "1")
	}
	if err != nil {
		c.Slip = errors.Is(err, book.ErrSlip)
		if in := errors.Unwrap(err); c.Slip && in != nil && in != book.ErrSlip {
			err = in // the field says already whose weight it is
		}
		c.Problem = sentence(err.Error())
	} else {
		c.Saved = true
	}
	if r.Header.Get("HX-Request") == "" {
		if err != nil {
			d.problem(w, r, http.StatusUnprocessableEntity, err)
			return
		}
		http.Redirect(w, r, "/h/"+h.ID+"/observe?said=saved", http.StatusSeeOther)
		return
	}
	d.piece(w, "observe", "cell", c)
}

func (d *Desk) writeDown(ctx context.Context, harvest, row string, t book.HandTrait, value string, force bool) error {
	s, err := book.ParseSubject(row)
	if err != nil {
		return err
	}
	b, err := d.book.Harvest(ctx, harvest)
	if err != nil {
		return err
	}
	var old []book.Observation
	for _, o := range b.Observations {
		if o.Lost == "" && o.Trait == t.Name && rowOf(o) == row {
			old = append(old, o)
		}
	}
	if value != "" {
		if len(old) > 0 && old[len(old)-1].Entered == value {
			return nil
		}
		unit := ""
		if _, err := strconv.ParseFloat(strings.ReplaceAll(value, ",", "."), 64); err == nil {
			unit = t.Unit // the column says the unit
		}
		more := book.Observation{Date: d.opt.Now().Format("2006-01-02")}
		if err := d.book.AddObservation(ctx, harvest, s, t.Name, value, unit, more, force); err != nil {
			return err
		}
	}
	for _, o := range old {
		if err := d.book.Remove(ctx, "observation", o.ID); err != nil {
			return err
		}
	}
	return nil
}
