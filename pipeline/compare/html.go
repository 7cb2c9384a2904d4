package compare

import (
	_ "embed" // the page
	"fmt"
	"html/template"
	"image"
	"io"
	"math"
	"strings"

	"offtype/measure/colour"
	"offtype/pipeline/picture"
	"offtype/pipeline/record"
)

// Pictures loads a photo's preview for cut-outs: the picture and how many of its pixels one photo pixel
// spans. An error means that the photo cannot be read; the page then goes without its fruit.
type Pictures func(side *Side, photo string) (image.Image, float64, error)

//go:embed compare.html.tmpl
var pageText string

//go:embed compare.css
var css string

var page = template.Must(template.New("compare").Funcs(template.FuncMap{
	"num":    func(x *float64, d int, unit string) string { return number(x, d, unit) },
	"inc":    func(i int) int { return i + 1 },
	"swatch": swatch,
	"join":   strings.Join,
}).Parse(pageText))

const (
	rowsShown = 6   // fruit a side in a row of cut-outs
	cutHeight = 150 // px of the longest fruit shown
)

func number(x *float64, d int, unit string) string {
	if x == nil {
		return "–"
	}
	return amount(*x, d, unit)
}

// swatch gives the sRGB colour of a CIELAB colour for the page.
func swatch(l *[3]float64) template.CSS {
	if l == nil {
		return "transparent"
	}
	c := colour.Lab{L: l[0], A: l[1], B: l[2]}.Bytes()
	return template.CSS(fmt.Sprintf("#%02x%02x%02x", c[0], c[1], c[2])) // six hexadecimal digits
}

type pageView struct {
	*Result
	Title string
	CSS   template.CSS
	Views []pairView
}

type pairView struct {
	Pair
	Views []sectionView
	Lone  []loneView
}

// loneView shows the fruit of a group that one harvest has and the other lacks.
type loneView struct {
	GroupPair
	Harvest string
	Cuts    []cutView
	ScalePx int // length of a 50 mm bar
}

type sectionView struct {
	*Section
	Plots    []plotView
	From, To []cutView
	NoPhotos string
	ScalePx  int // length of a 50 mm bar
}

type cutView struct {
	Src  template.URL
	W, H int
	Name string
}

type plotView struct {
	Trait
	SVG template.HTML
}

// WriteHTML writes the page: one self-contained file. pictures may be nil.
func (r *Result) WriteHTML(w io.Writer, sides []Side, pictures Pictures) error {
	v := pageView{Result: r, CSS: template.CSS(css)}
	var names []string
	byName := map[string]*Side{}
	for i := range sides {
		names = append(names, sides[i].Name)
		byName[sides[i].Name] = &sides[i]
	}
	v.Title = strings.Join(names, ", ")
	c := &cutter{load: pictures, preview: map[string]loaded{}}
	for _, p := range r.Pairs {
		pv := pairView{Pair: p}
		a, b := newTable(byName[p.From], nil), newTable(byName[p.To], nil)
		perMM := pairScale(&p, a, b)
		for _, s := range p.Sections {
			sv := sectionView{Section: s}
			for i, t := range s.Traits {
				if i < len(s.points) {
					sv.Plots = append(sv.Plots, plotView{t, dotPlot(s.points[i], &t, p.From, p.To)})
				}
			}
			c.rows(&sv, byName[p.From], byName[p.To], a.shown(s.FromGroup, rowsShown), b.shown(s.ToGroup, rowsShown), perMM)
			pv.Views = append(pv.Views, sv)
		}
		for _, g := range p.Groups {
			side, fs := byName[p.To], b.shown(g.To, rowsShown)
			switch {
			case c.load == nil || perMM == 0 || g.From != 0 && g.To != 0:
				continue
			case g.To == 0:
				side, fs = byName[p.From], a.shown(g.From, rowsShown)
			}
			if cuts, _ := c.row(side, fs, perMM); len(cuts) > 0 {
				pv.Lone = append(pv.Lone, loneView{GroupPair: g, Harvest: side.Name, Cuts: cuts, ScalePx: int(math.Round(50 * perMM))})
			}
		}
		v.Views = append(v.Views, pv)
	}
	return page.Execute(w, v)
}

// cutter makes cut-outs, each photo read once for a run of its fruit.
type cutter struct {
	load    Pictures
	preview map[string]loaded
	order   []string
}

type loaded struct {
	im    image.Image
	scale float64
	err   error
}

// maxPreviews bounds the photos held at once.
const maxPreviews = 6

func (c *cutter) get(s *Side, photo string) loaded {
	key := s.Name + "\x00" + photo
	if l, ok := c.preview[key]; ok {
		return l
	}
	var l loaded
	l.im, l.scale, l.err = c.load(s, photo)
	if len(c.order) >= maxPreviews {
		delete(c.preview, c.order[0])
		c.order = c.order[1:]
	}
	c.preview[key], c.order = l, append(c.order, key)
	return l
}

