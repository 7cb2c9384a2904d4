package record

import (
	"encoding/csv"
	"encoding/json"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"offtype/pipeline/exchange"
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
	f = f.Known()
	ribs := ""
	if f.Ribs >= 0 {
		ribs = strconv.Itoa(f.Ribs)
	}
	c := []string{
		exchange.Guard(f.Photo), strconv.Itoa(f.Number), exchange.Guard(f.Plant), Fixed(f.X, 1), Fixed(f.Y, 1), string(f.Pose),
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
			exchange.Guard(p.Name), string(p.Status), strconv.Itoa(p.Fruits), strings.Join(cards, ";"), ok(p.MMPerPx, 4), ok(p.TiltDeg, 1),
			ok(p.HeightMM, 0), ok(p.FocalPx, 1), from, ok(p.CardResidual, 3), ok(p.ColourDE00, 2), exchange.Guard(p.Message),
			p.SHA256, p.Taken, strings.Join(p.Notes, ";"), ok(p.ColourBefore, 2),
		}
	})
}

// WriteGroups writes groups.csv.
func WriteGroups(w io.Writer, ms []Membership) error {
	return writeTable(w, GroupColumns, ms, func(m *Membership) []string {
		return []string{
			exchange.Guard(m.Photo), strconv.Itoa(m.Number), exchange.Guard(m.Plant), strconv.Itoa(m.Group), Fixed(m.Membership, 3),
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
