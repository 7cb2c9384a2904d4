package record

import (
	"slices"
	"strings"
)

// cucurbits are the genera whose off-types can be bitter, and plain words for their crops.
var cucurbits = []string{"cucurbita", "cucumis", "lagenaria", "citrullus", "luffa", "momordica", "sicana", "benincasa", "trichosanthes",
	"squash", "pumpkin", "gourd", "melon", "cucumber", "courgette", "zucchini", "marrow"}

// CanBeBitter reports whether fruit of a species or crop can hold cucurbitacins, which are bitter and poisonous; fruit
// of a species that is not known (empty) may. Every text on eating, feeding and seed asks here.
func CanBeBitter(species string) bool {
	s := strings.ToLower(strings.TrimSpace(species))
	return s == "" || slices.ContainsFunc(cucurbits, func(c string) bool { return strings.Contains(s, c) })
}
