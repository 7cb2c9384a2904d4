package pipeline

import (
	"fmt"
	"path/filepath"
	"slices"

	"offtype/pipeline/judge"
	"offtype/pipeline/record"
)

// Finishing says what becomes of measured photos.
type Finishing struct {
	Out     string // result folder
	Variety string // file of the description, or empty
	Judge   judge.Options
	// Table names, for each photo, the undisturbed table that it shows: the photos of one name are joined to
	// one row a fruit. A photo without a name stands by itself.
	Table map[string]string
}

// Finish groups and judges the fruit of parts and writes the tables, masks, the list of photos and the report.
func (s *Session) Finish(parts []*Part, f Finishing) (*Result, error) {
	o := *s.base.opt
	o.Out, o.Variety, o.Judge = f.Out, f.Variety, f.Judge
	v, err := loadVariety(&o)
	if err != nil {
		return nil, err
	}
	res := &Result{}
	settings := ""
	for i, p := range parts {
		q := *p
		q.Index = i
		q.Fruits = append([]record.Fruit(nil), p.Fruits...)
		q.slim()
		res.Parts = append(res.Parts, &q)
		if q.Photo.Status == record.StatusFailed {
			res.Failed++
			continue
		}
		res.Measured++
		if settings == "" {
			settings = q.Photo.Settings
		} else if settings != q.Photo.Settings {
			settings = s.base.settings // photos with settings of their own: each row of photos tells
		}
		o.SameTable = o.SameTable || f.Table[q.Photo.Name] != ""
	}
	if settings == "" {
		settings = s.base.settings
	}
	if err := writeManifest(res, &o, settings); err != nil {
		return nil, err
	}
	if o.SameTable {
		if err := sameTable(res, &o, func(p *Part) string { return f.Table[p.Photo.Name] }); err != nil {
			return nil, err
		}
		o.Judge.NotAssessable = standing(o.Judge.NotAssessable, res.Seen)
	}
	res.Run = collect(res.Parts, &o, settings)
	return res, finish(res, &o, v)
}

// standing turns fruit that are named by any photo of a table into the rows that stand for them.
func standing(names []string, seen [][]record.Key) []string {
	of := map[string]string{}
	for _, keys := range seen {
		for _, k := range keys {
			of[fmt.Sprintf("%s:%d", k.Photo, k.Number)] = fmt.Sprintf("%s:%d", keys[0].Photo, keys[0].Number)
		}
	}
	var out []string
	for _, n := range names {
		if b, ok := of[n]; ok {
			n = b
		}
		if !slices.Contains(out, n) {
			out = append(out, n)
		}
	}
	return out
}

// ReadPart reads a stored result back; false when it is missing or damaged.
func ReadPart(out, key string) (*Part, bool) { return readPart(out, key) }

// PreviewFile returns where the preview picture of a stored result lies.
func PreviewFile(out, key string) string { return filepath.Clean(partPath(out, key, ".jpg")) }

// Listed reads the list of photos of a finished run: one part a photo, in the run's order, without outlines.
// ReadPart reads those.
func Listed(out string) ([]*Part, error) {
	m, err := readManifest(out)
	if err != nil {
		return nil, err
	}
	return m.Parts, nil
}
