// Package report writes what people read: one self-contained page of a run, measurement sheets
// and bench sheets. It gets plain results and pictures and knows neither the book nor the page server.
package report

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"image"
	"path"
	"sort"
	"strings"
	"sync"
	"unicode"

	"offtype/cluster/lot"
	"offtype/pipeline/record"
)

//go:embed report.html.tmpl
var pageSource string

//go:embed report.css
var pageStyle string

var pages = template.Must(template.New("report").Parse(pageSource + `{{define "one"}}` + onePhotoPage + `{{end}}`))

// onePhotoPage is the page of one photo, where there are too many for one page.
const onePhotoPage = `<!doctype html><html lang="{{.P.Lang}}"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><meta name="color-scheme" content="light dark"><title>{{.V.Name}}</title><style>{{.P.CSS}}</style></head><body><main><p><a href="../report.html">{{.P.Title}}</a></p>{{template "photo" .V}}{{template "fruits" .R}}</main></body></html>`

// Loader gives a photo's preview (nil when there is none), its scale in preview px a photo px,
// and its fruit with outlines. HTML calls it once for each measured photo, from Options.Workers goroutines.
type Loader func(photo string) (preview image.Image, scale float64, fruits []record.Fruit, err error)

// Options of the page.
type Options struct {
	Title     string        // heading; empty: made from the variety
	Cautions  []string      // sentences; chosen by the species and the findings
	Problems  []string      // what went wrong outside single photos
	Next      []record.Step // what to do now
	SplitOver int           // photos above which each gets a page of its own (60)
	White     record.White  // that colours are shown with
	Workers   int           // photos drawn at a time; 0: 1. The pages are the same with any number
}

// Page is one file of the report.
type Page struct {
	Name string // relative to the report's folder
	Data []byte
}

// HTML makes the report's pages and hands each to put: with many photos one page a photo, as soon as it is made, so
// that none stays in memory, and report.html at the end. put is called by several goroutines.
func HTML(run *record.Run, load Loader, o Options, put func(Page) error) error {
	if o.SplitOver == 0 {
		o.SplitOver = 60
	}
	b := newBuilder(run, load, o)
	b.put = put
	if err := b.photos(); err != nil {
		return err
	}
	b.groups()
	b.strip()
	b.likeness()
	b.plants()
	b.tables()
	var main bytes.Buffer
	if err := pages.Execute(&main, b.page); err != nil {
		return fmt.Errorf("make the report page: %w", err)
	}
	return put(Page{Name: "report.html", Data: main.Bytes()})
}

// findingSentences is how many sentences on the lot stand large at the top: count and rate.
const findingSentences = 2

type page struct {
	Lang, Title string
	CSS         template.CSS
	T           texts
	Headline    string   // which plants or fruit are off-type
	Finding     []string // the first sentences on the lot
	More        []string // the others, as a list: how sure it is
	Strip       []stripView
	StripMore   string // how many groups are not in it
	Next        []record.Step
	Figures     []figure
	Problems    []string
	Groups      []groupView
	Likeness    template.HTML
	ScaleBar    int
	Unscaled    bool // some fruit have no scale
	Plants      []plantView
	Photos      []photoView
	PhotoLinks  []link
	FruitHead   []string
	FruitRows   []fruitView
	Cautions    []string
	Method      []string
	Limits      []string
	PhotoRows   [][]string
	Program     string
	Settings    []string
}

