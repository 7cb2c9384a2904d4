package desk

import (
	"fmt"
	"image"
	"math"
	"os"
	"strings"

	"offtype/measure/geom"
	"offtype/pipeline"
	"offtype/pipeline/photo"
	"offtype/pipeline/record"
)

func (h *harvest) previewFile(key string) string { return pipeline.PreviewFile(h.resultDir(), key) }

// openPreview decodes the preview of a measured photo and returns its scale, preview px a photo px.
func (h *harvest) openPreview(part *pipeline.Part) (image.Image, float64, error) {
	b, err := os.ReadFile(h.previewFile(part.Key))
	if err != nil {
		return nil, 0, err
	}
	p, err := photo.ReadBytes("preview", b, photo.Options{})
	if err != nil {
		return nil, 0, err
	}
	return photo.ToImage(p), float64(p.Width) / float64(part.Photo.Width), nil
}

// groupColours tell the first groups apart on photos, with a dash pattern each, so that colour is
// never the only sign. The first group is the quiet one.
var groupColours = []string{"#ffffff", "#ff9d2e", "#5cc8ff", "#ff6fb5", "#b6e34a", "#c9a2ff", "#ffe14a", "#4fe0b8"}

// pathOf draws points as an SVG path; SVG counts from the pixel's corner.
func pathOf(pts []geom.Px, closed bool) string {
	if len(pts) == 0 {
		return ""
	}
	var b strings.Builder
	for i, p := range pts {
		c := byte('L')
		if i == 0 {
			c = 'M'
		}
		fmt.Fprintf(&b, "%c%.1f %.1f", c, p.X+.5, p.Y+.5)
	}
	if closed {
		b.WriteByte('Z')
	}
	return b.String()
}

// thin keeps about n points of a line.
func thin(o []geom.Px, n int) []geom.Px {
	if len(o) <= n {
		return o
	}
	out := make([]geom.Px, 0, n)
	for i := range n {
		out = append(out, o[i*len(o)/n])
	}
	return out
}

// inside returns a point of the fruit that lies well inside its outline: the centroid, or for a
// bent fruit the middle of the widest chord through its rows.
func inside(f *record.Fruit) geom.Px {
	c := geom.Px{X: f.X, Y: f.Y}
	if geom.Contains(f.Outline, c) || len(f.Outline) < 3 {
		return c
	}
	lo, hi := geom.Bounds(f.Outline)
	best := 0.0
	for k := 1; k < 24; k++ {
		y := lo.Y + (hi.Y-lo.Y)*float64(k)/24
		var from float64
		in := false
		for x := lo.X; x <= hi.X+1; x++ {
			now := geom.Contains(f.Outline, geom.Px{X: x, Y: y})
			if now && !in {
				from = x
			}
			if !now && in && x-from > best {
				best, c = x-from, geom.Px{X: (from + x) / 2, Y: y}
			}
			in = now
		}
	}
	return c
}

// size says a fruit's size in short.
func size(f *record.Fruit) string {
	switch {
	case f.Length.Ok() && f.Width.Ok():
		return fmt.Sprintf("%.0f × %.0f mm", f.Length.V, f.Width.V)
	case f.Width.Ok():
		return fmt.Sprintf("%.0f mm across", f.Width.V)
	case f.Ratio.Ok():
		return fmt.Sprintf("length ÷ width %.2f", f.Ratio.V)
	}
	return "not measured"
}

// plusMinus is a value with its uncertainty.
func plusMinus(v record.Value, decimals int, unit string) string {
	if !v.Ok() {
		return ""
	}
	s := record.Fixed(v.V, decimals)
	if !math.IsNaN(v.U) && v.U > 0 {
		s += " ± " + record.Fixed(v.U, decimals)
	}
	if unit != "" {
		s += " " + unit
	}
	return s
}

func notesInWords(notes []string) []string {
	var out []string
	for _, n := range notes {
		if w, ok := record.NoteWords[n]; ok {
			n = w
		}
		out = append(out, strings.ReplaceAll(n, "-", " "))
	}
	return out
}
