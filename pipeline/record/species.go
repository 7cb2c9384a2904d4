package record

import (
	"slices"
	"strings"
	"unicode"
)

// cucurbits are the genera whose off-types can be bitter, and plain words for their crops.
var cucurbits = []string{"cucurbit", "cucumis", "lagenaria", "citrullus", "luffa", "momordica", "sicana", "benincasa", "trichosanthes", "sechium", "coccinia", "cyclanthera",
	"squash", "pumpkin", "gourd", "melon", "cucumber", "courgette", "zucchini", "marrow"}

// roots are the genera, and plain words for their crops, whose roots or bulbs are harvested before the plant flowers.
var roots = []string{"allium", "onion", "onions", "shallot", "shallots", "leek", "leeks", "daucus", "carrot", "carrots", "beta", "beet", "beetroot", "beets", "pastinaca", "parsnip", "parsnips",
	"apium", "celeriac", "raphanus", "radish", "radishes", "turnip", "turnips", "swede", "swedes", "rutabaga", "kohlrabi", "scorzonera", "salsify"}

// others are further genera and words of crops that are no cucurbits.
var others = []string{"capsicum", "pepper", "peppers", "chilli", "chillies", "chili", "chilies", "paprika", "solanum", "lycopersicon", "tomato", "tomatoes", "potato", "potatoes", "aubergine", "aubergines", "eggplant", "eggplants",
	"physalis", "phaseolus", "bean", "beans", "vicia", "pisum", "pea", "peas", "brassica", "cabbage", "zea", "maize", "corn", "sweetcorn", "abelmoschus", "okra",
	"malus", "apple", "apples", "pyrus", "pear", "pears", "prunus", "citrus", "fragaria", "strawberry", "strawberries"}

// words are the words of a species or crop, in small letters.
func words(species string) []string {
	return strings.FieldsFunc(strings.ToLower(species), func(r rune) bool { return !unicode.IsLetter(r) })
}

func hasWord(species string, list []string) bool {
	return slices.ContainsFunc(words(species), func(w string) bool { return slices.Contains(list, w) })
}

// CanBeBitter reports whether fruit of a species or crop can hold cucurbitacins, which are bitter and poisonous. Fruit of
// a species that is not known may: an empty one, or one written in a way that no list foresees, such as C. pepo. Every
// text on eating, feeding and seed asks here.
func CanBeBitter(species string) bool {
	return hasCucurbit(species) || !hasWord(species, roots) && !hasWord(species, others)
}

// IsRoot reports whether what is harvested is a root or bulb: the plant itself, dug before it flowered.
func IsRoot(species string) bool { return !hasCucurbit(species) && hasWord(species, roots) }

// Items names one and several of what is harvested of a species or crop: fruit, or roots and bulbs.
func Items(species string) (one, many string) {
	if IsRoot(species) {
		return "root or bulb", "roots or bulbs"
	}
	return "fruit", "fruit"
}

func hasCucurbit(species string) bool {
	s := strings.ReplaceAll(strings.ToLower(species), "melongena", "") // the aubergine is no melon
	return slices.ContainsFunc(cucurbits, func(c string) bool { return strings.Contains(s, c) })
}

// OwnCaution is what to take care of before anyone eats what looks off-type, of crops other than cucurbits; empty where
// nothing is known. Common practice, no source.
func OwnCaution(species string) string {
	if hasCucurbit(species) {
		return ""
	}
	for _, c := range []struct {
		of   []string
		said string
	}{
		{[]string{"capsicum", "pepper", "peppers", "chilli", "chillies", "chili", "chilies", "paprika"},
			"Off-type peppers can be hot, in a sweet variety too, and a photo cannot tell. Cut them with gloves, keep your hands from your eyes, try a very small piece first, and give or sell none untried as sweet."},
		{[]string{"lycopersicon", "lycopersicum", "tomato", "tomatoes"},
			"Unripe green tomatoes hold a poison. Whether an off-type that stays green is ripe a photo cannot tell: eat none that is still hard and green."},
		{[]string{"potato", "potatoes", "tuberosum"}, "Green potatoes are poisonous, off-type or not: do not eat or feed them."},
		{[]string{"phaseolus", "bean", "beans"}, "Beans are poisonous raw, off-type or not: boil them."},
		{[]string{"allium", "onion", "onions", "shallot", "shallots", "leek", "leeks"},
			"Bulbs of garden flowers can look like onions and are poisonous. Do not eat, feed or sell a bulb that does not smell of onion."},
		{[]string{"daucus", "carrot", "carrots", "pastinaca", "parsnip", "parsnips"},
			"Wild plants of this family stand among the crop at times, and some are deadly poisonous. Do not eat, feed or sell a root that does not look, smell and have leaves like the variety's."},
	} {
		if hasWord(species, c.of) {
			return c.said
		}
	}
	return ""
}
