package reference

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// FromWords makes a rough description from the words of a seed packet: sizes ("20 to 25 cm long",
// "8 inches wide", "1½ ft long"), shapes, colours and patterns in plain English. Ranges are wide and marked as not
// measured. The last note says which words were taken and which were not understood; an error says that none was.
func FromWords(text string, head Head) (*Description, error) {
	no := false
	d := &Description{Format: Format, Name: head.Name, Species: head.Species, Crop: head.Crop, Version: head.Version, Stage: head.Stage,
		Source: "words of a seed packet, not measured", Notes: []string{"Made from words, not from measurements: wide ranges, a first orientation only."}}
	p := newPacket(text)
	d.Traits.Length = p.size("length", lengthAfter, lengthBefore)
	d.Traits.Width = p.size("width", widthAfter, widthBefore)
	if d.Traits.Length == nil || d.Traits.Width == nil {
		d.Traits.Ratio = p.ratio()
	}
	if lab, tol, ok := p.colour(); ok {
		d.Skin = &Colour{Lab: lab[:], Tolerance: &tol, Measured: &no, Source: "colour word"}
	}
	d.Pattern = p.pattern()
	d.Shape = p.shapes()
	for _, r := range []*Range{d.Traits.Length, d.Traits.Width, d.Traits.Ratio} {
		if r != nil {
			r.Measured = &no
		}
	}
	if !d.says() {
		return nil, fmt.Errorf("no size, colour, shape or pattern was understood in %q; write for example \"20 to 25 cm long, 10 cm wide, tan, plain\"", text)
	}
	d.Notes = append(d.Notes, p.heard())
	return d, nil
}

// packet is what a packet says, and which of its words were taken.
type packet struct {
	text  string // as it stands there
	t     string // in small letters, as long as text, blank where it does not speak of the outside
	used  []bool // bytes of t that were taken
	taken []string
}

func newPacket(text string) *packet {
	low := strings.ToLower(text)
	if len(low) != len(text) { // a letter of another length: its own spelling is not kept
		text = low
	}
	return &packet{text: text, t: aside.ReplaceAllStringFunc(low, blank), used: make([]bool, len(low))}
}

// take marks words as taken, to the end of the last one, and returns them.
func (p *packet) take(from, to int) string {
	for to < len(p.t) {
		r, n := utf8.DecodeRuneInString(p.t[to:])
		if !unicode.IsLetter(r) && (r != '-' || to+1 == len(p.t) || p.t[to+1] == ' ') {
			break
		}
		to += n
	}
	for i := from; i < to; i++ {
		p.used[i] = true
	}
	return strings.TrimSpace(p.text[from:to])
}

func (p *packet) say(what, words string) { p.taken = append(p.taken, what+" "+words) }

// aside are words of a packet that do not speak of the outside of the fruit: the colour of the flesh, long keeping.
var aside = regexp.MustCompile(`(\b(dark|deep|light|pale|bright|rich|sweet)\s+)?\b\w+[\s-]+flesh\w*|\blong[\s-]+(keep|stor|season|last|vine|runn|day|harvest)\w*|\b(keep|stor)(s|ing)?\s+(very\s+)?long\w*`)

const (
	amount = `(\d+\s+\d/\d+|\d/\d+|\d+(?:[.,]\d+)?\s*[½¼¾]?|[½¼¾])`
	unitOf = `(mm\b|cm\b|in(?:ch(?:es)?)?\b\.?|ft\b\.?|feet\b|foot\b|''|"|″|”|'|′|’)`
	sizeOf = amount + `(?:[\s-]*` + unitOf + `?\s*(?:-|–|to|or)\s*` + amount + `)?[\s-]*` + unitOf
)

// A size with what it is the size of behind it ("20 to 25 cm long") or before it ("length 8 inches").
var (
	lengthAfter, lengthBefore = sizeBefore(`long|in length|length`), sizeAfter(`length`)
	widthAfter, widthBefore   = sizeBefore(`wide|across|in diameter|thick|broad`), sizeAfter(`width|diameter`)
)

func sizeBefore(words string) *regexp.Regexp {
	return regexp.MustCompile(sizeOf + `[\s-]*(?:in\s+)?(?:` + words + `)\b`)
}

func sizeAfter(words string) *regexp.Regexp {
	return regexp.MustCompile(`\b(?:` + words + `)[\s:=]+(?:(?:of|is|about|around|up to|approx\.?|ca\.?)\s+)*` + sizeOf)
}

