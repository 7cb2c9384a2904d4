package record

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// FruitColumns is the header of fruits.csv. The first 29 are fixed; more are only ever added
// at the end.
var FruitColumns = []string{
	"photo", "fruit", "plant", "x_px", "y_px", "pose", "length_mm", "length_u_mm", "width_mm", "width_u_mm",
	"ratio", "midline_mm", "bend_deg", "broadest_at", "volume_cm3", "skin_l", "skin_a", "skin_b",
	"second_l", "second_a", "second_b", "second_share", "pattern", "ribs", "groove_depth", "notes",
	"neck", "taper", "stripes", "stalk_mm", "skin_u_de00", "second_u_de00", "skin_words", "shape_words", "confidence", "unsure",
}

// PhotoColumns is the header of photos.csv.
var PhotoColumns = []string{
	"photo", "status", "fruits", "cards", "mm_per_px", "tilt_deg", "camera_height_mm", "focal_px", "focal_from",
	"card_residual_px", "colour_residual_de00", "message", "sha256", "taken", "notes",
	"colour_before_de00",
}

// GroupColumns is the header of groups.csv.
var GroupColumns = []string{"photo", "fruit", "plant", "group", "membership", "unsure", "alone"}

// Fixed writes v with d decimals; NaN and infinities become empty (not measured), and −0 is 0.
func Fixed(v float64, d int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return ""
	}
	s := strconv.FormatFloat(v, 'f', d, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return s
}

// Guard puts an apostrophe before text that a spreadsheet would run as a formula.
func Guard(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}

func labCells(c *Lab) []string {
	if c == nil {
		return []string{"", "", ""}
	}
	return []string{Fixed(c.L, 2), Fixed(c.A, 2), Fixed(c.B, 2)}
}

func labU(c *Lab) string {
	if c == nil || c.U == 0 {
		return ""
	}
	return Fixed(c.U, 2)
}

func bit(b bool) string {
	if b {
		return "1"
	}
	return "0"
}

// Row returns the fruit's cells in the order of FruitColumns.
func (f *Fruit) Row() []string {
	if f.Unscaled {
		g := *f
		none := None()
		g.Length, g.Width, g.Midline, g.Volume, g.StalkLength, g.Skin, g.Second, g.Unscaled = none, none, none, none, none, nil, nil, false
		return g.Row()
	}
	ribs := ""
	if f.Ribs >= 0 {
		ribs = strconv.Itoa(f.Ribs)
	}
	c := []string{
		Guard(f.Photo), strconv.Itoa(f.Number), Guard(f.Plant), Fixed(f.X, 1), Fixed(f.Y, 1), string(f.Pose),
		Fixed(f.Length.V, 1), Fixed(f.Length.U, 1), Fixed(f.Width.V, 1), Fixed(f.Width.U, 1),
		Fixed(f.Ratio.V, 3), Fixed(f.Midline.V, 1), Fixed(f.Bend.V, 1), Fixed(f.BroadestAt.V, 3), Fixed(f.Volume.V, 0),
	}
	c = append(c, labCells(f.Skin)...)
	c = append(c, labCells(f.Second)...)
	c = append(c, Fixed(f.SecondShare.V, 3), f.Pattern, ribs, Fixed(f.GrooveDepth.V, 3), strings.Join(f.Notes, ";"))
	return append(c, Fixed(f.Neck.V, 3), Fixed(f.Taper.V, 3), strconv.Itoa(f.Stripes), Fixed(f.StalkLength.V, 1),
		labU(f.Skin), labU(f.Second), f.SkinWords, strings.Join(f.ShapeWords, ";"), Fixed(f.Confidence, 3), bit(f.Unsure))
}

func writeTable[T any](w io.Writer, header []string, rows []T, cells func(*T) []string) error {
	c := csv.NewWriter(w)
	if err := c.Write(header); err != nil {
		return err
	}
	for i := range rows {
		if err := c.Write(cells(&rows[i])); err != nil {
			return err
		}
	}
	c.Flush()
	return c.Error()
}

// WriteFruitViews writes fruits.csv with the further column `views`, the last: the number of photos used.
func WriteFruitViews(w io.Writer, fs []Fruit, white White) error {
	return writeTable(w, append(fruitHeader(white), "views"), fs, func(f *Fruit) []string {
		return append(append(f.Row(), f.whiteCells(white)...), strconv.Itoa(f.Views))
	})
}

