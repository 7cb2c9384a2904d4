package report

import (
	"strings"
	"testing"

	"offtype/pipeline/record"
)

// The wall sheet warns of what the crop can do: cucurbits can be bitter, peppers hot, and a bulb is no fruit that flowered.
func TestSheetsWarnByCrop(t *testing.T) {
	for species, c := range map[string]struct{ wall, bench, not string }{
		"Cucurbita pepo":  {"Bitter fruit are poisonous", "rice grain", "hot"},
		"Capsicum annuum": {"Off-type peppers can be hot", "gloves", "itter"},
		"Allium cepa":     {"Plant no off-type root or bulb again", "smell of onion", "itter"},
		"Malus domestica": {"Do not eat, sell or feed what you do not know", "do not taste", "itter"},
	} {
		d := synthetic(9).doc()
		d.Run.Judgement.Variety = &record.VarietyRef{Name: "V", Species: species, Version: "1"}
		b, err := d.sheet()
		if err != nil {
			t.Fatal(err)
		}
		wall, bench := strings.Join(b.wallCare(), "\n"), b.benchSafety()
		if !strings.Contains(wall, c.wall) || !strings.Contains(bench, c.bench) || strings.Contains(wall+bench, c.not) {
			t.Errorf("%s: %s\n%s", species, wall, bench)
		}
	}
}
