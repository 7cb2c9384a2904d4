// Command table prints the errors of the body fit on rendered scenes.
//
//	go run ./pipeline/accuracy/table [-noise 0.4] [-v] [name-prefix ...]
//
// feeds it with the true outlines (noise added) and the true cameras;
//
//	go run ./pipeline/accuracy/table -run RESULT [-true outline,ends,camera] [-v] [name-prefix ...]
//
// with the outlines, ends and cameras that a finished run stored in its result folder, or with the true ones
// of those named, which tells where an error comes from.
package main

import (
	"flag"
	"fmt"
	"math/rand"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"offtype/measure/body"
	"offtype/pipeline/accuracy"
	"offtype/pipeline/scene"
)

func main() {
	var j job
	flag.StringVar(&j.dir, "scenes", "testdata/scenes", "folder of the scenes")
	flag.Float64Var(&j.noise, "noise", 0.4, "outline noise, px")
	flag.Float64Var(&j.drop, "drop-stem", 0.1, "share of fruit without a stalk base")
	flag.Float64Var(&j.scar, "drop-scar", 0.5, "share of fruit without a blossom scar")
	flag.BoolVar(&j.verbose, "v", false, "a line a fruit")
	flag.Int64Var(&j.seed, "seed", 1, "of the noise")
	flag.BoolVar(&j.joint, "same-table", false, "scenes NAME-a, NAME-b … show one table: fit them together")
	flag.BoolVar(&j.ribs, "ribs", false, "tell the fit the true number of ribs, as the skin may")
	out := flag.String("run", "", "result folder of a finished run of the scenes' photos")
	flag.StringVar(&j.truth, "true", "", "with -run: which of outline, ends, camera are the true ones")
	flag.IntVar(&j.simulate, "simulate", 0, "so many fruit of random shape in place of the scenes")
	flag.BoolVar(&j.rough, "rough", false, "with -simulate: uneven fruit of more kinds, outlines as on an unfamiliar photo")
	flag.Parse()
	rows, err := j.run(*out, flag.Args())
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	accuracy.Table(os.Stdout, "scene", rows, func(r accuracy.Row) string { return r.Scene })
	accuracy.Table(os.Stdout, "shape", rows, func(r accuracy.Row) string { return r.Shape })
	accuracy.Table(os.Stdout, "camera tilt", rows, func(r accuracy.Row) string { return band(r.TiltDeg, 10) })
	accuracy.Table(os.Stdout, "angle off the lens axis", rows, func(r accuracy.Row) string { return band(r.OffAxis, 8) })
	accuracy.Table(os.Stdout, "slant of the fruit's axis", rows, func(r accuracy.Row) string { return band(r.SlantDeg, 10) })
	var took time.Duration
	stem, pose, known := 0, 0, 0
	for _, r := range rows {
		took += r.Took
		if r.PoseOK {
			pose++
		}
		unsure := false
		for _, n := range r.Notes {
			unsure = unsure || n == body.NoteStem
		}
		if !unsure {
			known++
			if r.StemOK {
				stem++
			}
		}
	}
	fmt.Printf("\n%d fruit, %.1f ms a fruit; pose right %d; stem end right %d of %d with a stalk or scar\n", len(rows), took.Seconds()*1000/float64(max(1, len(rows))), pose, stem, known)
}

func band(v, w float64) string {
	i := int(v / w)
	return fmt.Sprintf("%02.0f–%02.0f°", float64(i)*w, float64(i+1)*w)
}

// job is what is fed to the fit.
type job struct {
	dir                  string
	noise, drop, scar    float64
	seed                 int64
	joint, verbose, ribs bool
	truth                string
	simulate             int
	rough                bool
	stored               map[string]*accuracy.Stored // nil: true outlines with noise
}

// run fits every whole fruit of the scenes.
func (j *job) run(out string, prefixes []string) ([]accuracy.Row, error) {
	if j.simulate > 0 {
		return j.simulated()
	}
	if out != "" {
		var err error
		if j.stored, err = accuracy.ReadRun(out); err != nil {
			return nil, err
		}
	}
	tables := map[string][]string{}
	var order []string
	for _, name := range scene.Names(j.dir) {
		if len(prefixes) > 0 && !hasPrefix(name, prefixes) || j.stored != nil && j.stored[name] == nil {
			continue
		}
		key := name
		if len(name) > 2 && j.joint && name[len(name)-2] == '-' && name[len(name)-1] >= 'a' && name[len(name)-1] <= 'z' {
			key = name[:len(name)-2]
		}
		if tables[key] == nil {
			order = append(order, key)
		}
		tables[key] = append(tables[key], name)
	}
	results := make([][]accuracy.Row, len(order))
	var wg sync.WaitGroup
	errs := make([]error, len(order))
	slot := make(chan struct{}, 2)
	for i, key := range order {
		wg.Add(1)
		go func() {
			defer wg.Done()
			slot <- struct{}{}
			results[i], errs[i] = j.table(key, tables[key])
			<-slot
		}()
	}
	wg.Wait()
	var rows []accuracy.Row
	for i := range order {
		if errs[i] != nil {
			return nil, errs[i]
		}
		rows = append(rows, results[i]...)
	}
	return rows, nil
}

