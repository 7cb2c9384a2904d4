// Command table prints the errors of the body fit on rendered scenes, fed with the true outlines
// (or with noise added to them) and the true cameras:
//
//	go run ./pipeline/accuracy/table [-noise 0.4] [-v] [name-prefix ...]
package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"offtype/measure/body"
	"offtype/pipeline/accuracy"
	"offtype/pipeline/scene"
)

func main() {
	dir := flag.String("scenes", "testdata/scenes", "folder of the scenes")
	noise := flag.Float64("noise", 0.4, "outline noise, px")
	drop := flag.Float64("drop-stem", 0.1, "share of fruit without a stalk base")
	scar := flag.Float64("drop-scar", 0.5, "share of fruit without a blossom scar")
	verbose := flag.Bool("v", false, "a line a fruit")
	seed := flag.Int64("seed", 1, "of the noise")
	joint := flag.Bool("same-table", false, "scenes NAME-a, NAME-b … show one table: fit them together")
	ribs := flag.Bool("ribs", false, "tell the fit the true number of ribs, as the skin may")
	flag.Parse()
	rows, err := run(*dir, *noise, *drop, *scar, *seed, *joint, *verbose, *ribs, flag.Args())
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

// run fits every whole fruit of the scenes.
func run(dir string, noise, drop, scar float64, seed int64, joint, verbose, ribs bool, prefixes []string) ([]accuracy.Row, error) {
	var rows []accuracy.Row
	tables := map[string][]string{}
	var order []string
	for _, name := range scene.Names(dir) {
		if len(prefixes) > 0 && !hasPrefix(name, prefixes) {
			continue
		}
		key := name
		if ext := filepath.Base(name); joint && len(ext) > 2 && ext[len(ext)-2] == '-' && ext[len(ext)-1] >= 'a' && ext[len(ext)-1] <= 'z' {
			key = name[:len(name)-2]
		}
		if tables[key] == nil {
			order = append(order, key)
		}
		tables[key] = append(tables[key], name)
	}
	for _, key := range order {
		var scenes []*scene.Scene
		for _, name := range tables[key] {
			s, err := scene.Read(dir, name)
			if err != nil {
				return nil, err
			}
			scenes = append(scenes, s)
		}
		o := accuracy.DefaultOptions(seed)
		o.NoisePx, o.DropStem, o.DropScar = noise, drop, scar
		for i := range scenes[0].Fruits {
			var views []body.View
			for _, s := range scenes {
				f := &s.Fruits[i]
				if f.Cut {
					continue
				}
				if v, ok := accuracy.View(s, f, o); ok {
					views = append(views, v)
				}
			}
			if len(views) == 0 {
				continue
			}
			f := &scenes[0].Fruits[i]
			start := time.Now()
			var opt body.Options
			if ribs {
				if opt.Ribs = f.Ribs; f.Ribs == 0 {
					opt.Ribs = -1
				}
			}
			b, err := body.Fit(views, opt)
			took := time.Since(start)
			if err != nil {
				fmt.Printf("%s fruit %d: %v\n", key, i, err)
				continue
			}
			r := accuracy.Measure(scenes[0], f, b)
			r.Took = took
			rows = append(rows, r)
			if verbose {
				fmt.Println(b.Describe())
				fmt.Printf("%-22s %2d %-7s L %+6.2f±%.2f W %+6.2f±%.2f bend %+5.1f broad %+.3f rise %+5.1f (true %+5.1f) slant %4.1f tilt %4.1f off %4.1f res %.2f %v %v %.0fms\n", key, i, r.Shape, r.Length, r.LengthU, r.Width, r.WidthU, r.Bend, r.Broad, r.Rise, b.RiseDeg-r.Rise, r.SlantDeg, r.TiltDeg, r.OffAxis, r.Residual, r.StemOK, r.Notes, took.Seconds()*1000)
			}
		}
	}
	return rows, nil
}

func hasPrefix(s string, l []string) bool {
	for _, p := range l {
		if strings.HasPrefix(s, p) {
			return true
		}
	}
	return false
}
