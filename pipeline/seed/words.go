package seed

import (
	"fmt"
	"slices"
	"strings"

	"offtype/cluster/lot"
	"offtype/pipeline/record"
)

// LacksDistance reports whether a plant could not be decided because nobody wrote down how far the next flowering plant
// of the species stood.
func (a *Advice) LacksDistance() bool {
	return slices.ContainsFunc(a.Plants, func(d Decision) bool { return slices.Contains(d.Reasons, noDistance) })
}

// sum says in sentences how many plants are fit and whether they are enough.
func (a *Advice) sum(fit int, with []string) []string {
	if record.IsRoot(a.Species) {
		return a.sumRoots(fit)
	}
	out := []string{fmt.Sprintf("%d of %d plants with fruit are fit to keep seed of %s from.", fit, len(a.Plants), or(a.Variety, "this variety"))}
	if len(with) > 0 {
		out = append(out, fmt.Sprintf("Off-type, doubtful, bitter or unjudged plants flowered with them: %s. Their pollen reaches true plants too. This year's fruit looks like its mother whoever pollinated it, so that a true fruit can hold crossed seed.", strings.Join(with, ", ")))
	} else if strings.HasPrefix(strings.ToLower(a.Species), "zea") {
		out = append(out, "Husk and cob look like the mother plant whoever pollinated it. A kernel of another colour may show foreign pollen at once; kernels that look right may still be crossed.")
	} else {
		out = append(out, "This year's fruit says nothing about who pollinated it: a fruit looks like its mother plant. Whether seed is true shows only in the plants grown from it.")
	}
	if a.LacksDistance() {
		out = append(out, "How far did the next flowering plant of this species stand, your neighbours' plants included? Write the distance into the book with the planting.")
	}
	c := a.Crop
	if c == nil {
		return append(out, "For this species no published distance or number of plants was read; ask a seed library or your seed authority.")
	}
	out = append(out, c.sentences(fit)...)
	take := "Take seed from several fruit and plants, about the same share of each. "
	if strings.HasPrefix(strings.ToLower(a.Species), "cucurbita") { // read for squash only
		return append(out, take+"Seed goes on ripening in the picked fruit: wait three to four weeks before you cut it.")
	}
	return append(out, take+"Let the fruit ripen fully on the plant.")
}

// sumRoots is sum for roots and bulbs, which bear their seed only after they were planted again. Common practice, no source
// but for the two stages of onion seed (India, minimum seed certification standards).
func (a *Advice) sumRoots(fit int) []string {
	out := []string{
		fmt.Sprintf("%d of %s fit to be planted again for seed of %s.", fit, record.Count(len(a.Plants), "plant is", "plants are"), or(a.Variety, "this variety")),
		"A root or bulb bears no seed yet. Store the true and sound ones, plant them out, and let them flower: what pollinates them then decides about the seed. Choose by the root itself, and leave out what flowered in its first year.",
		"Plants of another type count only if they are let flower: plant none of them again, and pull those that flower by themselves.",
	}
	if a.Crop == nil {
		return append(out, "For this species no published distance or number of plants was read; ask a seed library or your seed authority.")
	}
	return append(out, a.Crop.sentences(fit)...)
}

// sentences says how many plants and what distance were read, the least first, and then once where.
func (c *Crop) sentences(fit int) (out []string) {
	sources, distances := "", []string(nil)
	read := func(fs []Figure) {
		for _, f := range fs {
			if !strings.Contains(sources, f.Source) {
				sources += "; " + f.Source
			}
		}
	}
	if c.MinPlants > 0 {
		s := fmt.Sprintf("Save seed of %s from at least %d plants; %d are fit here.", c.Name, c.MinPlants, fit)
		if fit < c.MinPlants {
			s += " Fewer keep the variety for a while but narrow it."
		}
		out = append(out, s+fmt.Sprintf(" Figures read: %s.", c.Plants[0].Text))
		read(c.Plants)
	}
	for _, f := range c.Isolation {
		distances = append(distances, f.Text)
	}
	if len(distances) > 0 {
		out = append(out, fmt.Sprintf("Distance to the next flowering plant of the species. Figures read: %s.", strings.Join(distances, "; ")))
		read(c.Isolation)
	}
	return append(out, "Where these figures were read: "+strings.TrimPrefix(sources, "; ")+".")
}

// liked explains what it takes to keep an off-type. The numbers are computed: smallest n with
// 1 − (1 − share)^n ≥ 95 %.
func liked(species string) []string {
	q, s := lot.PlantsToSee(0.25, 0.95), lot.PlantsToSee(1.0/16, 0.95)
	pollinate := "Pollinate it with its own pollen, kept from other flowers and insects, and mark the fruit."
	switch {
	case record.CanBeBitter(species):
		pollinate = "Pollinate it with its own pollen: bud shut the evening before, opened for the brush and shut again, and mark the fruit."
	case record.IsRoot(species):
		pollinate = "Plant it again and let it flower alone or among its like, far from others of its species. Many such crops set little seed with their own pollen, and what grows from it can be weak."
	}
	out := []string{
		"An off-type that you like is not yet a variety. " + pollinate,
		fmt.Sprintf("If its look rests on one recessive gene, a quarter of the plants show it again in the generation that splits: grow at least %d plants for a 95 %% chance of seeing one. If it rests on two, one in sixteen does: %d plants.", q, s),
		"Plan room for that many plants each year, keep only those you want, and repeat for several generations. Nobody can promise that it becomes uniform.",
	}
	if record.CanBeBitter(species) {
		out = append(out, "An off-type of squash, melon or cucumber may be bitter. Do not keep it before its flesh and that of its offspring were tried safely.")
	}
	return out
}

func cautions(in Input) []string {
	var out []string
	if record.CanBeBitter(in.Species) {
		out = append(out, "Squash, melon and cucumber crossed with wild or ornamental kinds can be bitter and poisonous, and the bitterness shows in the next generation. Before eating fruit of saved seed, taste a raw piece of a rice grain's size, spit it out, and throw a bitter fruit away. Cooking does not help. Children do not taste.")
	}
	if own := record.OwnCaution(in.Species); own != "" {
		out = append(out, own)
	}
	switch in.Protected {
	case "no":
	case "yes":
		out = append(out, "The variety is protected. Saving, giving away or selling its seed may need the holder's leave; your country's rules decide.")
	default:
		out = append(out, "Some varieties are protected. Whether you may save, give away or sell seed is for your country's rules to say.")
	}
	return append(out, "Verdicts come from photos of fruit. They are not a laboratory or field test of the seed.")
}
