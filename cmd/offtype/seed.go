package main

import (
	"fmt"

	"offtype/pipeline/gather"
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
	in, err := gather.Seed(e.ctx, b, c.Harvest)
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
