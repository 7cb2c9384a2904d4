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

// ReadResult reads the folder of a finished run back: fruit, photos, groups and verdicts. The outlines of thousands of
// fruit fill hundreds of megabytes, and stay on disk: Loader reads them photo by photo, Outlines all of them. The
// description is nil when the run had none. A run from a table has no photos.
//
// Errors name the file and say what to do.
func ReadResult(dir string) (*Result, *judge.Variety, error) {
	keepMemoryLow()
	res := &Result{Out: dir, Run: &record.Run{}}
	fruits, err := readFile(dir, "fruits.csv", record.ReadFruits)
	if err != nil {
		return nil, nil, err
	}
	m, err := readManifest(dir)
	switch {
	case err == nil:
		res.Parts, res.sameTable = m.Parts, m.SameTable
		res.Run = collect(m.Parts, &Options{Program: m.Program}, m.Settings)
		res.Run.Fruits = fruits
		err = res.join(true)
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
	b, err := atomic.Read(filepath.Join(dir, varietyCopy), atomic.MostText)
	if errors.Is(err, fs.ErrNotExist) {
		return res, nil, nil
	}
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", filepath.Join(dir, varietyCopy), plainErr(err))
	}
	v, err := judge.ParseVariety(varietyCopy, b)
	return res, v, err
}

// PhotosOf lists the photos of the run whose folder this is, none where it is not the folder of a run.
func PhotosOf(dir string) []record.Photo {
	m, err := readManifest(dir)
	if err != nil {
		return nil
	}
	return collect(m.Parts, &Options{}, "").Photos
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

// join puts what is stored to the rows of fruits.csv, with outlines or without. A joint measurement of one table
// renumbers the fruit: there the row's own place in the photo finds what is stored.
func (r *Result) join(slim bool) error {
	rows := r.rowsOf()
	for _, p := range r.Parts {
		if p.Photo.Status != record.StatusOK || len(rows[p.Photo.Name]) == 0 {
			continue
		}
		full, err := p.full(r.Out)
		if err != nil {
			return fmt.Errorf("%s: %w", r.Out, err)
		}
		if slim {
			full.slim()
		}
		for _, i := range rows[p.Photo.Name] {
			r.joinRow(&r.Run.Fruits[i], full.Fruits)
		}
	}
	return nil
}

// Outlines reads the outlines of all fruit of a run that was read back.
func (r *Result) Outlines() error { return r.join(false) }

// rowsOf lists the fruit of each photo, as places in Run.Fruits.
func (r *Result) rowsOf() map[string][]int {
	rows := map[string][]int{}
	for i := range r.Run.Fruits {
		name := r.Run.Fruits[i].Photo
		rows[name] = append(rows[name], i)
	}
	return rows
}

// joinRow fills a row with what is stored of its fruit; one that is not found stays as it is.
func (r *Result) joinRow(row *record.Fruit, stored []record.Fruit) {
	s := storedFruit(stored, row, r.sameTable)
	switch {
	case s == nil:
	case r.sameTable:
		row.Outline, row.StalkPx, row.StemPx, row.BlossomPx, row.MidlinePx = s.Outline, s.StalkPx, s.StemPx, s.BlossomPx, s.MidlinePx
		row.LengthLine, row.WidthLine, row.Profile, row.More = s.LengthLine, s.WidthLine, s.Profile, s.More
	default:
		photo, plant := row.Photo, row.Plant
		*row = *s
		row.Photo, row.Plant = photo, plant
	}
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

// Loader gives a photo's stored preview and its fruit with their outlines, for a report of a run that was read back.
func (r *Result) Loader() report.Loader {
	parts, rows := map[string]*Part{}, r.rowsOf()
	for _, p := range r.Parts {
		parts[p.Photo.Name] = p
	}
	return func(name string) (image.Image, float64, []record.Fruit, error) {
		var fruits []record.Fruit
		for _, i := range rows[name] {
			fruits = append(fruits, r.Run.Fruits[i])
		}
		p, ok := parts[name]
		if !ok || p.Photo.Width == 0 {
			return nil, 0, fruits, nil
		}
		full, err := p.full(r.Out)
		if err != nil {
			return nil, 0, nil, err
		}
		for i := range fruits {
			r.joinRow(&fruits[i], full.Fruits)
		}
		im, scale, err := p.Preview(r.Out)
		return im, scale, fruits, err
	}
}