// size reads a size by one of two patterns; a single figure gets a third on either side, a range a sixth.
func (p *packet) size(what string, after, before *regexp.Regexp) *Range {
	m := after.FindStringSubmatchIndex(p.t)
	if m == nil {
		if m = before.FindStringSubmatchIndex(p.t); m == nil {
			return nil
		}
	}
	part := func(k int) string {
		if m[2*k] < 0 {
			return ""
		}
		return p.t[m[2*k]:m[2*k+1]]
	}
	unit := millimetres(part(4))
	lo, hi, wide := number(part(1))*unit, number(part(1))*unit, 1.33
	if part(3) != "" {
		if part(2) != "" {
			lo = number(part(1)) * millimetres(part(2))
		}
		hi, wide = number(part(3))*unit, 1.17
	}
	if lo > hi {
		lo, hi = hi, lo
	}
	if hi < 1 || math.IsInf(hi*wide, 0) { // no fruit
		return nil
	}
	p.take(m[0], m[1])
	p.say(what, strings.TrimRight(p.text[m[2]:m[9]], " .")) // from the first figure to the last unit
	return &Range{Unit: "mm", Low: round(lo/wide, 0), High: round(hi*wide, 0)}
}

// number reads "20", "7,5", "2½", "1 1/2".
func number(s string) (v float64) {
	for of, part := range map[string]float64{"½": 0.5, "¼": 0.25, "¾": 0.75} {
		if rest, ok := strings.CutSuffix(s, of); ok {
			v, s = v+part, rest
		}
	}
	for _, w := range strings.Fields(strings.ReplaceAll(s, ",", ".")) {
		above, below, split := strings.Cut(w, "/")
		x, _ := strconv.ParseFloat(above, 64)
		if y, _ := strconv.ParseFloat(below, 64); split && y > 0 {
			x /= y
		}
		v += x
	}
	return v
}

// millimetres of a unit: the inch is 25.4 mm and the foot 12 inches by definition.
func millimetres(unit string) float64 {
	switch {
	case unit == "mm":
		return 1
	case unit == "cm":
		return 10
	case strings.HasPrefix(unit, "f"), unit == "'", unit == "′", unit == "’":
		return 304.8
	}
	return 25.4
}

var shapeWords = []string{"round", "globe", "flat", "oval", "oblong", "long", "cylindrical", "pear-shaped", "bottle-shaped", "club-shaped", "top-shaped", "heart-shaped", "bell-shaped", "necked", "crookneck"}

// shapes finds words for the shape.
func (p *packet) shapes() (out []string) {
	plain := p.unsized()
	for _, w := range shapeWords {
		if i := strings.Index(plain, w); i >= 0 {
			p.take(i, i+len(w))
			p.say("shape", w)
			out = append(out, w)
		}
	}
	return out
}

var sized = regexp.MustCompile(`(mm|cm|in|inch|inches|ft|feet|foot|["″”'′’])\.?[\s-]*(in\s+)?(long|length|wide|across|diameter|thick|broad)`)

// unsized is the text without sizes: "25 cm long" says no shape.
func (p *packet) unsized() string { return sized.ReplaceAllStringFunc(p.t, blank) }

func blank(s string) string { return strings.Repeat(" ", len(s)) }

// ratioWords give length ÷ width from shape words. Common practice, no source; wide on purpose.
var ratioWords = []struct {
	words  *regexp.Regexp
	lo, hi float64
}{
	{regexp.MustCompile(`\b(flat|disc|flattened)`), 0.3, 0.85}, {regexp.MustCompile(`\b(round|globe|globular|ball)`), 0.75, 1.3},
	{regexp.MustCompile(`\b(cylindrical|long|oblong)`), 1.5, 6}, {regexp.MustCompile(`\b(oval|pear|top-shaped|heart|bell)`), 1.05, 2.5},
	{regexp.MustCompile(`\b(neck|crookneck|bottle|club)`), 1.4, 5},
}

func (p *packet) ratio() *Range {
	plain := p.unsized()
	for _, s := range ratioWords {
		if m := s.words.FindStringIndex(plain); m != nil {
			if w := p.take(m[0], m[1]); !slices.Contains(shapeWords, strings.ToLower(w)) {
				p.say("shape", w)
			}
			return &Range{Low: round(s.lo, 2), High: round(s.hi, 2)}
		}
	}
	return nil
}

