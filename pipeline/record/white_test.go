package record

import (
	"bytes"
	"encoding/csv"
	"math"
	"strings"
	"testing"

	"offtype/pipeline/reftable"
)

// checkColours reads the D65 and D50 columns of srgb_lab_check.csv: sRGB (IEC 61966-2-1) through XYZ to CIELAB under D65
// and, after the linear Bradford transform, under D50; computed outside this program.
func checkColours(t *testing.T) (d65, d50 []Lab) {
	t.Helper()
	_, rows := reftable.Rows(t, "../../testdata/reference/srgb_lab_check.csv")
	for _, row := range rows {
		var v [6]float64
		for i := range v {
			v[i] = reftable.Num(t, row[7+i])
		}
		d65, d50 = append(d65, Lab{L: v[0], A: v[1], B: v[2]}), append(d50, Lab{L: v[3], A: v[4], B: v[5]})
	}
	return d65, d50
}

func TestWhiteAgainstPublishedBradford(t *testing.T) {
	const tol = 2e-5 // the table has six decimals in and out
	d65, d50 := checkColours(t)
	if len(d65) < 10 {
		t.Fatalf("%d colours", len(d65))
	}
	moved := 0.0
	for i, l := range d65 {
		got := D50.Of(l)
		if d := math.Max(math.Abs(got.L-d50[i].L), math.Max(math.Abs(got.A-d50[i].A), math.Abs(got.B-d50[i].B))); d > tol {
			t.Errorf("%v: %v, want %v", l, got, d50[i])
		}
		if got := D65.Of(l); got != l {
			t.Errorf("D65 changed %v to %v", l, got)
		}
		moved = math.Max(moved, math.Abs(got.A-l.A)+math.Abs(got.B-l.B))
	}
	if moved < 3 {
		t.Errorf("the two whites differ by no more than %.1f: the check cannot fail", moved)
	}
}

// TestD50Columns: the fixed columns stay D65, the further ones follow at the end, `views` after them.
func TestD50Columns(t *testing.T) {
	d65, d50 := checkColours(t)
	f := sample()
	k := len(d65) - 1
	f.Skin, f.Second = &d65[k], nil
	for _, views := range []bool{false, true} {
		var b bytes.Buffer
		write := WriteFruits
		want := strings.Join(FruitColumns, ",") + ",skin_l_d50,skin_a_d50,skin_b_d50,second_l_d50,second_a_d50,second_b_d50"
		if views {
			write, want = WriteFruitViews, want+",views"
		}
		if err := write(&b, []Fruit{f}, D50); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(&b).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		if got := strings.Join(rows[0], ","); got != want {
			t.Errorf("header %s", got)
		}
		at := map[string]string{}
		for i, h := range rows[0] {
			at[h] = rows[1][i]
		}
		for h, v := range map[string]float64{"skin_l": d65[k].L, "skin_a": d65[k].A, "skin_b": d65[k].B, "skin_l_d50": d50[k].L, "skin_a_d50": d50[k].A, "skin_b_d50": d50[k].B} {
			if at[h] != Fixed(v, 2) {
				t.Errorf("%s is %s, want %s", h, at[h], Fixed(v, 2))
			}
		}
		if at["second_l_d50"] != "" {
			t.Errorf("a second colour of %s that is not there", at["second_l_d50"])
		}
		back, err := ReadFruits(strings.NewReader(strings.Join([]string{strings.Join(rows[0], ","), strings.Join(rows[1], ",")}, "\n")))
		if err != nil || len(back) != 1 || math.Abs(back[0].Skin.B-d65[k].B) > 0.01 {
			t.Errorf("read back: %v %v", back, err)
		}
	}
}
