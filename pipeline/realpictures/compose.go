package main

import (
	"fmt"
	"image"
	"image/color"
	_ "image/jpeg" // decoder
	_ "image/png"  // decoder
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"

	"offtype/pipeline/scene"
)

// picture is a composed photograph with its truth: 0 ground, else the number of the fruit on top.
type picture struct {
	name, ground string
	image        *image.NRGBA
	label        []uint8
	fruits       []string // names, fruit 1 first
	touching     bool
}

// folders says where the packages are unpacked.
type folders struct {
	cuts, grounds, photos, scenes string
	draw                          uint64 // another number gives other pictures of the same cut-outs
}

func readPicture(path string) (image.Image, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	im, _, err := image.Decode(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return im, nil
}

// readGround reads a surface, or cuts the largest empty square out of a rendered scene.
func (d folders) readGround(name string) (*layer, error) {
	sc, ok := strings.CutPrefix(name, "scene:")
	if !ok {
		im, err := readPicture(filepath.Join(d.grounds, name))
		if err != nil {
			return nil, err
		}
		return fromImage(im), nil
	}
	s, err := scene.Read(d.scenes, sc)
	if err != nil {
		return nil, err
	}
	im, err := readPicture(s.Photo)
	if err != nil {
		return nil, err
	}
	for _, c := range s.Cards { // a card's bounding box is no table
		lo, hi := c.CornersPx[0], c.CornersPx[0]
		for _, p := range c.CornersPx {
			lo[0], lo[1], hi[0], hi[1] = min(lo[0], p[0]), min(lo[1], p[1]), max(hi[0], p[0]), max(hi[1], p[1])
		}
		for y := int(lo[1]) - 10; y < int(hi[1])+10; y++ {
			for x := int(lo[0]) - 10; x < int(hi[0])+10; x++ {
				s.Labels.SetGray(x, y, color.Gray{Y: 255})
			}
		}
	}
	sq := emptySquare(s.Labels)
	sq = sq.Inset(sq.Dx() / 8) // stalks and shadows at its border carry no label
	l := newLayer(sq.Dx(), sq.Dy())
	full := fromImage(im)
	for i := range l.a {
		l.c[i], l.a[i] = full.c[(sq.Min.Y+i/l.w)*full.w+sq.Min.X+i%l.w], 1
	}
	return l, nil
}

// emptySquare is the largest square of zeros.
func emptySquare(g *image.Gray) image.Rectangle {
	b := g.Bounds()
	side := make([]int, b.Dx()+1) // of the square ending at (x-1, y)
	best, at := 0, image.Point{}
	for y := range b.Dy() {
		diag := 0
		for x := range b.Dx() {
			was := side[x+1]
			if g.GrayAt(x, y).Y != 0 {
				side[x+1] = 0
			} else {
				side[x+1] = 1 + min(diag, side[x], was)
			}
			diag = was
			if side[x+1] > best {
				best, at = side[x+1], image.Pt(x, y)
			}
		}
	}
	return image.Rect(at.X-best+1, at.Y-best+1, at.X+1, at.Y+1)
}

// table is a picture in the making.
type table struct {
	*layer
	picture
	rng            *rand.Rand
	lightX, lightY float64 // way of the shadows, unit length
	dark           float64 // 0–1, depth of the shadows
	minGap         int     // px between fruit that do not touch
}

// newTable is an empty table; its light comes from the random number seed.
func newTable(w, h int, draw, seed uint64) *table {
	rng := rand.New(rand.NewPCG(20260+draw, seed))
	a := rng.Float64() * 2 * math.Pi
	t := &table{layer: newLayer(w, h), rng: rng, lightX: math.Cos(a), lightY: math.Sin(a), dark: 0.25 + 0.4*rng.Float64(), minGap: 14}
	t.label = make([]uint8, w*h)
	return t
}

// compose draws picture number i: its surface, its fruit, light, noise. The same number gives the same picture.
func compose(d folders, i int, cuts []cut, w, h, most int) (*picture, error) {
	g := grounds[i%len(grounds)]
	gl, err := d.readGround(g.file)
	if err != nil {
		return nil, err
	}
	t := newTable(w, h, d.draw, uint64(i))
	rng := t.rng
	t.layer = gl.tiled(w, h, g.zoom)
	t.name, t.ground, t.touching = fmt.Sprintf("real-%02d", i+1), g.file, i%2 == 1
	want, read := 3+rng.IntN(most-2), map[string]*layer{}
	order := rng.Perm(len(cuts))
	for k := range want {
		c := cuts[order[k%len(order)]]
		if read[c.file] == nil {
			im, err := readPicture(filepath.Join(d.cuts, c.file))
			if err != nil {
				return nil, err
			}
			read[c.file] = fromImage(im)
		}
		src := read[c.file]
		zoom := float64(c.pix) * (0.7 + 0.3*rng.Float64()) / float64(max(src.w, src.h))
		s := src.turned(zoom, 2*math.Pi*rng.Float64())
		if x, y, ok := t.place(s, t.touching && k > 0 && rng.Float64() < 0.7); ok {
			t.put(s, x, y)
			t.fruits = append(t.fruits, strings.TrimSuffix(filepath.Base(c.file), ".png"))
		}
	}
	t.finish()
	return &t.picture, nil
}

// hits says whether s, its top-left corner at (x, y) and grown by gap px, meets a fruit or leaves the picture.
func (t *table) hits(s *layer, x, y, gap int) bool {
	if x < 20 || y < 20 || x+s.w > t.w-20 || y+s.h > t.h-20 {
		return true
	}
	step := max(1, gap/3)
	for j := 0; j < s.h; j++ {
		for i := 0; i < s.w; i++ {
			if s.a[j*s.w+i] < 0.5 {
				continue
			}
			for dy := -gap; dy <= gap; dy += step {
				for dx := -gap; dx <= gap; dx += step {
					if t.label[min(t.h-1, max(0, y+j+dy))*t.w+min(t.w-1, max(0, x+i+dx))] != 0 {
						return true
					}
				}
			}
		}
	}
	return false
}

// place finds a free spot; with touch it moves the fruit on from there to the middle of another
// until the next step would overlap.
func (t *table) place(s *layer, touch bool) (x, y int, ok bool) {
	for range 60 {
		x, y = t.rng.IntN(max(1, t.w-s.w)), t.rng.IntN(max(1, t.h-s.h))
		if t.hits(s, x, y, t.minGap) {
			continue
		}
		if !touch {
			return x, y, true
		}
		cx, cy := t.middle(uint8(1 + t.rng.IntN(len(t.fruits))))
		fx, fy := float64(x), float64(y)
		dx, dy := cx-fx-float64(s.w)/2, cy-fy-float64(s.h)/2
		n := math.Hypot(dx, dy)
		for k := 1; float64(k) < n; k++ {
			nx, ny := int(fx+dx*float64(k)/n), int(fy+dy*float64(k)/n)
			if t.hits(s, nx, ny, 0) {
				break
			}
			x, y = nx, ny
		}
		return x, y, true
	}
	return 0, 0, false
}

func (t *table) middle(label uint8) (x, y float64) {
	n := 0.0
	for i, v := range t.label {
		if v == label {
			x, y, n = x+float64(i%t.w), y+float64(i/t.w), n+1
		}
	}
	return x / n, y / n
}

// put draws a soft cast shadow, a narrow one below the edge, and the fruit.
func (t *table) put(s *layer, x, y int) {
	size := float64(min(s.w, s.h))
	for _, sh := range []struct{ way, soft, depth float64 }{{0.07, 0.035, t.dark}, {0.015, 0.012, 0.35}} {
		pad := int(size * 0.25)
		w, h := s.w+2*pad, s.h+2*pad
		v := make([]float32, w*h)
		for i, a := range s.a {
			v[(pad+i/s.w)*w+pad+i%s.w] = a
		}
		v = blurred(v, w, h, 1+int(size*sh.soft))
		ox, oy := x-pad+int(t.lightX*size*sh.way), y-pad+int(t.lightY*size*sh.way)
		for i, a := range v {
			px, py := ox+i%w, oy+i/w
			if a < 0.004 || px < 0 || py < 0 || px >= t.w || py >= t.h {
				continue
			}
			for n := range 3 {
				c := &t.c[py*t.w+px][n]
				*c = dim(*c, 1-sh.depth*float64(a))
			}
		}
	}
	for i, a := range s.a {
		k := (y+i/s.w)*t.w + x + i%s.w
		for n := range 3 {
			t.c[k][n] = s.c[i][n] + (1-a)*t.c[k][n]
		}
		if a >= 0.5 {
			t.label[k] = uint8(len(t.fruits) + 1)
		}
	}
}

// finish adds a slow fall-off of the light, camera noise, and turns the table into a photo.
func (t *table) finish() {
	t.image = image.NewNRGBA(image.Rect(0, 0, t.w, t.h))
	fall := 0.3 * t.rng.Float64()
	for i, c := range t.c {
		x, y := float64(i%t.w)/float64(t.w)-.5, float64(i/t.w)/float64(t.h)-.5
		k := 1 - fall*(t.lightX*x+t.lightY*y)
		for n := range 3 {
			v := float64(dim(c[n], k)) + 1.5*t.rng.NormFloat64()
			t.image.Pix[4*i+n] = uint8(min(255, max(0, math.Round(v))))
		}
		t.image.Pix[4*i+3] = 255
	}
}
