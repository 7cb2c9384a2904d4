package record

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"offtype/pipeline/exchange"
)

// ReadFruits reads a table with the columns of fruits.csv, in any order. `photo` and `fruit` may
// be missing (then the rows are numbered); every other column may be missing or empty, which
// means not measured. Semicolons or tabs may stand between the cells, and decimal commas in them;
// rows of empty cells are passed over. An error names the row and the column.
func ReadFruits(r io.Reader) ([]Fruit, error) {
	rows, err := exchange.RawCSV(r)
	if err != nil {
		return nil, err
	}
	if len(rows) == 0 {
		return nil, errors.New("no header line; the first line must name the columns, as in fruits.csv")
	}
	col, err := columnsOf(rows[0])
	if err != nil {
		return nil, err
	}
	var out []Fruit
	seen := map[Key]int{}
	for n, cells := range rows[1:] {
		row := n + 2
		if strings.TrimSpace(strings.Join(cells, "")) == "" {
			continue
		}
		if len(cells) > len(rows[0]) {
			return nil, fmt.Errorf("row %d: %d cells, the first line names %d columns; put cells that hold a comma in quotation marks", row, len(cells), len(rows[0]))
		}
		f, err := readFruit(cells, col, len(out)+1)
		if err != nil {
			return nil, fmt.Errorf("row %d: %w", row, err)
		}
		if was, twice := seen[f.Key()]; twice {
			return nil, fmt.Errorf("row %d: fruit %d of photo %q stands in row %d already; give each fruit its own number", row, f.Number, f.Photo, was)
		}
		seen[f.Key()] = row
		out = append(out, f)
	}
	return out, nil
}

// columnsOf gives the place of each column by its name, in lower case. One at least must be known.
func columnsOf(head []string) (map[string]int, error) {
	col := map[string]int{}
	for i, h := range head {
		h = strings.TrimSpace(strings.ToLower(h))
		if _, twice := col[h]; twice && h != "" {
			return nil, fmt.Errorf("column %q stands twice in the header; name each column once", h)
		}
		col[h] = i
	}
	for _, h := range FruitColumns {
		if _, ok := col[h]; ok {
			return col, nil
		}
	}
	first := []rune(strings.Join(head, ","))
	return nil, fmt.Errorf("no known column in the first line %q; use the names of fruits.csv, such as length_mm and width_mm", string(first[:min(len(first), 60)]))
}

// ReadGroups reads groups.csv. An error names the row.
func ReadGroups(r io.Reader) ([]Membership, error) {
	rows, err := exchange.RawCSV(r)
	if err != nil {
		return nil, err
	}
	if len(rows) == 0 || len(rows[0]) < len(GroupColumns) {
		return nil, errors.New("the header line is not that of groups.csv; run again")
	}
	var out []Membership
	for n, c := range rows[1:] {
		if len(c) != len(rows[0]) {
			return nil, fmt.Errorf("row %d: %d cells, want %d; run again", n+2, len(c), len(rows[0]))
		}
		g := Membership{Key: Key{Photo: c[0]}, Plant: c[2], Unsure: c[5] == "1", Alone: c[6] == "1", Membership: math.NaN()}
		if g.Number, err = strconv.Atoi(c[1]); err != nil {
			return nil, fmt.Errorf("row %d: fruit %q is not a number", n+2, c[1])
		}
		if g.Group, err = strconv.Atoi(c[3]); err != nil {
			return nil, fmt.Errorf("row %d: group %q is not a number", n+2, c[3])
		}
		if c[4] != "" {
			if g.Membership, err = strconv.ParseFloat(c[4], 64); err != nil {
				return nil, fmt.Errorf("row %d: membership %q is not a number", n+2, c[4])
			}
		}
		out = append(out, g)
	}
	return out, nil
}

// rowReader picks cells by column name and keeps the first error.
type rowReader struct {
	cells []string
	col   map[string]int
	err   error
}

func (r *rowReader) text(name string) string {
	i, ok := r.col[name]
	if !ok || i >= len(r.cells) {
		return ""
	}
	return strings.TrimSpace(r.cells[i])
}

