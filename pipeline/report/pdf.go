package report

import (
	"bytes"
	_ "embed" // fonts
	"fmt"
	"io"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
)

// The font holds Latin, Greek, Cyrillic, Hebrew and Arabic letters; a subset of it goes into each PDF.
//
//go:embed fonts/DejaVuSansCondensed.ttf
var fontRegular []byte

//go:embed fonts/DejaVuSansCondensed-Bold.ttf
var fontBold []byte

const (
	fontName    = "dejavu"
	pageWidth   = 178.0 // mm, of the text; both papers are wider
	pageTop     = 20.0
	pageBottom  = 17.0
	lineSpacing = 1.32
)

// pdfDoc lays blocks out on pages. It is a canvas too, with its origin at (ox, oy).
type pdfDoc struct {
	*fpdf.Fpdf
	w, h, left float64
	y          float64 // where the next block begins, mm
	ox, oy     float64
	title      string
	t          *docTexts
	links      map[string]int
	marks      []partMark
}

type partMark struct{ id, text string }

// newPDF opens a document. paper is a4 or letter.
func newPDF(paper, title string, made time.Time, t *docTexts) (*pdfDoc, error) {
	d := &pdfDoc{title: title, t: t, links: map[string]int{}}
	switch paper {
	case "", "a4":
		d.w, d.h = 210, 297
	case "letter":
		d.w, d.h = 215.9, 279.4
	default:
		return nil, fmt.Errorf("paper %q: use a4 or letter", paper)
	}
	d.left = (d.w - pageWidth) / 2
	d.Fpdf = fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: fpdf.SizeType{Wd: d.w, Ht: d.h}})
	d.SetMargins(0, 0, 0)
	d.SetAutoPageBreak(false, 0)
	d.SetCatalogSort(true)
	d.SetCreationDate(made)
	d.SetModificationDate(made)
	d.SetTitle(clean(title), true)
	d.SetCreator("offtype", true)
	d.SetLang(t.Lang)
	d.AddUTF8FontFromBytes(fontName, "", fontRegular)
	d.AddUTF8FontFromBytes(fontName, "B", fontBold)
	d.AliasNbPages("{nb}")
	d.SetLineCapStyle("butt")
	d.SetLineJoinStyle("round")
	d.SetFooterFunc(d.foot)
	return d, d.Error()
}

func (d *pdfDoc) foot() {
	ox, oy := d.ox, d.oy
	d.ox, d.oy = d.left, 0
	y := d.h - 9
	d.path(line(0, y-4, pageWidth, y-4), false, pen{line: faint, w: .2})
	name := d.title
	for d.width(name, ink{size: 7}) > pageWidth-30 {
		name = name[:len(name)-len(lastRune(name))]
	}
	if name != d.title {
		name += "…"
	}
	d.text(0, y, name, ink{size: 7, colour: grey})
	s := fmt.Sprintf(d.t.PageOf, d.PageNo())
	d.text(pageWidth-d.width(strings.ReplaceAll(s, "{nb}", "00"), ink{size: 7}), y, s, ink{size: 7, colour: grey})
	d.ox, d.oy = ox, oy
}

func lastRune(s string) string {
	r := []rune(s)
	return string(r[len(r)-1])
}

func (d *pdfDoc) font(i ink) {
	st := ""
	if i.bold {
		st = "B"
	}
	d.SetFont(fontName, st, i.size)
}

func (d *pdfDoc) width(s string, i ink) float64 {
	d.font(i)
	return d.GetStringWidth(clean(s))
}

func (d *pdfDoc) text(x, y float64, s string, i ink) {
	if s == "" {
		return
	}
	v := visual(s)
	d.font(i)
	if i.box != "" {
		d.path(textBox(d, x, y, s, i), true, pen{fill: i.box})
	}
	switch w := d.GetStringWidth(v); i.at {
	case 'c':
		x -= w / 2
	case 'r':
		x -= w
	}
	d.SetTextColor(rgb(or(i.colour, black)))
	d.Text(d.ox+x, d.oy+y, v)
}

