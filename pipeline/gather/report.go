package gather

import (
	"context"
	"errors"
	"image"
	"path/filepath"

	"offtype/cluster/reference"
	"offtype/pipeline"
	"offtype/pipeline/book"
	"offtype/pipeline/judge"
	"offtype/pipeline/record"
	"offtype/pipeline/report"
)

// Originals says where the photos of a harvest lie.
type Originals struct {
	Folder  string                        // empty: where they lay when they were measured
	Missing func(photo string, why error) // may be nil; told of each photo that is shown by its outlines alone
}

// Report puts a harvest of the book into the document: its run, what was entered by hand, its photos. It returns the
// description that the book kept with the verdicts, nil when it has none.
func Report(ctx context.Context, b *book.Book, harvest string, from Originals, d *report.Document) (*judge.Variety, error) {
	h, err := b.Harvest(ctx, harvest)
	if err != nil {
		return nil, err
	}
	run, err := b.LoadRun(ctx, harvest)
	if err != nil {
		return nil, err
	}
	d.Run, d.Entered, d.Load = &run, entered(&h), from.loader(&run)
	text, err := b.Description(ctx, harvest)
	if err != nil || text == "" {
		return nil, err
	}
	return judge.ParseVariety("description in the book", []byte(text))
}

// Explain adds what a run that was read back lacks: how its groups were found, the cautions, and the description when it
// is the one that the verdicts used (d.Description stays nil otherwise).
func Explain(d *report.Document, kept *judge.Variety) error {
	if err := judge.Pictures(d.Run); err != nil {
		return err
	}
	d.Description = sameDescription(d.Run, kept)
	d.Cautions = judge.Cautions(d.Run)
	return nil
}

func sameDescription(run *record.Run, v *judge.Variety) *reference.Description {
	r := run.Judgement.Variety
	if v == nil || r == nil || v.Description.Name != r.Name || v.Description.Version != r.Version {
		return nil
	}
	return v.Description
}

// loader reads the photos. One that is gone is shown by its outlines alone.
func (o Originals) loader(run *record.Run) report.Loader {
	fruits := map[string][]record.Fruit{}
	for _, f := range run.Fruits {
		fruits[f.Photo] = append(fruits[f.Photo], f)
	}
	paths := map[string]string{}
	for _, p := range run.Photos {
		paths[p.Name] = p.Path
		if o.Folder != "" {
			paths[p.Name] = filepath.Join(o.Folder, filepath.FromSlash(p.Name))
		}
	}
	return func(name string) (image.Image, float64, []record.Fruit, error) {
		err := errors.New("it is not known where it lies")
		if p := paths[name]; p != "" {
			var m image.Image
			var scale float64
			if m, scale, err = pipeline.Preview(p); err == nil {
				return m, scale, fruits[name], nil
			}
		}
		if o.Missing != nil {
			o.Missing(name, err)
		}
		return nil, 0, fruits[name], nil
	}
}