type (
	figure struct{ Value, Name string }
	link   struct{ Href, Name, Text string }
	cut    struct {
		Src               template.URL
		W, H              int
		Alt, Caption, Sub string
		Href              string // to the fruit on its photo
		Unscaled          bool   // drawn to fit
	}
	stripView struct { // a group at a glance, at the top of the page
		Number                           int
		Cut                              cut
		Who, Verdict, VerdictClass, Mark string
	}
	tagView struct { // plant number beside its tag
		X, Y, Size float64
		Text       string
	}
	groupView struct {
		Number                      int
		Colour, Heading             string
		Shape, Fill                 string // mark of the group, as in the pictures of likeness
		Verdict, VerdictClass, Mark string
		Reasons                     []string
		Cuts                        []cut
	}
	plantView struct {
		Plant                string
		Fruits               int
		Verdict, Class, Mark string
		Reasons              []string
	}
	shapeView struct {
		Anchor, Outline, Stalk, Length, Width string
		Colour, Dash, Mark                    string
		X, Y, Size                            float64
		Number                                int
	}
	photoView struct {
		Name, Message, Alt, Text string
		Src                      template.URL
		W, H                     int
		Quads                    []string
		Tags                     []tagView
		Fruits                   []shapeView
	}
	fruitView struct {
		Class, Photo                              string
		Number                                    int
		Plant, Group, Length, Width, Ratio, Shape string
		Swatches                                  []template.CSS
		Colour, Pattern                           string
		Verdict, VerdictClass, Mark               string
		Reasons                                   []string
		Notes                                     string
	}
)

// builder collects the page's parts.
type builder struct {
	run  *record.Run
	load Loader
	opt  Options
	page *page
	put  func(Page) error

	member  map[record.Key]record.Membership
	verdict map[record.Key]record.FruitVerdict
	fruits  map[string][]int // photo → indices into run.Fruits
	mu      sync.Mutex
	cuts    map[int][]cut // group → cut-outs; guarded by mu
	pxPerMM float64
	pageOf  map[string]string // photo → its own page, when there are many

	photosMeasured int
}

