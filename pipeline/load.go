package pipeline

import (
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"offtype/measure/geom"
	"offtype/pipeline/atomic"
	"offtype/pipeline/judge"
	"offtype/pipeline/record"
	"offtype/pipeline/report"
)

// varietyCopy is the file in the result folder that holds the description the verdicts used.
const varietyCopy = "variety.yaml"

// writeVariety keeps the description beside the verdicts, so that a later report can show its ranges.
func writeVariety(v *judge.Variety, out string) error {
	path := filepath.Join(out, varietyCopy)
	if v == nil {
		if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("the description of an earlier run cannot be removed: %w", plainErr(err))
		}
		return nil
	}
	b, err := v.Description.Bytes()
	if err != nil {
		return fmt.Errorf("keep the description %q: %w", v.File, err)
	}
	return atomic.WriteBytes(path, b)
}

// ReadResult reads the folder of a finished run back: fruit with their outlines, photos, groups and
// verdicts. The description is nil when the run had none. A run from a table has no photos.
//
// Errors name the file and say what to do.
func ReadResult(dir string) (*Result, *judge.Variety, error) {
	res := &Result{Out: dir, Run: &record.Run{}}
	fruits, err := readFile(dir, "fruits.csv", record.ReadFruits)
	if err != nil {
		return nil, nil, err
	}
	m, err := readManifest(dir)
	switch {
	case err == nil:
		res.Parts = m.Parts
		res.Run = collect(m.Parts, &Options{Program: m.Program}, m.Settings)
		res.Run.Fruits, err = withOutlines(dir, fruits, m)
	case errors.Is(err, fs.ErrNotExist): // measured elsewhere
		res.Run.Fruits, err = fruits, nil
	}
	if err != nil {
		return nil, nil, err
	}
	if res.Run.Judgement, err = readFile(dir, "judgement.json", func(r io.Reader) (j record.Judgement, err error) {
		return j, json.NewDecoder(r).Decode(&j)
	}); err != nil {
		return nil, nil, err
	}
	if res.Run.Groups, err = readFile(dir, "groups.csv", record.ReadGroups); err != nil {
		return nil, nil, err
	}
	b, err := os.ReadFile(filepath.Join(dir, varietyCopy))
	if errors.Is(err, fs.ErrNotExist) {
		return res, nil, nil
	}
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", filepath.Join(dir, varietyCopy), plainErr(err))
	}
	v, err := judge.ParseVariety(varietyCopy, b)
	return res, v, err
}

func readFile[T any](dir, name string, read func(io.Reader) (T, error)) (T, error) {
	var none T
	f, err := os.Open(filepath.Join(dir, name))
	if err != nil {
		return none, fmt.Errorf("%s: cannot be read (%w); name the result folder of offtype run", filepath.Join(dir, name), plainErr(err))
	}
	defer f.Close()
	v, err := read(f)
	if err != nil {
		return none, fmt.Errorf("%s: %w", filepath.Join(dir, name), err)
	}
	return v, nil
}

// withOutlines puts the stored outlines to the rows of fruits.csv. A joint measurement of one table
// renumbers the fruit: there the row's own place in the photo finds the outline.
func withOutlines(dir string, rows []record.Fruit, m *manifest) ([]record.Fruit, error) {
	stored := map[string][]record.Fruit{}
	for _, p := range m.Parts {
		if p.Photo.Status != record.StatusOK {
			continue
		}
		full, err := p.full(dir)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", dir, err)
		}
		stored[p.Photo.Name] = full.Fruits
	}
	out := make([]record.Fruit, 0, len(rows))
	for _, r := range rows {
		s := storedFruit(stored[r.Photo], &r, m.SameTable)
		switch {
		case s == nil:
			out = append(out, r)
		case m.SameTable:
			r.Outline, r.StalkPx, r.StemPx, r.BlossomPx, r.MidlinePx = s.Outline, s.StalkPx, s.StemPx, s.BlossomPx, s.MidlinePx
			r.LengthLine, r.WidthLine, r.Profile, r.More = s.LengthLine, s.WidthLine, s.Profile, s.More
			out = append(out, r)
		default:
			f := *s
			f.Photo, f.Plant = r.Photo, r.Plant
			out = append(out, f)
		}
	}
	return out, nil
}

// storedFruit finds the stored fruit of a row: by number, or by its place.
func storedFruit(fs []record.Fruit, r *record.Fruit, byPlace bool) *record.Fruit {
	var best *record.Fruit
	near := 2.0 // px; the table has one decimal
	for i := range fs {
		if !byPlace && fs[i].Number == r.Number {
			return &fs[i]
		}
		if d := (geom.Px{X: fs[i].X - r.X, Y: fs[i].Y - r.Y}).Norm(); byPlace && d < near {
			best, near = &fs[i], d
		}
	}
	return best
}

// Loader gives a photo's stored preview and its fruit, for a report of a run that was read back.
func (r *Result) Loader() report.Loader {
	parts := map[string]*Part{}
	for _, p := range r.Parts {
		parts[p.Photo.Name] = p
	}
	fruits := map[string][]record.Fruit{}
	for _, f := range r.Run.Fruits {
		fruits[f.Photo] = append(fruits[f.Photo], f)
	}
	return func(name string) (image.Image, float64, []record.Fruit, error) {
		p, ok := parts[name]
		if !ok || p.Photo.Width == 0 {
			return nil, 0, fruits[name], nil
		}
		im, scale, err := p.Preview(r.Out)
		return im, scale, fruits[name], err
	}
}
