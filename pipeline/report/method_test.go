package report

import (
	"image"
	"os"
	"strings"
	"testing"

	"offtype/pipeline/record"
)

// The report does not speak of a card where there was none.
func TestMethodSaysWhatGaveTheScale(t *testing.T) {
	for _, c := range []struct {
		name      string
		run       record.Run
		want, not string
	}{
		{"card", record.Run{Photos: []record.Photo{{Cards: []int{0}}}, Fruits: []record.Fruit{{}}}, "printed scale card", "coin"},
		{"coin", record.Run{Photos: []record.Photo{{}}, Fruits: []record.Fruit{{Notes: []string{"scale-from-coin"}}}}, "a coin or a line", "printed scale card"},
		{"none", record.Run{Photos: []record.Photo{{}}, Fruits: []record.Fruit{{Notes: []string{"no-scale"}}}}, "shapes and patterns only", "printed scale card"},
		{"table", record.Run{Fruits: []record.Fruit{{}}}, "come from a table", "outlined"},
		{"some of each", record.Run{Photos: []record.Photo{{Cards: []int{1}}, {}}, Fruits: []record.Fruit{{}, {Notes: []string{"scale-from-line"}}}}, "doubtful. Each fruit is outlined", "table, not"},
	} {
		got := methodText(&c.run, &english)
		if all := strings.Join(got, " "); !strings.Contains(all, c.want) || strings.Contains(got[0], c.not) {
			t.Errorf("%s: %q", c.name, got[0])
		}
	}
	if strings.Contains(english.MethodText[0], "card") {
		t.Error("the words for all reports were changed")
	}
}

// A table of fruit without photos has no pictures to explain.
func TestNoPicturesNoWordsOnThem(t *testing.T) {
	s := synthetic(9)
	for _, photos := range []bool{true, false} {
		d := s.doc()
		if !photos {
			d.Load = func(string) (image.Image, float64, []record.Fruit, error) { return nil, 0, nil, nil }
			d.Run.Photos = nil
			for i := range d.Run.Fruits {
				d.Run.Fruits[i].Outline = nil
			}
		}
		_, page := write(t, "no-pictures", d)
		b, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		for _, say := range []string{"Cut-outs are stretched", "The dimension lines show"} {
			if strings.Contains(string(b), say) != photos {
				t.Errorf("photos %v: %q", photos, say)
			}
		}
	}
}