// colourWords are CIELAB values (D65), invented middles of what the words cover, each with its tolerance, ΔE00.
var colourWords = []struct {
	words *regexp.Regexp
	lab   [3]float64
	tol   float64
}{
	{regexp.MustCompile(`\b(dark|deep) green`), [3]float64{35, -14, 18}, 18},
	{regexp.MustCompile(`\b(light|pale) green`), [3]float64{70, -18, 32}, 18},
	{regexp.MustCompile(`\bgrey[- ]green|\bblue[- ]green|\bgr[ae]y|\bblue`), [3]float64{58, -6, 6}, 18},
	{regexp.MustCompile(`\bgreen`), [3]float64{48, -18, 26}, 25},
	{regexp.MustCompile(`\btan\b|\bbuff|\bbeige|\bsand`), [3]float64{70, 12, 36}, 15},
	{regexp.MustCompile(`\bcream|\bivory|\bwhite`), [3]float64{86, 1, 18}, 15},
	{regexp.MustCompile(`\bdeep orange|\bred[- ]orange|\borange[- ]red|\bscarlet`), [3]float64{52, 46, 52}, 18},
	{regexp.MustCompile(`\borange`), [3]float64{62, 34, 58}, 20},
	{regexp.MustCompile(`\byellow|\bgold`), [3]float64{78, 8, 62}, 20},
	{regexp.MustCompile(`\bred\b|\bcrimson`), [3]float64{42, 48, 34}, 20},
	{regexp.MustCompile(`\bbrown`), [3]float64{48, 16, 30}, 18},
	{regexp.MustCompile(`\bpurple|\bviolet`), [3]float64{32, 20, -10}, 20},
	{regexp.MustCompile(`\bpink|\bsalmon`), [3]float64{70, 26, 26}, 18},
	{regexp.MustCompile(`\bblack`), [3]float64{22, -4, 6}, 15},
}

// colour reads the colour word that stands first.
func (p *packet) colour() (lab [3]float64, tolerance float64, ok bool) {
	best := []int{math.MaxInt, 0}
	for _, c := range colourWords {
		if at := c.words.FindStringIndex(p.t); at != nil && at[0] < best[0] {
			best, lab, tolerance, ok = at, c.lab, c.tol, true
		}
	}
	if ok {
		p.say("colour", p.take(best[0], best[1]))
	}
	return lab, tolerance, ok
}

var patternWords = []struct {
	words   *regexp.Regexp
	pattern string
}{
	{regexp.MustCompile(`\bstrip`), "stripes"},
	{regexp.MustCompile(`\bband`), "bands"},
	{regexp.MustCompile(`\bmottl|\bmarbl`), "mottled"},
	{regexp.MustCompile(`\bspeckl|\bspot|\bdot`), "dots"},
	{regexp.MustCompile(`\bpatch`), "patches"},
	{regexp.MustCompile(`\bplain|\bself[- ]colou?red|\buniform(ly)?[- ](in[- ])?(colou?r|skin)`), "none"},
}

func (p *packet) pattern() []string {
	for _, x := range patternWords {
		if m := x.words.FindStringIndex(p.t); m != nil {
			p.say("pattern", p.take(m[0], m[1]))
			return []string{x.pattern}
		}
	}
	return nil
}

// filler are words that say nothing of a variety by themselves.
var filler = strings.Fields("a an the and or with of in is are be it its to about around approximately approx up very when ripe mature fully at maturity " +
	"fruit fruits skin skins rind rinds colour color coloured colored colours colors shape shaped size sized pattern length width diameter long wide each usually mostly")

// phraseEnd parts the phrases of a packet; a comma or point within a number parts none.
var phraseEnd = regexp.MustCompile(`[;\n!]|[,.](?:\s|$)|,\D`)

// heard says what was taken and what was not understood.
func (p *packet) heard() string {
	s := "Taken: " + strings.Join(p.taken, ", ") + "."
	if left := p.left(); len(left) > 0 {
		s += " Not understood: " + strings.Join(left, ", ") + "."
	}
	return s
}

// left lists the words that were not taken, phrase by phrase.
func (p *packet) left() (out []string) {
	from := 0
	phrase := func(to int) {
		if s := p.text[from:to]; !slices.Contains(p.used[from:to], true) {
			if bare(s) != "" {
				out = append(out, strings.Join(strings.Fields(s), " "))
			}
			return
		}
		for i := from; i < to; {
			j := i
			for j < to && p.used[j] == p.used[i] {
				j++
			}
			if s := bare(p.text[i:j]); !p.used[i] && s != "" {
				out = append(out, s)
			}
			i = j
		}
	}
	for _, m := range phraseEnd.FindAllStringIndex(p.text, -1) {
		if m[0] >= from && !p.used[m[0]] {
			phrase(m[0])
			from = m[0] + 1
		}
	}
	phrase(len(p.text))
	return out
}

// bare takes fillers and marks off both ends.
func bare(s string) string {
	ws := strings.Fields(s)
	none := func(w string) bool {
		w = strings.ToLower(strings.TrimFunc(w, func(r rune) bool { return unicode.IsPunct(r) || unicode.IsSymbol(r) }))
		return w == "" || slices.Contains(filler, w)
	}
	for len(ws) > 0 && none(ws[0]) {
		ws = ws[1:]
	}
	for len(ws) > 0 && none(ws[len(ws)-1]) {
		ws = ws[:len(ws)-1]
	}
	return strings.Trim(strings.Join(ws, " "), ".,:;()–- ")
}
