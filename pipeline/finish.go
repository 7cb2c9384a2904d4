package pipeline

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"offtype/pipeline/atomic"
	"offtype/pipeline/exchange"
	"offtype/pipeline/judge"
	"offtype/pipeline/picture"
	"offtype/pipeline/record"
	"offtype/pipeline/report"
)

// Run does the main job. Files that it depends on are checked before any photo is read; their
// errors are of ErrUsage's kind. When some photos fail the result is complete without them. When ctx ends, what was
// finished is still written.
func Run(ctx context.Context, o Options) (*Result, error) {
	start := time.Now()
	variety, err := loadVariety(&o)
	if err != nil {
		return nil, err
	}
	if o.From != "" {
		return runFrom(o, variety, start)
	}
	ins, problems := FindInputs(o.Inputs)
	if len(ins) == 0 {
		return &Result{Run: &record.Run{}, Problems: problems}, ErrNoPhotos
	}
	if err := os.MkdirAll(filepath.Join(o.Out, "parts"), 0o755); err != nil {
		return nil, fmt.Errorf("the result folder %q cannot be made (%w); choose another with --out", o.Out, plainErr(err))
	}
	m, err := newMeasurer(&o, o.workers(len(ins)))
	if err != nil {
		return nil, err
	}
	defer m.close()
	jobs := plan(ctx, ins, &o)
	res := measureAll(ctx, jobs, m, &o)
	res.Problems = problems
	if o.ShardN > 1 {
		res.list = listOf(ins)
	}
	if err := writeManifest(res, &o, m.settings); err != nil {
		return res, err
	}
	if o.SameTable && o.ShardN <= 1 { // shares are joined when they are merged
		if err := sameTable(res, &o, ownFolder); err != nil {
			return res, err
		}
	}
	res.Run = collect(res.Parts, &o, m.settings)
	err = finish(res, &o, variety)
	res.Took = time.Since(start)
	return res, err
}

// collect puts the parts together into a run.
func collect(parts []*Part, o *Options, settings string) *record.Run {
	run := &record.Run{Program: o.Program, Settings: map[string]string{"settings": settings}}
	for _, p := range parts {
		run.Photos = append(run.Photos, p.Photo)
		run.Fruits = append(run.Fruits, p.Fruits...)
	}
	return run
}

// finish groups, judges and writes everything.
func finish(res *Result, o *Options, variety *judge.Variety) error {
	if err := judge.Judge(res.Run, variety, o.Judge); err != nil {
		return err
	}
	res.Out = o.Out
	if err := writeTables(res.Run, o); err != nil {
		return err
	}
	if err := writeVariety(variety, o.Out); err != nil {
		return err
	}
	problems := make([]string, len(res.Problems))
	for i, p := range res.Problems {
		problems[i] = p.Error()
	}
	err := report.HTML(res.Run, finishPhoto(res.Parts, o.Out), report.Options{
		Cautions: judge.Cautions(res.Run), Next: judge.Next(res.Run), Problems: problems, White: o.White, Workers: o.workers(len(res.Parts)),
	}, func(p report.Page) error {
		return atomic.WriteBytes(filepath.Join(o.Out, filepath.FromSlash(p.Name)), p.Data)
	})
	if err != nil {
		return err
	}
	res.Report = filepath.Join(o.Out, "report.html")
	return nil
}

// writeTables writes the four tables of the contract.
func writeTables(run *record.Run, o *Options) error {
	for name, fill := range map[string]func(io.Writer) error{
		"fruits.csv": func(w io.Writer) error {
			if o.SameTable {
				return record.WriteFruitViews(w, run.Fruits, o.White)
			}
			return record.WriteFruits(w, run.Fruits, o.White)
		},
		"photos.csv":     func(w io.Writer) error { return record.WritePhotos(w, run.Photos) },
		"groups.csv":     func(w io.Writer) error { return record.WriteGroups(w, run.Groups) },
		"judgement.json": func(w io.Writer) error { return record.WriteJudgement(w, &run.Judgement) },
	} {
		if err := atomic.Write(filepath.Join(o.Out, name), fill); err != nil {
			return fmt.Errorf("%w; choose another result folder", err)
		}
	}
	return nil
}

