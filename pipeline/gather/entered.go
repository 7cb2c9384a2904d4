package gather

import (
	"fmt"
	"strconv"
	"strings"

	"offtype/pipeline/book"
	"offtype/pipeline/report"
)

func number[T any](v *T, unit string) string {
	if v == nil {
		return ""
	}
	return strings.TrimSpace(fmt.Sprint(*v) + " " + unit)
}

// knownWord leaves out what the book says for nothing entered.
func knownWord(s string) string {
	if s == "unknown" {
		return ""
	}
	return s
}

// entered turns what the book holds into what the report prints.
func entered(h *book.Harvest) report.Entered {
	x := report.Entered{Harvest: h.Name, Season: number(h.Season, ""), Picked: h.Picked, Stage: h.Stage, Note: h.Note, Variety: h.Variety(), Notes: h.Notes}
	if g := h.Grower; g != nil {
		x.Grower, x.Place, x.Country, x.Contact = g.Name, g.Place, g.Country, g.Contact
	}
	if l := h.Lot; l != nil {
		x.Lot, x.Species, x.Supplier, x.SupplierLot, x.Bought, x.Packet = l.Code, l.Species, l.Supplier, l.SupplierLot, l.Bought, l.Packet
		x.Kind, x.Generation, x.Origin, x.Sown, x.SeedLeft = knownWord(l.Kind), l.Generation, knownWord(l.Origin), l.Sown, l.SeedLeft
		x.SeedsSown, x.SeedsGerminated = number(l.SeedsSown, ""), number(l.SeedsGerminated, "")
	}
	x.Lots = lotsOf(h)
	beds := map[string]bool{}
	for _, p := range h.Plants {
		if p.Control {
			x.Controls = append(x.Controls, p.Number)
		}
		if p.Bed != "" && !beds[p.Bed] {
			beds[p.Bed] = true
			x.Bed = strings.TrimPrefix(x.Bed+", "+p.Bed, ", ")
		}
		for _, o := range [][2]string{{"habit", p.Habit}, {"leaf", p.Leaf}, {"disease", p.Disease}, {"flowered", p.Flowered}, {"first ripe", p.FirstRipe}, {"fruit on the plant", number(p.FruitCount, "")}, {"weight of all fruit", number(p.WeightG, "g")}, {"note", p.Note}} {
			if o[1] != "" {
				x.Hand = append(x.Hand, report.Hand{Plant: p.Number, Trait: o[0], Value: o[1]})
			}
		}
	}
	for _, o := range book.NewestOfDay(h.Observations) { // older books may hold two weights of one day
		if o.Lost != "" {
			continue
		}
		v := o.Words
		if o.Value != nil {
			v = strings.TrimSpace(fmt.Sprintf("%g %s", *o.Value, o.Unit))
			if o.Words != "" {
				v += ", " + o.Words
			}
		}
		t := report.Hand{Photo: o.Photo, Fruit: o.Fruit, Plant: o.Plant, Group: o.Group, Trait: o.Trait, Value: v, Date: o.Date, By: o.By, Note: o.Note}
		x.Hand = append(x.Hand, t)
	}
	x.Hand = append(x.Hand, decided(h)...)
	return x
}

// decided lists what was decided by hand: verdicts, groups, and the names of groups.
func decided(h *book.Harvest) (out []report.Hand) {
	names := map[string]string{} // of groups, by their numbers
	for _, d := range h.Decisions {
		if d.Kind == "group name" && d.Lost == "" {
			n, name, _ := strings.Cut(d.Value, ": ")
			names[n] = name
		}
	}
	for _, d := range h.Decisions {
		t := report.Hand{Photo: d.Photo, Fruit: d.Fruit, Plant: d.Plant, Trait: d.Kind + " by hand", Value: d.Value, Date: book.Note{Made: d.Made}.Day(), By: d.By, Note: d.Reason}
		switch {
		case d.Lost != "":
			continue
		case d.Kind == "group" && names[d.Value] != "":
			t.Value += ": " + names[d.Value]
		case d.Kind == "group name":
			n, name, _ := strings.Cut(d.Value, ": ")
			t.Trait, t.Value = "name of the group", name
			t.Group, _ = strconv.Atoi(n)
		case d.Kind != "group" && d.Kind != "verdict":
			continue
		}
		out = append(out, t)
	}
	return out
}

// lotsOf says which plants grew from which seed lot, the harvest's first. Control plants are of another lot on purpose.
func lotsOf(h *book.Harvest) []report.LotPlants {
	var out []report.LotPlants
	at := map[string]int{}
	add := func(code, name string) {
		at[code] = len(out)
		out = append(out, report.LotPlants{Name: name})
	}
	for _, l := range h.Lots {
		add(l.Code, l.Name())
	}
	for _, p := range h.Plants {
		if p.Control {
			continue
		}
		if _, ok := at[p.Lot]; !ok {
			add(p.Lot, p.Lot)
		}
		out[at[p.Lot]].Plants = append(out[at[p.Lot]].Plants, p.Number)
	}
	return out
}

// BenchColumns are the observations of the bench sheet, as the book takes them.
func BenchColumns() []report.BenchColumn {
	var out []report.BenchColumn
	for _, t := range book.BenchTraits {
		k := report.BenchColumn{Name: strings.ReplaceAll(t.Trait, "_", " "), Unit: t.Unit}
		if h, err := book.HandTraitNamed(t.Trait); err == nil {
			k.Words = h.Words
		}
		out = append(out, k)
	}
	return out
}
