package record

import "offtype/measure/colour"

// White is the white point that colours are shown with, observer 2°. They are measured, stored and compared in D65.
type White string

// The whites. The empty value is D65.
const (
	D65 White = "D65"
	D50 White = "D50"
)

// String returns the white's name.
func (w White) String() string {
	if w == D50 {
		return "D50"
	}
	return "D65"
}

// Of returns l, which is D65, with white w: for D50 adapted by the linear Bradford transform (ICC.1). U stays: a colour
// difference hardly depends on the white.
func (w White) Of(l Lab) Lab {
	if w != D50 {
		return l
	}
	c := colour.D65ToD50(colour.Lab{L: l.L, A: l.A, B: l.B})
	return Lab{L: c.L, A: c.A, B: c.B, U: l.U}
}

// D50Columns follow those of FruitColumns when D50 is asked for; the fixed columns stay D65.
var D50Columns = []string{"skin_l_d50", "skin_a_d50", "skin_b_d50", "second_l_d50", "second_a_d50", "second_b_d50"}

// whiteCells returns the cells of the columns that w adds.
func (f *Fruit) whiteCells(w White) []string {
	if w != D50 {
		return nil
	}
	var out []string
	f = f.Known()
	for _, c := range []*Lab{f.Skin, f.Second} {
		if c == nil {
			out = append(out, "", "", "")
			continue
		}
		d := w.Of(*c)
		out = append(out, labCells(&d)...)
	}
	return out
}