func newBuilder(run *record.Run, load Loader, o Options) *builder {
	run, load = knownRun(run), load.known()
	b := &builder{run: run, load: load, opt: o, member: map[record.Key]record.Membership{}, verdict: map[record.Key]record.FruitVerdict{},
		fruits: map[string][]int{}, cuts: map[int][]cut{}, pageOf: photoPageNames(run.Photos), photosMeasured: run.PhotosMeasured()}
	for _, m := range run.Groups {
		b.member[m.Key] = m
	}
	for _, v := range run.Judgement.Fruits {
		b.verdict[record.Key{Photo: v.Photo, Number: v.Fruit}] = v
	}
	for i := range run.Fruits {
		b.fruits[run.Fruits[i].Photo] = append(b.fruits[run.Fruits[i].Photo], i)
	}
	t := english
	t.FruitIntro = fmt.Sprintf(t.FruitIntro, o.White)
	switch g := run.Grouping; {
	case g == nil:
	case g.Given > 0:
		t.GroupsIntro += " " + fmt.Sprintf(t.GroupsGiven, record.Count(g.Given, "group", "groups"))
	default:
		t.GroupsIntro += " " + t.GroupsFound
	}
	if len(run.Photos) == 0 && len(run.Fruits) > 0 {
		t.Kicker = t.KickerTable
	}
	p := &page{Lang: t.Lang, CSS: template.CSS(pageStyle), T: t, FruitHead: t.FruitHead, Method: methodText(run, &t), Limits: t.LimitText,
		Cautions: o.Cautions, Next: o.Next, Headline: run.Headline(), Title: o.Title, Program: run.Program}
	b.page = p
	if p.Title == "" {
		p.Title = "Harvest check"
		if v := run.Judgement.Variety; v != nil {
			p.Title = "Harvest check: " + v.Name
			p.Settings = append(p.Settings, "description version "+v.Version)
		}
	}
	keys := make([]string, 0, len(run.Settings))
	for k := range run.Settings {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	for _, k := range keys {
		p.Settings = append(p.Settings, k+" "+run.Settings[k])
	}
	b.head()
	return b
}

func (b *builder) head() {
	j := b.run.Judgement
	ok, failed, dup := 0, 0, 0
	for _, p := range b.run.Photos {
		switch p.Status {
		case record.StatusFailed:
			failed++
			b.page.Problems = append(b.page.Problems, p.Name+": "+p.Message)
		case record.StatusDuplicate:
			dup++
		default:
			ok++
		}
	}
	b.page.Problems = append(b.page.Problems, b.opt.Problems...)
	if n := b.unsure(); n > 0 {
		b.page.Problems = append(b.page.Problems, record.Count(n, "outline is", "outlines are")+" not sure. They carry a ? on the photos. Check them, and correct them with offtype fix or on the page of offtype desk.")
	}
	b.page.Finding = j.Lot.Sentences
	if len(b.page.Finding) > findingSentences {
		b.page.Finding, b.page.More = b.page.Finding[:findingSentences], b.page.Finding[findingSentences:]
	}
	if len(b.page.Finding) == 0 {
		b.page.Finding = []string{fmt.Sprintf("%s in %s.", record.Count(len(b.run.Fruits), "fruit", "fruit"), record.Count(len(j.Groups), "group", "groups"))}
	}
	f := []figure{{fmt.Sprint(len(b.run.Fruits)), "fruit"}, {fmt.Sprint(len(j.Groups)), "groups"}}
	if len(j.Plants) > 0 {
		f = append(f, figure{fmt.Sprint(len(j.Plants)), "plants"})
	}
	if j.Lot.Unit == "plant" && j.Variety != nil {
		off := fmt.Sprint(j.Lot.Off)
		if j.Lot.Most > j.Lot.Off {
			off += "–" + fmt.Sprint(j.Lot.Most)
		}
		f = append(f, figure{off, "off-type plants"})
		if j.Lot.HasRange() {
			f = append(f, figure{strings.TrimSuffix(lot.Percent(*j.Lot.Low), " %") + "–" + lot.Percent(*j.Lot.High), "off-types in the seed lot (95 %)"})
		}
	}
	if len(b.run.Photos) > 0 {
		f = append(f, figure{fmt.Sprint(ok), "photos"})
	}
	if failed > 0 {
		f = append(f, figure{fmt.Sprint(failed), "photos failed"})
	}
	b.page.Figures = f
}

func (b *builder) unsure() int {
	n := 0
	for i := range b.run.Fruits {
		if b.run.Fruits[i].Unsure {
			n++
		}
	}
	return n
}

// likenessWide is the width of the pictures of likeness, mm: narrow, so that their words can be read on a phone.
const likenessWide = 105.0

func (b *builder) likeness() {
	l := newLikeness(b.run, likenessWide, b.page.T.Like)
	if l == nil {
		return
	}
	h := &htmlDoc{measure: roughWidth}
	for _, x := range l.blocks() {
		h.block(x)
	}
	b.page.Likeness = template.HTML(h.b.String())
}

// roughWidth is about the width of a text, mm; the page's letters are not known here.
func roughWidth(s string, i ink) float64 { return .52 * i.size * mmPerPt * float64(len([]rune(s))) }

// photoPageNames says where the page of each photo lies, from the report's folder. The names hold letters, digits,
// ".", "-" and "_" only, which a link need not escape; photos whose names become alike get a number.
func photoPageNames(photos []record.Photo) map[string]string {
	out, taken := map[string]string{}, map[string]bool{}
	for i := range photos {
		plain := strings.Map(func(r rune) rune {
			if r < 128 && (unicode.IsLetter(r) || unicode.IsDigit(r)) || strings.ContainsRune(".-_", r) {
				return r
			}
			return '_'
		}, photos[i].Name)
		name := plain
		for k := 2; taken[strings.ToLower(name)]; k++ {
			name = fmt.Sprintf("%s-%d", plain, k)
		}
		taken[strings.ToLower(name)] = true
		out[photos[i].Name] = path.Join("report-photos", name+".html")
	}
	return out
}

// photoPage writes one photo as a page of its own. p holds what all pages share.
func (b *builder) photoPage(p page, v photoView, rows []fruitView) error {
	p.FruitRows = rows
	var buf bytes.Buffer
	if err := pages.ExecuteTemplate(&buf, "one", map[string]any{"P": &p, "V": v, "R": &p}); err != nil {
		return fmt.Errorf("make the page of photo %q: %w", v.Name, err)
	}
	return b.put(Page{Name: b.pageOf[v.Name], Data: buf.Bytes()})
}
