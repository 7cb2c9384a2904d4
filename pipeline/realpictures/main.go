// Command realpictures checks the outlines on real photographs. It lays photographs of real fruit
// with a transparent ground on photographs of real surfaces, so that the true outline is exact,
// finds the fruit with segment.Find, and counts. Photographs as they are are counted too.
// The pictures come from packages and are not kept here; docs/real-pictures.md says which.
//
//	go run ./pipeline/realpictures -cuts DIR -grounds DIR -photos DIR -out DIR
package main

import (
	"flag"
	"fmt"
	"image"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"offtype/pipeline/photo"
	pictures "offtype/pipeline/picture"
	"offtype/pipeline/segment"
)

func main() {
	var d folders
	flag.StringVar(&d.cuts, "cuts", "", "folder of the cut-out fruit: .../tuxpaint/stamps/food")
	flag.StringVar(&d.grounds, "grounds", "", "folder of the surfaces: the unpacked textures/")
	flag.StringVar(&d.photos, "photos", "", "folder of the photographs counted as they are")
	flag.StringVar(&d.scenes, "scenes", "testdata/scenes", "folder of the rendered scenes")
	flag.Uint64Var(&d.draw, "draw", 0, "draw: other numbers give other pictures")
	out := flag.String("out", "real", "folder to write the pictures, outlines, sheets and table to")
	n := flag.Int("n", 56, "number of composed pictures")
	from := flag.Int("from", 0, "number of the first, from 0")
	flag.Parse()
	if err := run(d, *out, *from, *n); err != nil {
		fmt.Fprintln(os.Stderr, "error:", err)
		os.Exit(1)
	}
}

func run(d folders, out string, from, n int) error {
	if err := os.MkdirAll(out, 0o755); err != nil {
		return err
	}
	net, err := segment.LoadNet()
	if err != nil {
		return err
	}
	defer net.Close()
	var sum total
	var sheets sheet
	for i := from; i < from+n; i++ {
		cuts, w, h, most := large, 1600, 1200, 9
		if i%2^i/2%2 == 1 { // both sizes of fruit, apart and touching
			cuts, w, h, most = small, 1000, 750, 12
		}
		p, err := compose(d, i, cuts, w, h, most)
		if err != nil {
			return err
		}
		r, err := score(p, net, out, &sheets)
		if err != nil {
			return err
		}
		fmt.Printf("%s %-30s touching %-5v true %2d found %2d extra %d unsure %d | as one %d split %d | overlap %.3f lowest %.3f | edge %+.2f px | %s\n", p.name, p.ground, p.touching,
			r.truth, r.found, r.extra, r.unsure, r.asOne, r.split, mean(r.overlap), slices.Min(r.overlap), mean(r.bias), worst(p, r))
		sum.add(p, r)
	}
	sum.print()
	if d.photos != "" {
		if err := countWholes(d, net, out, &sheets); err != nil {
			return err
		}
	}
	return sheets.write(out)
}

// outline writes im as a JPEG, reads it as a photo is read, and finds the fruit.
func outline(name string, im image.Image, net segment.Net, out string) (segment.Image, *segment.Result, error) {
	data, err := pictures.JPEG(im, 90)
	if err != nil {
		return segment.Image{}, nil, err
	}
	path := filepath.Join(out, name+".jpg")
	if err := os.WriteFile(path, data, 0o644); err != nil {
		return segment.Image{}, nil, err
	}
	ph, err := photo.Read(path, photo.DefaultOptions())
	if err != nil {
		return segment.Image{}, nil, err
	}
	s := segment.Image{Pix: ph.Pix, Width: ph.Width, Height: ph.Height}
	res, err := segment.Find(s, net, nil, segment.DefaultOptions())
	return s, res, err
}

func score(p *picture, net segment.Net, out string, sheets *sheet) (result, error) {
	im, res, err := outline(p.name, p.image, net, out)
	if err != nil {
		return result{}, fmt.Errorf("%s: %w", p.name, err)
	}
	r := compare(p.label, im.Width, im.Height, len(p.fruits), res.Fruits)
	return r, sheets.add(out, p.name, im, res, r.right())
}

