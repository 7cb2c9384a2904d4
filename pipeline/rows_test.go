package pipeline

import (
	"testing"

	"offtype/measure/body"
	"offtype/measure/geom"
	"offtype/pipeline/card"
	"offtype/pipeline/segment"
)

// A fruit that no body fits, cut by the picture's edge or too much hidden, has no scale either where its photo has none.
func TestEveryFruitOfAPhotoWithoutScale(t *testing.T) {
	for _, none := range []bool{true, false} {
		m := &measurer{opt: &Options{NoScale: none}}
		s := &shot{job: &job{}, found: &card.Found{}, bodies: []*body.Body{nil}, fruits: []segment.Fruit{{Number: 1, CutByFrame: true, Outline: []geom.Px{{X: 1}, {Y: 1}, {X: 1, Y: 1}}}}}
		if f := m.outlineRow(s, 0); f.Unscaled != none {
			t.Errorf("no scale %v: the fruit says %v", none, f.Unscaled)
		}
	}
}