// num reads a number within [lo, hi]; empty gives NaN.
func (r *rowReader) num(name string, lo, hi float64) float64 {
	s := r.text(name)
	if s == "" {
		return math.NaN()
	}
	v, err := exchange.ParseNumber(s)
	if err != nil {
		r.fail("column %s: %w; leave it empty when not measured", name, err)
		return math.NaN()
	}
	if v < lo || v > hi {
		r.fail("column %s: %v is outside %v to %v; check the unit", name, v, lo, hi)
	}
	return v
}

func (r *rowReader) fail(format string, a ...any) {
	if r.err == nil {
		r.err = fmt.Errorf(format, a...)
	}
}

func (r *rowReader) value(name, uname string, lo, hi float64) Value {
	v := Value{r.num(name, lo, hi), math.NaN()}
	if uname != "" {
		v.U = r.num(uname, 0, hi)
	}
	return v
}

func (r *rowReader) lab(prefix string) *Lab {
	c := Lab{L: r.num(prefix+"_l", 0, 100), A: r.num(prefix+"_a", -150, 150), B: r.num(prefix+"_b", -150, 150)}
	if u := r.num(prefix+"_u_de00", 0, 100); !math.IsNaN(u) {
		c.U = u
	}
	n := 0
	for _, v := range []float64{c.L, c.A, c.B} {
		if math.IsNaN(v) {
			n++
		}
	}
	if n == 3 {
		return nil
	}
	if n > 0 {
		r.fail("columns %s_l, %s_a, %s_b: give all three or none", prefix, prefix, prefix)
		return nil
	}
	return &c
}

// readFruit turns one row into a Fruit. n numbers it when there is no `fruit` column.
func readFruit(cells []string, col map[string]int, n int) (Fruit, error) {
	r := &rowReader{cells: cells, col: col}
	const most = 5000 // mm: no garden fruit is longer
	f := Fruit{
		Photo: r.text("photo"), Plant: r.text("plant"), X: r.num("x_px", 0, 1e6), Y: r.num("y_px", 0, 1e6), Number: n,
		Length: r.value("length_mm", "length_u_mm", 0.1, most), Width: r.value("width_mm", "width_u_mm", 0.1, most),
		Ratio: r.value("ratio", "", 0.01, 100), Midline: r.value("midline_mm", "", 0.1, 2*most), Bend: r.value("bend_deg", "", -720, 720),
		BroadestAt: r.value("broadest_at", "", 0, 1), Volume: r.value("volume_cm3", "", 0, 2e6), Skin: r.lab("skin"), Second: r.lab("second"),
		SecondShare: r.value("second_share", "", 0, 1), Pattern: r.text("pattern"), Ribs: -1, GrooveDepth: r.value("groove_depth", "", 0, 1),
		Neck: r.value("neck", "", 0, 1.001), Taper: r.value("taper", "", -10, 10), StalkLength: r.value("stalk_mm", "", 0, most),
		Roughness: None(), Lopsided: None(), SkinWords: r.text("skin_words"), Confidence: 1,
	}
	if s := r.text("fruit"); s != "" {
		k, err := strconv.Atoi(s)
		if err != nil || k < 1 {
			r.fail("column fruit: %q is not a whole number of 1 or more", s)
		}
		f.Number = k
	}
	if v := r.num("ribs", 0, 100); !math.IsNaN(v) {
		f.Ribs = int(v)
	}
	if v := r.num("stripes", 0, 1000); !math.IsNaN(v) {
		f.Stripes = int(v)
	}
	if v := r.num("confidence", 0, 1); !math.IsNaN(v) {
		f.Confidence = v
	}
	f.Unsure = r.text("unsure") == "1"
	switch p := r.text("pose"); p {
	case "", string(Side):
		f.Pose = Side
	case string(Upright), string(Unclear):
		f.Pose = Pose(p)
	default:
		r.fail("column pose: %q is not side, upright or unclear", p)
	}
	switch f.Pattern {
	case "", "none", "stripes", "bands", "patches", "dots", "mottled":
	default:
		r.fail("column pattern: %q is not none, stripes, bands, patches, dots or mottled", f.Pattern)
	}
	if s := r.text("notes"); s != "" {
		f.Notes = strings.Split(s, ";")
	}
	if s := r.text("shape_words"); s != "" {
		f.ShapeWords = strings.Split(s, ";")
	}
	if !f.Ratio.Ok() && f.Length.Ok() && f.Width.Ok() {
		f.Ratio.V = f.Length.V / f.Width.V
	}
	return f, r.err
}
