package report

// The document is a list of blocks; the PDF and the page each have a way to show every kind.
type (
	block interface{}

	// heading opens a part: level 1 starts a new page, 2 a part of it.
	heading struct {
		text  string
		level int
		id    string
	}
	// para is running text.
	para struct {
		text string
		look look
	}
	// list is a list, or with boxes a list to tick off.
	list struct {
		items []string
		boxes bool
	}
	// frame is text that stands out, with a border.
	frame struct {
		title  string
		paras  []string
		strong bool
	}
	// numbers is a row of large figures with their names.
	numbers struct{ of []figure }
	// table is a table; widths are shares of the page's width.
	table struct {
		head   []string
		rows   [][]cell
		widths []float64
		tall   float64 // least height of a row, mm: room to write
	}
	cell struct {
		text   string
		bold   bool
		right  bool
		swatch string // colour shown before the text
		group  int    // mark of a group before the text
		pic    *pic   // small picture in place of the text
	}
	// facts is a table of names and values.
	facts struct{ rows [][2]string }
	// drawing is a figure of w × h mm. fit, where there is one, makes a lower one of at most room mm, so that
	// the rest of a page is used; it may refuse.
	drawing struct {
		w, h    float64
		alt     string
		caption string
		draw    func(c canvas)
		fit     func(room float64) (drawing, bool)
	}
	// contents lists the parts of level 1.
	contents struct{}
	// newPage begins a page in the PDF.
	newPage struct{}
	// keep asks for h mm on one page before the next block.
	keep struct{ h float64 }
)

type look int

const (
	plain look = iota
	small
	lead
	kicker
	title
)

func texted(ss ...string) []cell {
	out := make([]cell, len(ss))
	for i, s := range ss {
		out[i].text = s
	}
	return out
}
