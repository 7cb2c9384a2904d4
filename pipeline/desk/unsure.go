package desk

import (
	"fmt"
	"math"
	"net/http"
	"sort"

	"offtype/pipeline/record"
)

// unsureData is the question about one fruit.
type unsureData struct {
	ID      string
	Fruit   *cutCard
	Left    int
	Nearest []groupRow // the two nearest groups, each with a few of its fruit
	Next    int
	Skip    []string
	Why     string
	Judging bool
	Empty   string // nothing is measured yet
}

// unsureView asks about the unsure fruit one by one.
func (d *Desk) unsureView(w http.ResponseWriter, r *http.Request, h *harvest) {
	v := h.groupsData(r.Context())
	skip := map[string]bool{}
	for _, s := range r.URL.Query()["skip"] {
		skip[s] = true
	}
	u := unsureData{ID: h.ID, Next: v.Next, Judging: v.Judging, Empty: v.Empty}
	for _, row := range v.Rows {
		for i := range row.Cuts {
			c := row.Cuts[i]
			if (!c.Unsure && !c.Alone) || c.ByHand || skip[c.ID()] {
				continue
			}
			u.Left++
			if u.Fruit == nil {
				u.Fruit = &c
			}
		}
	}
	if u.Fruit != nil {
		u.Why = fmt.Sprintf("It is most like group %d (%.0f %%), but not surely so.", u.Fruit.Computed, 100*u.Fruit.Member)
		if u.Fruit.Unplaced {
			u.Why = fmt.Sprintf("Too little was measured on it to say which group it is like. It is shown in group %d.", u.Fruit.Computed)
		}
		if u.Fruit.Alone {
			u.Why = fmt.Sprintf("It stands apart from all groups. Group %d is the nearest.", u.Fruit.Computed)
		}
		u.Skip = append(r.URL.Query()["skip"], u.Fruit.ID())
		u.Nearest = h.nearest(v.Rows, u.Fruit)
	}
	d.show(w, r, "unsure", h.page("Unsure fruit", "unsure", u))
}

// nearest returns the computed group of a fruit and the next nearest, by the mean of the fruit in
// them: size in steps of 10 %, colour in steps of 10 CIELAB units.
func (h *harvest) nearest(rows []groupRow, c *cutCard) []groupRow {
	h.mu.Lock()
	defer h.mu.Unlock()
	f := h.fruit(c.File, c.Number)
	type near struct {
		row groupRow
		d   float64
	}
	var all []near
	for _, row := range rows {
		var others []*record.Fruit
		var cuts []cutCard
		for _, o := range row.Cuts {
			if o.ID() == c.ID() {
				continue
			}
			if g := h.fruit(o.File, o.Number); g != nil {
				others = append(others, g)
				if len(cuts) < 5 {
					cuts = append(cuts, o)
				}
			}
		}
		if len(others) == 0 {
			continue
		}
		row.Cuts = cuts
		n := near{row, unlike(f, others)}
		if row.Number == c.Computed {
			n.d = -1 // the program's own choice comes first
		}
		all = append(all, n)
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].d < all[j].d })
	var out []groupRow
	for i := range min(2, len(all)) {
		out = append(out, all[i].row)
	}
	return out
}

func unlike(f *record.Fruit, others []*record.Fruit) float64 {
	sum := 0.0
	for _, get := range []func(*record.Fruit) float64{
		func(f *record.Fruit) float64 { return 10 * math.Log(f.Length.V) }, func(f *record.Fruit) float64 { return 10 * math.Log(f.Width.V) },
		func(f *record.Fruit) float64 { return labOf(f)[0] / 10 }, func(f *record.Fruit) float64 { return labOf(f)[1] / 10 }, func(f *record.Fruit) float64 { return labOf(f)[2] / 10 },
	} {
		mean, n := 0.0, 0
		for _, o := range others {
			if v := get(o); !math.IsNaN(v) {
				mean, n = mean+v, n+1
			}
		}
		if v := get(f); n > 0 && !math.IsNaN(v) {
			sum += (v - mean/float64(n)) * (v - mean/float64(n))
		}
	}
	return sum
}

func labOf(f *record.Fruit) [3]float64 {
	if f.Skin == nil {
		return [3]float64{math.NaN(), math.NaN(), math.NaN()}
	}
	return [3]float64{f.Skin.L, f.Skin.A, f.Skin.B}
}