// maskName returns the mask's path of a photo: its name with the ending .png.
func maskName(out, name string) string {
	stem := strings.TrimSuffix(name, filepath.Ext(name))
	return filepath.Join(out, "masks", filepath.FromSlash(stem)+".png")
}

// finishPhoto reads a photo's stored result and preview when the report wants them, and writes the photo's mask on the
// way: so each is read once, and no more outlines are in memory than photos are drawn at a time.
func finishPhoto(parts []*Part, out string) report.Loader {
	byName := map[string]*Part{}
	for _, p := range parts {
		byName[p.Photo.Name] = p
	}
	return func(name string) (image.Image, float64, []record.Fruit, error) {
		p, ok := byName[name]
		if !ok {
			return nil, 0, nil, fmt.Errorf("photo %q is not part of the run", name)
		}
		full, err := p.full(out)
		if err != nil {
			return nil, 0, nil, err
		}
		mask := picture.Mask(p.Photo.Width, p.Photo.Height, full.Fruits)
		if err := atomic.Write(maskName(out, name), func(w io.Writer) error { return picture.WriteMask(w, mask) }); err != nil {
			return nil, 0, nil, err
		}
		im, scale, err := p.Preview(out)
		return im, scale, full.Fruits, err
	}
}

// runFrom judges fruit that were measured elsewhere.
func runFrom(o Options, variety *judge.Variety, start time.Time) (*Result, error) {
	b, err := atomic.Read(o.From, exchange.MostRaw)
	if err != nil {
		return nil, usageError{fmt.Errorf("--from %s: cannot be read (%w); check the name", o.From, plainErr(err))}
	}
	fruits, err := record.ReadFruits(bytes.NewReader(b))
	if err != nil {
		return nil, usageError{fmt.Errorf("--from %s: %w", o.From, err)}
	}
	if len(fruits) == 0 {
		return nil, usageError{fmt.Errorf("--from %s: the table has no rows; write one row a fruit below the header", o.From)}
	}
	res := &Result{How: o.measuring(), Run: &record.Run{Program: o.Program, Settings: map[string]string{"table": hash(b)[:16]}, Fruits: fruits}}
	err = finish(res, &o, variety)
	res.Took = time.Since(start)
	return res, err
}

// loadVariety reads the description, if one is named; it must be of the species that was said.
func loadVariety(o *Options) (*judge.Variety, error) {
	for _, file := range o.Others {
		v, err := ReadVariety("--other", file)
		if err != nil {
			return nil, err
		}
		o.Judge.Others = append(o.Judge.Others, v)
	}
	if o.Variety == "" {
		return nil, nil
	}
	v, err := ReadVariety("--variety", o.Variety)
	if err != nil {
		return nil, err
	}
	if err := v.Check(o.Judge.Species); err != nil {
		return nil, usageError{err}
	}
	return v, nil
}

// ReadVariety reads and checks a variety's description. option, such as --variety, stands before the file in errors,
// which are of ErrUsage's kind.
func ReadVariety(option, file string) (*judge.Variety, error) {
	b, err := atomic.Read(file, atomic.MostText)
	if err != nil {
		return nil, usageError{fmt.Errorf("%s %s: cannot be read (%w); check the name", option, file, plainErr(err))}
	}
	v, err := judge.ParseVariety(filepath.Base(file), b)
	if err != nil {
		return nil, usageError{fmt.Errorf("%s %s: %w", option, file, err)}
	}
	return v, nil
}

// Full returns the run with all outlines read back, for the harvest book.
func (r *Result) Full() (*record.Run, error) {
	if len(r.Parts) == 0 {
		return r.Run, nil
	}
	full := *r.Run
	full.Fruits = append([]record.Fruit(nil), r.Run.Fruits...)
	where := map[record.Key]int{}
	for i := range full.Fruits {
		where[full.Fruits[i].Key()] = i
	}
	for _, p := range r.Parts {
		if p.Photo.Status != record.StatusOK {
			continue
		}
		q, err := p.full(r.Out)
		if err != nil {
			return nil, err
		}
		for i := range q.Fruits {
			if k, ok := where[q.Fruits[i].Key()]; ok {
				f := &full.Fruits[k]
				f.Outline, f.StalkPx, f.MidlinePx, f.Edge = q.Fruits[i].Outline, q.Fruits[i].StalkPx, q.Fruits[i].MidlinePx, q.Fruits[i].Edge
			}
		}
	}
	return &full, nil
}
