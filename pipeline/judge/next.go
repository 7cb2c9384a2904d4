package judge

import "offtype/pipeline/record"

// Next says what to do with a harvest now that it is judged: what to set apart, eat, compost, keep seed of and tell the
// supplier. It points at the cautions and loosens none of them: no step calls a fruit fit to eat or a plant fit for seed.
func Next(run *record.Run) []record.Step {
	if len(run.Fruits) == 0 {
		return nil
	}
	j := &run.Judgement
	if j.Variety == nil {
		return []record.Step{
			{About: "Describe", Text: "Describe the variety and judge again: without a description nothing can be called off-type, and the largest group need not be the variety.", Command: "offtype describe"},
			{About: "Eat", Text: "Eat, feed, sell or give away nothing that looks different before you have read the cautions."},
		}
	}
	off, doubtful, _ := findings(run)
	var out []record.Step
	plants := j.PlantsWith(record.OffType)
	one, many := record.Items(j.Variety.Species)
	root := record.IsRoot(j.Variety.Species)
	which := "the off-type " + many
	if len(plants) > 0 {
		which = "the " + many + " of " + record.NamedPlants(plants, record.NamedAtMost)
	}
	if off {
		text := "Put " + which + " in a place of their own, each with its tag, and look at them again. Was a tag mixed up? Are they unripe, sick or sunburnt? Do the leaves and the growth of the plant differ too?"
		if root {
			text = "Put " + which + " in a place of their own and look at them again. Did some of another row or bed get among them? Are they small for want of room, sick or damaged? Do the leaves differ too?"
		}
		out = append(out, record.Step{About: "Set apart", Text: text})
	}
	if doubtful {
		text := "Look again at what is doubtful. Photograph it once more, lying on its side, well in the middle of the photo."
		if d := j.PlantsWith(record.Doubtful); len(d) > 0 {
			text = "Look again at " + record.NamedPlants(d, record.NamedAtMost) + ". Photograph the " + many + " once more, lying on their sides, well in the middle of the photo"
			if !root { // of a root the plant has one
				text += ", and more fruit of the same plants if there are any"
			}
			text += "."
		}
		out = append(out, record.Step{About: "Look again", Text: text})
	}
	switch {
	case root && (off || doubtful):
		out = append(out, eat(j.Variety.Species),
			record.Step{About: "Seed", Text: "Plant none that is off-type or doubtful again for seed. Find out which are fit before you store them.", Command: "offtype seed"})
	case root:
		out = append(out, record.Step{About: "Seed", Text: "Find out which roots or bulbs are fit to be planted again for seed before you store them.", Command: "offtype seed"})
	case off || doubtful:
		out = append(out, eat(j.Variety.Species),
			record.Step{About: "Compost", Text: "Take the seeds out of off-type fruit first. Pull what comes up from the compost next year before it flowers."},
			record.Step{About: "Seed", Text: "Keep no seed of off-type plants. True plants that flowered beside them can hold crossed seed too: find out which are fit before you cut a fruit for seed.", Command: "offtype seed"})
	default:
		out = append(out, record.Step{About: "Seed", Text: "Fruit that look true can still hold crossed seed. Find out which plants are fit before you cut a fruit for seed.", Command: "offtype seed"})
	}
	if off {
		out = append(out, record.Step{About: "Supplier", Text: "When you have looked again and it holds, and you bought the seed: tell the supplier early. Send the measurement report with the photos. Keep one whole " + one + " of each type, the packet with its lot number and all leftover seed.", Command: "offtype report"})
	}
	return append(out, record.Step{About: "Next sowing", Text: "Plan enough plants that a bad lot shows, and a few control plants of seed you trust.", Command: "offtype plan"})
}

// eat is the step before anything doubtful goes to the kitchen.
func eat(species string) record.Step {
	if record.CanBeBitter(species) {
		return record.Step{About: "Eat", Text: "Cook no off-type or doubtful fruit before you have tested that very fruit as the cautions say: it can be bitter and poisonous, and a photo cannot tell. Children do not taste. Do not feed, sell or give it away."}
	}
	one, _ := record.Items(species)
	text := "A photo cannot tell whether a strange " + one + " is good to eat. If you do not know what it is, do not eat, feed, sell or give it away."
	if own := record.OwnCaution(species); own != "" {
		text += " " + own
	}
	return record.Step{About: "Eat", Text: text}
}
