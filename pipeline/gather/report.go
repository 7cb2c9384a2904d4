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
	h, run, err := read(ctx, b, harvest, book.LoadOptions{})
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

// Picture reads a photo's preview; scale is preview px a photo px.
func (o Originals) Picture(run *record.Run, photo string) (preview image.Image, scale float64, err error) {
	path := ""
	for i := range run.Photos {
		if run.Photos[i].Name == photo {
			path = run.Photos[i].Path
		}
	}
	if o.Folder != "" {
		path = filepath.Join(o.Folder, filepath.FromSlash(photo))
	}
	if path == "" {
		return nil, 0, errors.New("it is not known where it lies")
	}
	return pipeline.Preview(path)
}

// loader reads the photos. One that is gone is shown by its outlines alone.
func (o Originals) loader(run *record.Run) report.Loader {
	fruits := map[string][]record.Fruit{}
	for _, f := range run.Fruits {
		fruits[f.Photo] = append(fruits[f.Photo], f)
	}
	return func(name string) (image.Image, float64, []record.Fruit, error) {
		m, scale, err := o.Picture(run, name)
		if err != nil && o.Missing != nil {
			o.Missing(name, err)
		}
		return m, scale, fruits[name], nil
	}
}