// pairScale is the one scale of all pictures of a pair, px a mm; 0 when no outline has a size.
func pairScale(p *Pair, a, b *table) float64 {
	most := 0.0
	see := func(t *table, g int) {
		for _, f := range t.shown(g, rowsShown) {
			most = math.Max(most, f.LongestMM())
		}
	}
	for _, s := range p.Sections {
		see(a, s.FromGroup)
		see(b, s.ToGroup)
	}
	for _, g := range p.Groups {
		if g.From == 0 {
			see(b, g.To)
		} else if g.To == 0 {
			see(a, g.From)
		}
	}
	if most == 0 {
		return 0
	}
	return cutHeight / most
}

// rows fills in the cut-outs of both sides at one scale.
func (c *cutter) rows(v *sectionView, a, b *Side, fa, fb []*record.Fruit, perMM float64) {
	if c.load == nil {
		v.NoPhotos = "The photos are not at hand here, so that there are no pictures."
		return
	}
	if perMM == 0 || len(fa)+len(fb) == 0 {
		v.NoPhotos = "No outlines with a size are at hand, so that there are no pictures."
		return
	}
	v.ScalePx = int(math.Round(50 * perMM))
	var lostA, lostB int
	v.From, lostA = c.row(a, fa, perMM)
	v.To, lostB = c.row(b, fb, perMM)
	if missing := lostA + lostB; missing > 0 {
		v.NoPhotos = fmt.Sprintf("%s could not be shown: the photos were moved or removed.", record.Count(missing, "fruit", "fruit"))
	}
}

// row cuts the fruit of one side out, and counts those that could not be.
func (c *cutter) row(side *Side, fs []*record.Fruit, perMM float64) (out []cutView, missing int) {
	for _, f := range fs {
		l := c.get(side, f.Photo)
		if l.err != nil {
			missing++
			continue
		}
		cut := picture.CutOut(l.im, l.scale, f, perMM)
		jpg, err := picture.JPEG(cut.Image, 82)
		if err != nil {
			missing++
			continue
		}
		name := fmt.Sprintf("fruit %d", f.Number)
		if f.Plant != "" {
			name = fmt.Sprintf("plant %s, fruit %d", f.Plant, f.Number)
		}
		size := cut.Image.Bounds()
		out = append(out, cutView{template.URL(picture.DataURI(jpg)), size.Dx(), size.Dy(), name})
	}
	return out, missing
}

// dotPlot draws one dot a plant for both harvests, with mean and interval of the mean's difference
// said in the text beside it. Shapes differ too, so that it reads without colour.
func dotPlot(pts [2][]float64, t *Trait, from, to string) template.HTML {
	const w, h, left, right = 420.0, 64.0, 10.0, 410.0
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, side := range pts {
		for _, x := range side {
			lo, hi = math.Min(lo, x), math.Max(hi, x)
		}
	}
	if math.IsInf(lo, 0) {
		return ""
	}
	if hi == lo {
		lo, hi = lo-1, hi+1
	}
	pad := 0.06 * (hi - lo)
	lo, hi = lo-pad, hi+pad
	x := func(v float64) float64 { return left + (v-lo)/(hi-lo)*(right-left) }
	var b strings.Builder
	fmt.Fprintf(&b, `<svg viewBox="0 0 %g %g" role="img" aria-label="%s"><line class="axis" x1="%g" y1="48" x2="%g" y2="48"/>`, w, h,
		template.HTMLEscapeString(fmt.Sprintf("%s of each plant, %s and %s", t.Label, from, to)), left, right)
	for side, y := range []float64{14, 34} {
		for _, v := range pts[side] {
			if side == 0 {
				fmt.Fprintf(&b, `<circle class="a" cx="%.1f" cy="%g" r="4"/>`, x(v), y)
			} else {
				fmt.Fprintf(&b, `<rect class="b" x="%.1f" y="%g" width="7" height="7"/>`, x(v)-3.5, y-3.5)
			}
		}
		if m := []*float64{t.FromMean, t.ToMean}[side]; m != nil {
			fmt.Fprintf(&b, `<line class="mean" x1="%.1f" y1="%g" x2="%.1f" y2="%g"/>`, x(*m), y-9, x(*m), y+9)
		}
	}
	fmt.Fprintf(&b, `<text x="%g" y="61">%s</text><text class="end" x="%g" y="61">%s</text></svg>`, left,
		template.HTMLEscapeString(amount(lo+pad, t.Decimals, t.Unit)), right, template.HTMLEscapeString(amount(hi-pad, t.Decimals, t.Unit)))
	return template.HTML(b.String()) // numbers and escaped texts only
}