func (d *pdfDoc) path(p []spot, closed bool, s pen) {
	if len(p) < 2 {
		return
	}
	mode := ""
	if s.fill != "" {
		d.SetFillColor(rgb(s.fill))
		mode = "F"
	}
	if s.line != "" {
		d.SetDrawColor(rgb(s.line))
		d.SetLineWidth(s.w)
		d.SetDashPattern(s.dash, 0)
		mode += "D"
	}
	if mode == "" {
		return
	}
	d.MoveTo(d.ox+p[0].X, d.oy+p[0].Y)
	for _, q := range p[1:] {
		d.LineTo(d.ox+q.X, d.oy+q.Y)
	}
	if closed {
		d.ClosePath()
	}
	d.DrawPath(mode)
	if len(s.dash) > 0 {
		d.SetDashPattern(nil, 0)
	}
}

func (d *pdfDoc) pic(p *pic, x, y, w, h float64) {
	o := fpdf.ImageOptions{ImageType: "JPG"}
	if d.GetImageInfo(p.name) == nil {
		d.RegisterImageOptionsReader(p.name, o, bytes.NewReader(p.jpg))
	}
	d.ImageOptions(p.name, d.ox+x, d.oy+y, w, h, false, o, 0, "")
}

// room begins a new page when h mm do not fit below y.
func (d *pdfDoc) room(h float64) {
	if d.PageNo() == 0 || d.y+h > d.h-pageBottom {
		d.AddPage()
		d.y = pageTop
	}
	d.ox, d.oy = d.left, d.y
}

// wrap breaks s into lines of at most w mm; a word that is too long is cut.
func wrap(c canvas, s string, i ink, w float64) []string {
	var out []string
	for _, par := range strings.Split(s, "\n") {
		cur := ""
		for _, word := range strings.Fields(par) {
			for c.width(word, i) > w {
				rs := []rune(word)
				n := len(rs) - 1
				for n > 1 && c.width(string(rs[:n]), i) > w {
					n--
				}
				if cur != "" {
					out, cur = append(out, cur), ""
				}
				out = append(out, string(rs[:n]))
				word = string(rs[n:])
			}
			if t := strings.TrimSpace(cur + " " + word); c.width(t, i) <= w {
				cur = t
				continue
			}
			out, cur = append(out, cur), word
		}
		out = append(out, cur)
	}
	return out
}

func lineHeight(i ink) float64 { return i.size * mmPerPt * lineSpacing }

// lines writes wrapped text at the left edge x and moves y; long text goes on on the next page.
func (d *pdfDoc) lines(s string, i ink, x, w float64) {
	lh := lineHeight(i)
	ls := wrap(d, s, i, w)
	for n, l := range ls {
		need := lh
		if n == 0 && len(ls) > 1 {
			need = 2 * lh // no single first line at the foot of a page
		}
		d.room(need)
		if rightToLeft(l) && startsRight(l) {
			r := i
			r.at = 'r'
			d.text(x+w, .78*lh, l, r)
		} else {
			d.text(x, .78*lh, l, i)
		}
		d.y += lh
	}
}

// startsRight reports whether the first strong letter is written from right to left.
func startsRight(s string) bool {
	for _, r := range s {
		switch {
		case rightToLeft(string(r)):
			return true
		case r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z' || r >= 0xc0 && r < 0x590:
			return false
		}
	}
	return false
}

// write lays out the blocks.
func (d *pdfDoc) write(bs []block) error {
	for _, b := range bs {
		if h, ok := b.(heading); ok && h.level == 1 {
			d.links[h.id] = d.AddLink()
			d.marks = append(d.marks, partMark{h.id, h.text})
		}
	}
	for _, b := range bs {
		d.block(b)
		if err := d.Error(); err != nil {
			return fmt.Errorf("write the PDF: %w", err)
		}
	}
	return nil
}

// output writes the file.
func (d *pdfDoc) output(w io.Writer) error {
	if err := d.Output(w); err != nil {
		return fmt.Errorf("write the PDF: %w", err)
	}
	return nil
}