// countWholes counts the photographs as they are, and once more enlarged to a photo's usual size.
func countWholes(d folders, net segment.Net, out string, sheets *sheet) error {
	for _, x := range wholes {
		src, err := readPicture(filepath.Join(d.photos, x.file))
		if err != nil {
			return err
		}
		stem := "whole-" + strings.TrimSuffix(x.file, filepath.Ext(x.file))
		im, res, err := outline(stem, src, net, out)
		if err != nil {
			return fmt.Errorf("%s: %w", x.file, err)
		}
		whole, cut := 0, 0
		for _, f := range res.Fruits {
			if f.CutByFrame {
				cut++
			} else {
				whole++
			}
		}
		fmt.Printf("%-20s %-32s %d × %d px: by eye %d and %d cut by the frame, found %d and %d; %s\n", x.file, x.what, im.Width, im.Height, x.count, x.cut, whole, cut, reasons(res))
		if err := sheets.add(out, stem, im, res, whole == x.count && cut == x.cut); err != nil {
			return err
		}
	}
	return nil
}

func reasons(res *segment.Result) string {
	n := map[string]int{}
	for _, r := range res.Rejected {
		n[r.Reason]++
	}
	return fmt.Sprint("set aside: ", n)
}

// worst names the fruit with the lowest overlap.
func worst(p *picture, r result) string {
	lo := slices.Index(r.overlap, slices.Min(r.overlap))
	return p.fruits[lo]
}

// total is the count over all pictures.
type total struct {
	pictures, right       [2]int // apart, touching
	truth, found          int
	extra, unsure         int
	asOne, split          int
	overlap, bias         []float64 // of found fruit
	fruitFound, fruitTrue map[string]int
	fruitOverlap          map[string]float64
}

func (t *total) add(p *picture, r result) {
	k := 0
	if p.touching {
		k = 1
	}
	t.pictures[k]++
	if r.right() {
		t.right[k]++
	}
	t.truth, t.found, t.extra, t.unsure = t.truth+r.truth, t.found+r.found, t.extra+r.extra, t.unsure+r.unsure
	t.asOne, t.split = t.asOne+r.asOne, t.split+r.split
	if t.fruitFound == nil {
		t.fruitFound, t.fruitTrue, t.fruitOverlap = map[string]int{}, map[string]int{}, map[string]float64{}
	}
	for i, q := range r.overlap {
		name := p.fruits[i]
		t.fruitTrue[name]++
		if q > 0 {
			t.fruitFound[name]++
			t.fruitOverlap[name] += q
			t.overlap, t.bias = append(t.overlap, q), append(t.bias, r.bias[i])
		}
	}
}

func (t *total) print() {
	fmt.Printf("\ncount right: apart %d of %d, touching %d of %d, all %d of %d pictures\n", t.right[0], t.pictures[0], t.right[1], t.pictures[1], t.right[0]+t.right[1], t.pictures[0]+t.pictures[1])
	fmt.Printf("fruit: true %d found %d extra %d unsure %d, joined %d split %d\n", t.truth, t.found, t.extra, t.unsure, t.asOne, t.split)
	slices.Sort(t.overlap)
	if n := len(t.overlap); n > 0 {
		fmt.Printf("overlap of found fruit: mean %.4f median %.4f tenth lowest of a hundred %.4f lowest %.4f; edge %+.2f px outwards\n", mean(t.overlap), t.overlap[n/2], t.overlap[n/10], t.overlap[0], mean(t.bias))
	}
	names := make([]string, 0, len(t.fruitTrue))
	for n := range t.fruitTrue {
		names = append(names, n)
	}
	slices.Sort(names)
	for _, n := range names {
		fmt.Printf("  %-20s found %2d of %2d, overlap %.3f\n", n, t.fruitFound[n], t.fruitTrue[n], t.fruitOverlap[n]/math.Max(1, float64(t.fruitFound[n])))
	}
}

func mean(v []float64) float64 {
	s := 0.0
	for _, x := range v {
		s += x
	}
	return s / float64(max(1, len(v)))
}
