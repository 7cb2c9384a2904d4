package judge

import (
	"offtype/cluster/reference"
	"offtype/pipeline/record"
)

// relative returns fs for grouping: fruit of photos without card and scale are grouped by the
// photo's own colours and, when all lie on one photo, by their sizes relative to each other.
// Verdicts never see these values.
func relative(rows []record.Fruit, fs []reference.Fruit) []reference.Fruit {
	photos := map[string]bool{}
	for i := range rows {
		photos[rows[i].Photo] = true
	}
	out := append([]reference.Fruit(nil), fs...)
	for i := range rows {
		if !rows[i].Unscaled {
			continue
		}
		f := rows[i]
		f.Unscaled = false
		f.Ribs, f.GrooveDepth = -1, record.None() // no camera to tell them by
		f.Notes = nil
		for _, n := range rows[i].Notes {
			if n != noteDoubtful {
				f.Notes = append(f.Notes, n)
			}
		}
		out[i] = fruit(&f)
		if len(photos) > 1 {
			gone := reference.Missing()
			out[i].Length, out[i].Width, out[i].Midline, out[i].Volume = gone, gone, gone, gone
		}
	}
	return out
}
