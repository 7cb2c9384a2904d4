package report

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"offtype/pipeline/record"
)

func (b *builder) fruitRow(f *record.Fruit) fruitView {
	v := fruitView{Photo: f.Photo, Number: f.Number, Plant: f.Plant, Length: plusMinus(f.Length), Width: plusMinus(f.Width), Ratio: record.Fixed(f.Ratio.V, 2),
		Shape: strings.Join(f.ShapeWords, ", "), Colour: f.SkinWords, Pattern: f.Pattern}
	if m, ok := b.member[f.Key()]; ok {
		v.Group = fmt.Sprint(m.Group)
		if m.Unsure {
			v.Group += fmt.Sprintf(" (%.0f %%)", 100*m.Membership)
		}
	}
	for _, c := range []*record.Lab{f.Skin, f.Second} {
		if c != nil {
			v.Swatches = append(v.Swatches, template.CSS(hex(*c)))
		}
	}
	if f.Skin != nil {
		v.Colour = strings.TrimSpace(fmt.Sprintf("%s L %.0f a %.0f b %.0f", v.Colour, f.Skin.L, f.Skin.A, f.Skin.B))
	}
	if v.Pattern != "" && f.SecondShare.Ok() && f.Second != nil {
		v.Pattern += fmt.Sprintf(", %.0f %%", 100*f.SecondShare.V)
	}
	if d, ok := b.verdict[f.Key()]; ok && b.run.Judgement.Variety != nil {
		v.Verdict, v.Reasons = string(d.Verdict), d.Reasons
		v.Mark, v.VerdictClass = verdictLook(d.Verdict)
	}
	var notes []string
	if f.Unsure {
		notes = append(notes, "outline not sure")
	}
	for _, n := range f.Notes {
		if w, ok := noteWords[n]; ok {
			n = w
		}
		notes = append(notes, strings.ReplaceAll(n, "-", " "))
	}
	v.Notes = strings.Join(notes, "; ")
	return v
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

// hex returns the sRGB colour nearest to c for a swatch (IEC 61966-2-1, D65).
func hex(c record.Lab) string {
	fy := (c.L + 16) / 116
	inv := func(t float64) float64 {
		if t > 6.0/29 {
			return t * t * t
		}
		return 3 * 36.0 / 841 * (t - 4.0/29)
	}
	x, y, z := .95047*inv(fy+c.A/500), inv(fy), 1.08883*inv(fy-c.B/200)
	enc := func(v float64) int {
		v = math.Max(0, math.Min(1, v))
		if v <= .0031308 {
			v *= 12.92
		} else {
			v = 1.055*math.Pow(v, 1/2.4) - .055
		}
		return int(math.Round(255 * v))
	}
	return fmt.Sprintf("#%02x%02x%02x", enc(3.2404542*x-1.5371385*y-.4985314*z), enc(-.9692660*x+1.8760108*y+.0415560*z), enc(.0556434*x-.2040259*y+1.0572252*z))
}

func (b *builder) tables() {
	for _, p := range b.run.Photos {
		row := []string{p.Name, string(p.Status), "", "", "", "", "", "", short(p.SHA256)}
		if p.Status == record.StatusOK {
			var cards []string
			for _, c := range p.Cards {
				cards = append(cards, fmt.Sprint(c))
			}
			row = []string{p.Name, string(p.Status), strings.Join(cards, ", "), record.Fixed(p.MMPerPx, 3), record.Fixed(p.TiltDeg, 0) + "°",
				record.Fixed(p.HeightMM/10, 0) + " cm", record.Fixed(p.CardResidual, 2), record.Fixed(p.ColourDE00, 1), short(p.SHA256)}
		}
		b.page.PhotoRows = append(b.page.PhotoRows, row)
	}
}

func short(sha string) string {
	if len(sha) > 16 {
		return sha[:16] + "…"
	}
	return sha
}
