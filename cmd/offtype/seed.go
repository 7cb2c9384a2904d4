package main

import (
	"fmt"
	"slices"
	"strings"

	"offtype/pipeline/book"
	"offtype/pipeline/record"
	"offtype/pipeline/seed"
)

type seedCmd struct {
	bookFile
	Harvest string `arg:"" help:"Name of the harvest in the book."`
	Species string `help:"Botanical name, when the book does not know it." placeholder:"SPECIES"`
	JSON    bool   `help:"Print as JSON."`
}

func (*seedCmd) Help() string {
	return `Example: offtype seed autumn-2026

Says which plants and fruit are fit to keep seed from, how many plants that is against what is recommended for the
species, and whether the distance kept is enough by published figures (shown with their source). Write the distance and
the pollination into the book first:  offtype book add planting NAME isolation_m=800
and mark plants that were pulled out:  offtype book add plant NAME/7 fate="rogued before flowering"` + "\n" + exitHelp
}

// Run prints the advice.
func (c *seedCmd) Run(e *env) error {
	b, err := c.open(e, false)
	if err != nil {
		return err
	}
	defer b.Close()
	in, err := seedInput(e, b, c.Harvest)
	if err != nil {
		return err
	}
	if c.Species != "" {
		in.Species = c.Species
	}
	a := seed.Decide(in)
	if c.JSON {
		return writeJSON(e.out, a)
	}
	for _, s := range a.Sentences {
		fmt.Fprintln(e.out, s)
	}
	if a.LacksDistance() {
		fmt.Fprintf(e.out, "Write it down with: offtype book add planting %q isolation_m=METRES\n", c.Harvest)
	}
	for _, same := range seed.Alike(a.Plants) {
		d := same[0]
		var names []string
		for _, x := range same {
			names = append(names, x.Plant)
		}
		fmt.Fprintf(e.out, "\n%s: %s\n", record.NamedPlants(names, record.NamedAtMost), d.Fit)
		for _, r := range d.Reasons {
			fmt.Fprintf(e.out, "  – %s\n", r)
		}
		if len(same) > 1 {
			fmt.Fprintf(e.out, "  each: %s\n", d.Fruits[0].Says())
			continue
		}
		for _, f := range d.FruitWords() {
			fmt.Fprintf(e.out, "  %s\n", f)
		}
	}
	fmt.Fprintln(e.out, "\nKeeping an off-type that you like")
	for _, s := range a.Liked {
		fmt.Fprintln(e.out, "  "+s)
	}
	fmt.Fprintln(e.out, "\nTake care")
	for _, s := range a.Cautions {
		fmt.Fprintln(e.out, "  "+s)
	}
	return nil
}

// seedInput gathers what the book knows of the harvest's plants.
func seedInput(e *env, b *book.Book, harvest string) (seed.Input, error) {
	h, err := b.Harvest(e.ctx, harvest)
	if err != nil {
		return seed.Input{}, err
	}
	run, err := b.LoadRunWith(e.ctx, harvest, book.LoadOptions{NoOutlines: true})
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
