package card

import (
	"fmt"
	"io"
	"strconv"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"offtype/pipeline/vision"
)

// Paper is a paper size.
type Paper string

// The papers that a card fits on.
const (
	A4     Paper = "a4"
	Letter Paper = "letter"
)

// size returns width and height upright, mm (ISO 216; ANSI Y14.1).
func (p Paper) size() (w, h float64, err error) {
	switch p {
	case A4:
		return 210, 297, nil
	case Letter:
		return 215.9, 279.4, nil
	}
	return 0, 0, fmt.Errorf("paper %q: use a4 or letter", string(p))
}

// sheetPDF draws on one document in mm, lying paper.
type sheetPDF struct {
	*fpdf.Fpdf
	w, h float64
}

func newPDF(p Paper, title string) (*sheetPDF, error) {
	w, h, err := p.size()
	if err != nil {
		return nil, err
	}
	d := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "L", UnitStr: "mm", Size: fpdf.SizeType{Wd: w, Ht: h}})
	d.SetMargins(0, 0, 0)
	d.SetAutoPageBreak(false, 0)
	d.SetCatalogSort(true)
	day := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC) // fixed: the same card is the same file
	d.SetCreationDate(day)
	d.SetModificationDate(day)
	d.SetTitle(title, true)
	d.SetLineCapStyle("butt")
	return &sheetPDF{d, h, w}, nil
}

func (d *sheetPDF) grey(v int) {
	d.SetFillColor(v, v, v)
	d.SetDrawColor(v, v, v)
	d.SetTextColor(v, v, v)
}

// marker draws a marker as vector rectangles: runs along rows and along columns, which overlap, so
// that no hairlines appear between them.
func (d *sheetPDF) marker(dict vision.Dictionary, id int, x, y, side float64) error {
	c, err := cells(dict, id)
	if err != nil {
		return err
	}
	n := len(c)
	w := side / float64(n)
	d.grey(black)
	for t := 0; t < 2; t++ {
		for i := 0; i < n; i++ {
			for j := 0; j < n; {
				at := func(k int) bool {
					if t == 0 {
						return c[i][k]
					}
					return c[k][i]
				}
				if !at(j) {
					j++
					continue
				}
				k := j
				for k < n && at(k) {
					k++
				}
				a, b, l := float64(i)*w, float64(j)*w, float64(k-j)*w
				if t == 0 {
					d.Rect(x+b, y+a, l, w, "F")
				} else {
					d.Rect(x+a, y+b, w, l, "F")
				}
				j = k
			}
		}
	}
	return nil
}

// text writes one line with its baseline at y; size in pt.
func (d *sheetPDF) text(x, y, size float64, style, s string) {
	d.SetFont("Helvetica", style, size)
	d.Text(x, y, s)
}

// cutMarks draws the cut line of a rectangle: a thin grey outline and short marks outside its corners.
func (d *sheetPDF) cutMarks(x, y, w, h float64) {
	d.grey(150)
	d.SetLineWidth(0.1)
	d.Rect(x, y, w, h, "D")
	const gap, l = 1.5, 4.0
	for _, cx := range []float64{x, x + w} {
		for _, cy := range []float64{y, y + h} {
			sx, sy := -1.0, -1.0
			if cx > x {
				sx = 1
			}
			if cy > y {
				sy = 1
			}
			d.Line(cx+sx*gap, cy, cx+sx*(gap+l), cy)
			d.Line(cx, cy+sy*gap, cx, cy+sy*(gap+l))
		}
	}
}