// WriteFruits writes fruits.csv; with white D50 the colours stand in D50Columns too.
func WriteFruits(w io.Writer, fs []Fruit, white White) error {
	return writeTable(w, fruitHeader(white), fs, func(f *Fruit) []string { return append(f.Row(), f.whiteCells(white)...) })
}

func fruitHeader(white White) []string {
	h := slices.Clone(FruitColumns)
	if white == D50 {
		h = append(h, D50Columns...)
	}
	return h
}

// WritePhotos writes photos.csv.
func WritePhotos(w io.Writer, ps []Photo) error {
	return writeTable(w, PhotoColumns, ps, func(p *Photo) []string {
		cards := make([]string, len(p.Cards))
		for i, n := range p.Cards {
			cards[i] = strconv.Itoa(n)
		}
		ok := func(v float64, d int) string {
			if p.Status != StatusOK || (v == 0 && len(p.Cards) == 0) { // nothing is known without a card
				return ""
			}
			return Fixed(v, d)
		}
		from := p.FocalFrom
		if p.Status != StatusOK {
			from = ""
		}
		return []string{
			Guard(p.Name), string(p.Status), strconv.Itoa(p.Fruits), strings.Join(cards, ";"), ok(p.MMPerPx, 4), ok(p.TiltDeg, 1),
			ok(p.HeightMM, 0), ok(p.FocalPx, 1), from, ok(p.CardResidual, 3), ok(p.ColourDE00, 2), Guard(p.Message),
			p.SHA256, p.Taken, strings.Join(p.Notes, ";"), ok(p.ColourBefore, 2),
		}
	})
}

// WriteGroups writes groups.csv.
func WriteGroups(w io.Writer, ms []Membership) error {
	return writeTable(w, GroupColumns, ms, func(m *Membership) []string {
		return []string{
			Guard(m.Photo), strconv.Itoa(m.Number), Guard(m.Plant), strconv.Itoa(m.Group), Fixed(m.Membership, 3),
			bit(m.Unsure), bit(m.Alone),
		}
	})
}

// WriteJudgement writes judgement.json, indented.
func WriteJudgement(w io.Writer, j *Judgement) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", " ")
	return e.Encode(j)
}

// ReadFruits reads a table with the columns of fruits.csv, in any order. `photo` and `fruit` may
// be missing (then the rows are numbered); every other column may be missing or empty, which
// means not measured. An error names the row and the column.
func ReadFruits(r io.Reader) ([]Fruit, error) {
	c := csv.NewReader(r)
	c.FieldsPerRecord = -1
	head, err := c.Read()
	if err != nil {
		return nil, fmt.Errorf("no header line: %w; the first line must name the columns, as in fruits.csv", err)
	}
	col := map[string]int{}
	for i, h := range head {
		h = strings.TrimSpace(strings.ToLower(strings.TrimPrefix(h, "\ufeff")))
		if _, twice := col[h]; twice && h != "" {
			return nil, fmt.Errorf("column %q stands twice in the header; name each column once", h)
		}
		col[h] = i
	}
	known := 0
	for _, h := range FruitColumns {
		if _, ok := col[h]; ok {
			known++
		}
	}
	if known == 0 {
		if strings.ContainsFunc(strings.Join(head, ""), func(r rune) bool { return !unicode.IsPrint(r) }) {
			return nil, errors.New("it is no table; it may be a picture or another kind of file")
		}
		first := []rune(strings.Join(head, ","))
		return nil, fmt.Errorf("no known column in the first line %q; use the names of fruits.csv, such as length_mm and width_mm", string(first[:min(len(first), 60)]))
	}
	var out []Fruit
	seen := map[Key]int{}
	for line := 2; ; line++ {
		cells, err := c.Read()
		if err == io.EOF {
			return out, nil
		}
		if err != nil {
			return nil, fmt.Errorf("row %d: %w", line, err)
		}
		f, err := readFruit(cells, col, len(out)+1)
		if err != nil {
			return nil, fmt.Errorf("row %d: %w", line, err)
		}
		if was, twice := seen[f.Key()]; twice {
			return nil, fmt.Errorf("row %d: fruit %d of photo %q stands in row %d already; give each fruit its own number", line, f.Number, f.Photo, was)
		}
		seen[f.Key()] = line
		out = append(out, f)
	}
}
