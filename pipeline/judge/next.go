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
	which := "the off-type fruit"
	if len(plants) > 0 {
		which = "the fruit of " + record.NamedPlants(plants, record.NamedAtMost)
	}
	if off {
		out = append(out, record.Step{About: "Set apart", Text: "Put " + which + " in a place of their own, each with its tag, and look at them again. Was a tag mixed up? Are they unripe, sick or sunburnt? Do the leaves and the growth of the plant differ too?"})
	}
	if doubtful {
		text := "Look again at what is doubtful. Photograph it once more, lying on its side, well in the middle of the photo."
		if d := j.PlantsWith(record.Doubtful); len(d) > 0 {
			text = "Look again at " + record.NamedPlants(d, record.NamedAtMost) + ". Photograph the fruit once more, lying on their sides, well in the middle of the photo, and more fruit of the same plants if there are any."
		}
		out = append(out, record.Step{About: "Look again", Text: text})
	}
	switch root := record.IsRoot(j.Variety.Species); {
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
		out = append(out, record.Step{About: "Supplier", Text: "When you have looked again and it holds, and you bought the seed: tell the supplier early. Send the measurement report with the photos. Keep one whole fruit of each type, the packet with its lot number and all leftover seed.", Command: "offtype report"})
	}
	return append(out, record.Step{About: "Next sowing", Text: "Plan enough plants that a bad lot shows, and a few control plants of seed you trust.", Command: "offtype plan"})
}

// eat is the step before anything doubtful goes to the kitchen.
func eat(species string) record.Step {
	if record.CanBeBitter(species) {
		return record.Step{About: "Eat", Text: "Cook no off-type or doubtful fruit before you have tested that very fruit as the cautions say: it can be bitter and poisonous, and a photo cannot tell. Children do not taste. Do not feed, sell or give it away."}
	}
	text := "A photo cannot tell whether a strange fruit is good to eat. If you do not know what it is, do not eat, feed, sell or give it away."
	if own := record.OwnCaution(species); own != "" {
		text += " " + own
	}
	return record.Step{About: "Eat", Text: text}
}
