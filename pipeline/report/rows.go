package report

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"offtype/cluster/reference"
	"offtype/pipeline/record"
)

func (b *builder) fruitRow(f *record.Fruit) fruitView {
	v := fruitView{Photo: f.Photo, Number: f.Number, Plant: f.Plant, Length: plusMinus(f.Length), Width: plusMinus(f.Width), Ratio: record.Fixed(f.Ratio.V, 2),
		Shape: strings.Join(f.ShapeWords, ", "), Colour: f.SkinWords, Pattern: f.Pattern}
	if m, ok := b.member[f.Key()]; ok {
		v.Group = fmt.Sprint(m.Group)
		if m.Unsure && !m.Unplaced(b.run.GroupCount()) {
			v.Group += fmt.Sprintf(" (%.0f %%)", 100*m.Membership)
		}
	}
	for _, c := range []*record.Lab{f.Skin, f.Second} {
		if c != nil {
			v.Swatches = append(v.Swatches, template.CSS(c.Hex()))
		}
	}
	if f.Skin != nil {
		l := b.opt.White.Of(*f.Skin)
		v.Colour = strings.TrimSpace(fmt.Sprintf("%s L %.0f a %.0f b %.0f (%s)", v.Colour, l.L, l.A, l.B, b.opt.White))
	}
	if v.Pattern != "" && f.SecondShare.Ok() && f.Second != nil {
		v.Pattern += fmt.Sprintf(", %.0f %%", 100*f.SecondShare.V)
	}
	if d, ok := b.verdict[f.Key()]; ok && b.run.Judgement.Variety != nil {
		v.Verdict, v.Reasons = string(d.Verdict), against(d.Reasons)
		v.Mark, v.VerdictClass = d.Verdict.Mark()
	}
	var notes []string
	if f.Unsure {
		notes = append(notes, "outline not sure")
	}
	if f.Unscaled {
		notes = append(notes, b.page.T.UnscaledNote)
	}
	v.Notes = strings.Join(append(notes, f.NotesInWords()...), "; ")
	return v
}

// against leaves out that nothing speaks against a fruit or plant: its verdict says so, and in a table of many
// the sentence only hides the others.
func against(reasons []string) []string {
	if len(reasons) == 1 && reasons[0] == reference.NothingAgainst {
		return nil
	}
	return reasons
}

func plusMinus(v record.Value) string {
	if !v.Ok() {
		return ""
	}
	if math.IsNaN(v.U) {
		return fmt.Sprintf("%.0f", v.V)
	}
	return fmt.Sprintf("%.0f ± %.0f", v.V, math.Max(1, math.Round(v.U)))
}

func (b *builder) tables() {
	for _, p := range b.run.Photos {
		row := []string{p.Name, string(p.Status), "", "", "", "", "", "", short(p.SHA256)}
		if p.Status == record.StatusOK {
			var cards []string
			for _, c := range p.Cards {
				cards = append(cards, fmt.Sprint(c))
			}
			scale, height := "–", "–"
			if p.MMPerPx > 0 {
				scale, height = record.Fixed(p.MMPerPx, 3), record.Fixed(p.HeightMM/10, 0)+" cm"
			}
			row = []string{p.Name, string(p.Status), strings.Join(cards, ", "), scale, byCard(&p, p.TiltDeg, 0, "°"),
				height, byCard(&p, p.CardResidual, 2, ""), byCard(&p, p.ColourDE00, 1, ""), short(p.SHA256)}
		}
		b.page.PhotoRows = append(b.page.PhotoRows, row)
	}
}

// byCard writes a number that a photo's card tells; 0 without a card means not known.
func byCard(p *record.Photo, v float64, decimals int, unit string) string {
	if v == 0 && len(p.Cards) == 0 {
		return "–"
	}
	return record.Fixed(v, decimals) + unit
}

func short(sha string) string {
	if len(sha) > 16 {
		return sha[:16] + "…"
	}
	return sha
}
