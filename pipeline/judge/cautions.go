package judge

import (
	"strings"

	"offtype/pipeline/record"
)

// Cautions returns the sentences that belong under the findings of a run, chosen by the species of
// the description (all of them where it is not known) and by what was found.
//
// Bitterness: ANSES (French agency for food safety), 31 October 2019: ornamental or wild gourds
// crossed into squash give normal-looking, bitter, toxic fruit; cooking does not destroy the toxins;
// 353 people with symptoms were recorded by French poison centres 2012–2016.
func Cautions(run *record.Run) []string {
	species := ""
	if v := run.Judgement.Variety; v != nil {
		species = strings.ToLower(v.Species)
	}
	off, doubtful, kinds := findings(run)
	var out []string
	if record.CanBeBitter(species) {
		out = append(out, bitter(species, off || doubtful || kinds > 1 || run.Judgement.Variety == nil)...)
	}
	if own := record.OwnCaution(species); own != "" && (off || doubtful || kinds > 1) {
		out = append(out, own)
	}
	if off || doubtful || kinds > 1 {
		seed := []string{
			"Keep off-type fruit out of the seed: seed saved from them, or from plants that flowered beside them, may not come true. A wrong cross shows only in the plants grown from the seed, so a clean-looking fruit does not prove that its own seed is clean.",
			"Take the seeds out before composting off-type fruit. Plants that come up from compost or the ground next year can cross into your crop again: pull them before they flower."}
		if record.IsRoot(species) {
			seed = []string{"Plant no off-type root or bulb again for seed, and pull what flowers in its first year. A wrong cross shows only in the plants grown from the seed, so a root that looks true does not prove that its own seed will be clean.",
				"Roots and bulbs can grow on from compost and flower: pull them before they do."}
		}
		out = append(append(out, seed...),
			"What was seen here is evidence, not a legal finding. For a complaint keep the seed packet with its lot number, the receipt, leftover seed, sowing and harvest dates and the number of plants, and follow the seller's terms and your local rules.")
	}
	_, many := record.Items(species)
	out = append(out,
		"Before you save, give away or sell seed, ask about your local law: some varieties are protected, and seed sales are regulated in many countries.",
		"Photos are not a laboratory purity test. They show what "+many+" look like, not what they taste like, whether they are healthy, or who their parents were.")
	if n := judgedPlants(run); n > 0 && n < 20 {
		out = append(out, "Few plants were seen. Read the interval, not the single rate: one plant more or less changes it much.")
	}
	return out
}

// Danger is the warning that goes beside a short result: one line, empty when nothing found can hurt
// anybody. The report has the whole of it (Cautions).
func Danger(run *record.Run) string {
	species := ""
	if v := run.Judgement.Variety; v != nil {
		species = strings.ToLower(v.Species)
	}
	off, doubtful, kinds := findings(run)
	if !(off || doubtful || kinds > 1) {
		return ""
	}
	if !record.CanBeBitter(species) {
		return record.OwnCaution(species)
	}
	if species == "" {
		return "Off-type squash, melons and other cucurbits can be bitter and poisonous, and a photo cannot tell: read the cautions in the report before anyone eats, feeds, sells or keeps seed of them."
	}
	return "Off-type fruit can be bitter and poisonous, and a photo cannot tell: read the cautions in the report before anyone eats, feeds, sells or keeps seed of them."
}

// findings reports whether anything is off-type or doubtful, and the number of groups.
func findings(run *record.Run) (off, doubtful bool, groups int) {
	see := func(v record.Verdict) {
		off = off || v == record.OffType
		doubtful = doubtful || v == record.Doubtful
	}
	for _, f := range run.Judgement.Fruits {
		see(f.Verdict)
	}
	for _, p := range run.Judgement.Plants {
		see(p.Verdict)
	}
	return off, doubtful, len(run.Judgement.Groups)
}

func judgedPlants(run *record.Run) int {
	if l := run.Judgement.Lot; len(run.Judgement.Plants) == 0 && l.Unit == "plant" && l.Rate != nil {
		return l.Seen // counted without tags
	}
	n := 0
	for _, p := range run.Judgement.Plants {
		if p.Verdict.Rests() {
			n++
		}
	}
	return n
}

// bitter are the warnings on bitter, toxic fruit. With found, something off-type may be on the table.
func bitter(species string, found bool) []string {
	where := "squash, pumpkins, gourds, melons and cucumbers"
	if strings.Contains(species, "pepo") {
		where = "this species (Cucurbita pepo), where it happens most, and its relatives"
	}
	head := "Bitter fruit of " + where + " can be poisonous: off-types and seed saved near ornamental gourds can carry cucurbitacins. Cooking does not destroy them, and a photo cannot tell."
	if !found {
		return []string{head + " If any fruit tastes bitter, spit it out and discard it."}
	}
	return []string{
		head,
		"Before cooking an off-type fruit, test that fruit: an adult touches a raw piece the size of a rice grain to the tongue and spits it out. Bitter: rinse the mouth and discard the whole fruit. Test every fruit singly and never mix untested fruit in one pot.",
		"Children do not taste. Do not feed doubtful fruit to animals, do not sell or give it away, and do not save its seed. After eating something bitter with stomach ache or vomiting, call a poison centre or a doctor.",
	}
}