// WritePDF writes card number 0–9 as a one-page vector PDF of exact size.
func WritePDF(w io.Writer, number int, paper Paper) error {
	if number < 0 || number > MaxCard {
		return fmt.Errorf("card number %d: use 0 to %d; each card on one table needs its own number", number, MaxCard)
	}
	l := Revision1()
	d, err := newPDF(paper, fmt.Sprintf("Scale card %d, revision %d", number, l.Revision))
	if err != nil {
		return err
	}
	d.AddPage()
	x0, y0 := (d.w-l.WidthMM)/2, (d.h-l.HeightMM)/2
	d.grey(60)
	d.text(x0+9, y0-7.5, 9, "B", fmt.Sprintf("Scale card %d. Print at 100 %% (actual size), not \"fit to page\", on matt white paper.", number))
	d.text(x0+9, y0-3.5, 8, "", "Then lay a ruler on the line in the middle. If it does not read 100 mm, tell the program what it reads (card length).")
	d.text(x0+9, y0+l.HeightMM+5, 8, "", "Glue the sheet flat on stiff board that light cannot pass through, then cut along the grey line. Do not laminate: shine hides the colours.")
	d.text(x0+9, y0+l.HeightMM+9, 8, "", "Lay the card level with the fruit, all of it in the picture, without shade or shine. Several cards on one table need different numbers.")
	d.cutMarks(x0, y0, l.WidthMM, l.HeightMM)
	for k, at := range l.Markers.TopLeftMM {
		if err := d.marker(vision.Dict4x4x50, 4*number+k, x0+at[0], y0+at[1], l.Markers.SideMM); err != nil {
			return err
		}
	}
	for _, p := range l.Patches {
		d.SetFillColor(int(p.SRGB[0]), int(p.SRGB[1]), int(p.SRGB[2]))
		d.Rect(x0+p.Rect[0], y0+p.Rect[1], p.Rect[2], p.Rect[3], "F")
	}
	d.checkLine(l, x0, y0)
	f := l.WritingField
	d.grey(90)
	d.SetLineWidth(0.25)
	d.Rect(x0+f[0], y0+f[1], f[2], f[3], "D")
	d.grey(120)
	for i, s := range []string{"variety", "seed lot", "date"} {
		d.text(x0+f[0]+2, y0+f[1]+f[3]*(float64(i)+0.3)/3, 7, "", s)
	}
	d.text(x0+f[0], y0+f[1]+f[3]+3.5, 7, "", fmt.Sprintf("card %d, revision %d", number, l.Revision))
	return d.Output(w)
}

// checkLine draws the line whose end strokes are 100 mm apart, middle to middle.
func (d *sheetPDF) checkLine(l *Layout, x0, y0 float64) {
	a, b := l.CheckLine.From, l.CheckLine.To
	d.grey(30)
	d.SetLineWidth(0.3)
	d.Line(x0+a[0], y0+a[1], x0+b[0], y0+b[1])
	for _, q := range [][2]float64{a, b} {
		d.Line(x0+q[0], y0+q[1]-4, x0+q[0], y0+q[1]+4)
	}
	d.SetFont("Helvetica", "", 10)
	s := "100 mm"
	d.Text(x0+(a[0]+b[0]-d.GetStringWidth(s))/2, y0+a[1]-2.5, s)
}

// WriteTags writes plant tags as vector PDF pages of exact size, in the order given. Plants: 1–249.
func WriteTags(w io.Writer, plants []int, paper Paper) error {
	if len(plants) == 0 {
		return fmt.Errorf("no plant numbers given; for example 1-24")
	}
	l := Revision1()
	d, err := newPDF(paper, "Plant tags")
	if err != nil {
		return err
	}
	t := &l.Tag
	const margin = 8.0
	cols, rows := int((d.w-2*margin)/t.WidthMM), int((d.h-2*margin-8)/t.HeightMM)
	x0, y0 := (d.w-float64(cols)*t.WidthMM)/2, (d.h-float64(rows)*t.HeightMM)/2
	for i, plant := range plants {
		if plant < 1 || plant > MaxPlant {
			return fmt.Errorf("plant number %d: use 1 to %d", plant, MaxPlant)
		}
		k := i % (cols * rows)
		if k == 0 {
			d.AddPage()
			d.grey(60)
			d.text(x0+9, y0-7, 8, "", "Print at 100 % (actual size) on matt paper and glue on stiff board before cutting. Lay each tag flat at the left end of its plant's row.")
		}
		x, y := x0+float64(k%cols)*t.WidthMM, y0+float64(k/cols)*t.HeightMM
		d.cutMarks(x, y, t.WidthMM, t.HeightMM)
		m := &t.Marker
		if err := d.marker(vision.Dict5x5x250, plant, x+m.TopLeftMM[0], y+m.TopLeftMM[1], m.SideMM); err != nil {
			return err
		}
		b := t.TextBox
		s := strconv.Itoa(plant)
		d.grey(30)
		d.SetFont("Helvetica", "B", 40)
		d.Text(x+b[0]+(b[2]-d.GetStringWidth(s))/2, y+b[1]+b[3]/2+6, s)
		d.SetFont("Helvetica", "", 8)
		d.Text(x+b[0]+(b[2]-d.GetStringWidth("plant"))/2, y+b[1]+b[3]/2+12, "plant")
	}
	return d.Output(w)
}
