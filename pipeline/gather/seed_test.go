package gather

import (
	"testing"

	"offtype/pipeline/book"
	"offtype/pipeline/record"
)

// TestBitterOfPlantAndGroup: a bitter plant or group makes each of its fruit bitter, and a later "no"
// for one fruit does not undo it.
func TestBitterOfPlantAndGroup(t *testing.T) {
	run := &record.Run{}
	for i, plant := range []string{"1", "2", "3", ""} {
		f := record.Fruit{Photo: "a.jpg", Number: i + 1, Plant: plant}
		run.Fruits = append(run.Fruits, f)
		run.Groups = append(run.Groups, record.Membership{Key: f.Key(), Plant: plant, Group: i + 1})
	}
	h := &book.Harvest{Observations: []book.Observation{
		{Plant: "1", Trait: "bitter", Words: "yes"},
		{Photo: "a.jpg", Fruit: 1, Trait: "bitter", Words: "no"},
		{Group: 3, Trait: "bitter", Words: "yes"},
		{Plant: "2", Trait: "taste", Words: "yes"},
	}}
	got := seedFruits(h, run)
	for plant, want := range map[string]string{"1": "yes", "2": "", "3": "yes"} {
		if len(got[plant]) != 1 || got[plant][0].Bitter != want {
			t.Errorf("plant %s: %+v, want bitter %q", plant, got[plant], want)
		}
	}
	h.Observations = []book.Observation{{Photo: "a.jpg", Fruit: 4, Trait: "bitter", Words: "yes", Lost: "gone"}}
	for i := range run.Fruits {
		if bitterFruit(h, run)(&run.Fruits[i]) {
			t.Errorf("fruit %d is bitter by a lost observation", i+1)
		}
	}
}