// table fits the fruit of one table, seen in one or more scenes.
func (j *job) table(key string, names []string) ([]accuracy.Row, error) {
	var rows []accuracy.Row
	var scenes []*scene.Scene
	for _, name := range names {
		s, err := scene.Read(j.dir, name)
		if err != nil {
			return nil, err
		}
		scenes = append(scenes, s)
	}
	o := accuracy.DefaultOptions(j.seed)
	o.NoisePx, o.DropStem, o.DropScar = j.noise, j.drop, j.scar
	all := j.evidence(scenes, o)
	bodies := make([]*body.Body, len(all))
	times := make([]time.Duration, len(all))
	for i, views := range all {
		if len(views) == 0 {
			continue
		}
		f := &scenes[0].Fruits[i]
		var opt body.Options
		if j.ribs {
			if opt.Ribs = f.Ribs; f.Ribs == 0 {
				opt.Ribs = -1
			}
		}
		start := time.Now()
		b, err := body.Fit(views, opt)
		times[i] = time.Since(start)
		if err != nil {
			fmt.Printf("%s fruit %d: %v\n", key, i, err)
			continue
		}
		bodies[i] = b
	}
	body.Alike(bodies)
	for i, b := range bodies {
		if b == nil {
			continue
		}
		f, took := &scenes[0].Fruits[i], times[i]
		r := accuracy.Measure(scenes[0], f, b)
		r.Took = took
		rows = append(rows, r)
		if j.verbose {
			fmt.Printf("%-22s %2d %-7s L %+6.2f±%.2f W %+6.2f±%.2f bend %+5.1f broad %+.3f rise %+5.1f (true %+5.1f) slant %4.1f tilt %4.1f off %4.1f res %.2f %v %v %.0fms\n    %s\n", key, i, r.Shape, r.Length, r.LengthU, r.Width, r.WidthU, r.Bend, r.Broad, r.Rise, b.RiseDeg-r.Rise, r.SlantDeg, r.TiltDeg, r.OffAxis, r.Residual, r.StemOK, r.Notes, took.Seconds()*1000, b.Describe())
		}
	}
	return rows, nil
}

// evidence gathers the views of each fruit of a table; those of a run with the cameras moved to agree.
func (j *job) evidence(scenes []*scene.Scene, o accuracy.Options) [][]body.View {
	shots := make([]body.Shot, len(scenes))
	all := make([][]body.View, len(scenes[0].Fruits))
	seen := make([][]int, len(all))
	for i := range all {
		for k, s := range scenes {
			if v, ok := j.view(s, &s.Fruits[i], o); ok {
				all[i], seen[i] = append(all[i], v), append(seen[i], k)
				shots[k] = body.Shot{Camera: v.Camera, Modes: v.Perturbed}
			}
		}
	}
	if j.stored != nil && len(scenes) > 1 {
		refine(all, seen, shots)
	}
	return all
}

// refine moves the cameras of a table's photos by all its fruit together, in the views.
func refine(all [][]body.View, seen [][]int, shots []body.Shot) {
	var bodies []*body.Body
	for i := range all {
		b, _ := body.Fit(all[i], body.Options{})
		bodies = append(bodies, b)
	}
	moved, ok := body.RefineTable(bodies, shots, seen)
	if !ok {
		return
	}
	for i := range all {
		for k, v := range seen[i] {
			all[i][k].Camera, all[i][k].Perturbed = moved[v].Camera, moved[v].Modes
		}
	}
}

// simulated fits fruit of random shape; -same-table: three views of each.
func (j *job) simulated() ([]accuracy.Row, error) {
	rng := rand.New(rand.NewSource(j.seed))
	var rows []accuracy.Row
	views := 1
	if j.joint {
		views = 3
	}
	for i := 0; len(rows) < j.simulate; i++ {
		draw := accuracy.Simulate
		if j.rough {
			draw = accuracy.SimulateRough
		}
		s, ok := draw(rng, views)
		if !ok {
			continue
		}
		start := time.Now()
		b, err := body.Fit(s.Views, body.Options{})
		if err != nil {
			return nil, fmt.Errorf("simulated fruit %d: %w", i, err)
		}
		r := accuracy.MeasureSimulated(&s, b)
		r.Took = time.Since(start)
		rows = append(rows, r)
		if j.verbose {
			fmt.Printf("%-22s %2d %-7s L %+6.2f±%.2f W %+6.2f±%.2f bend %+5.1f broad %+.3f rise %+5.1f (true %+5.1f) slant %4.1f tilt %4.1f off %4.1f res %.2f %v %v 0ms\n", "sim", i, strings.ReplaceAll(r.Shape, " ", "-"), r.Length, r.LengthU, r.Width, r.WidthU, r.Bend, r.Broad, r.Rise, 0.0, r.SlantDeg, r.TiltDeg, r.OffAxis, r.Residual, r.StemOK, r.Notes)
		}
	}
	return rows, nil
}

// view makes the evidence of a fruit: the run's own where there is one, with what -true names replaced.
func (j *job) view(s *scene.Scene, f *scene.Fruit, o accuracy.Options) (body.View, bool) {
	if f.Cut {
		return body.View{}, false
	}
	if j.stored == nil {
		return accuracy.View(s, f, o)
	}
	st := j.stored[s.Name]
	own := st.Find(s, f)
	if own == nil {
		return body.View{}, false
	}
	v := st.View(own)
	o.NoisePx, o.TrueEnds, o.DropStem, o.DropScar = 0, true, 0, 0
	t, ok := accuracy.View(s, f, o)
	if !ok {
		return v, false
	}
	for _, what := range strings.Split(j.truth, ",") {
		switch what {
		case "outline":
			v.Outline, v.Edge = t.Outline, t.Edge
		case "ends":
			v.Stem, v.Blossom, v.StemBy, v.BlossomBy = t.Stem, t.Blossom, 0, 0
		case "camera":
			v.Camera = t.Camera
		}
	}
	return v, true
}

func hasPrefix(s string, l []string) bool {
	for _, p := range l {
		if strings.HasPrefix(filepath.Base(s), p) {
			return true
		}
	}
	return false
}
