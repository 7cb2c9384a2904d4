package reference

import (
	_ "embed" // the template is part of the program
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Template is a description to fill in by hand, with an explanation of every key.
//
//go:embed template.yaml
var Template string

// FromWords makes a rough description from the words of a seed packet: sizes ("20 to 25 cm long",
// "10 cm wide"), shapes, colours and patterns in plain English. Ranges are wide and marked as not
// measured. Words that were not understood are ignored; an error says that none was.
func FromWords(text string, head Head) (*Description, error) {
	no := false
	d := &Description{Format: Format, Name: head.Name, Species: head.Species, Crop: head.Crop, Version: head.Version, Stage: head.Stage,
		Source: "words of a seed packet, not measured", Notes: []string{"Made from words, not from measurements: wide ranges, a first orientation only."}}
	t := aside.ReplaceAllString(strings.ToLower(text), " ")
	d.Traits.Length = sizeFrom(t, `long|in length|length`)
	d.Traits.Width = sizeFrom(t, `wide|across|in diameter|thick|broad`)
	if d.Traits.Length == nil || d.Traits.Width == nil {
		d.Traits.Ratio = ratioFrom(t)
	}
	if lab, tol, ok := colourFrom(t); ok {
		d.Skin = &Colour{Lab: lab[:], Tolerance: &tol, Measured: &no, Source: "colour word"}
	}
	d.Pattern = patternFrom(t)
	plain := sizes.ReplaceAllString(t, " ") // "25 cm long" is a size, not a shape
	for _, w := range shapeWords {
		if strings.Contains(plain, w) {
			d.Shape = append(d.Shape, w)
		}
	}
	for _, r := range []*Range{d.Traits.Length, d.Traits.Width, d.Traits.Ratio} {
		if r != nil {
			r.Measured = &no
		}
	}
	if !d.says() {
		return nil, fmt.Errorf("no size, colour, shape or pattern was understood in %q; write for example \"20 to 25 cm long, 10 cm wide, tan, plain\"", text)
	}
	return d, nil
}

// aside are words of a packet that do not speak of the outside of the fruit: the colour of the flesh, long keeping.
var aside = regexp.MustCompile(`(\b(dark|deep|light|pale|bright|rich|sweet)\s+)?\b\w+[\s-]+flesh\w*|\blong[\s-]+(keep|stor|season|last|vine|runn|day|harvest)\w*|\b(keep|stor)(s|ing)?\s+(very\s+)?long\w*`)

var sizes = regexp.MustCompile(`(mm|cm|in|inch|inches|")\s*(in\s+)?(long|length|wide|across|diameter|thick|broad)`)

// sizeFrom finds "20 to 25 cm long" and the like; a single figure gets a third on either side, a range a sixth.
func sizeFrom(t, word string) *Range {
	re := regexp.MustCompile(`(\d+(?:[.,]\d+)?)(?:\s*(?:-|–|to)\s*(\d+(?:[.,]\d+)?))?\s*(mm|cm|in(?:ch(?:es)?)?\b|")\s*(?:` + word + `)`)
	m := re.FindStringSubmatch(t)
	if m == nil {
		return nil
	}
	num := func(s string) float64 { v, _ := strconv.ParseFloat(strings.ReplaceAll(s, ",", "."), 64); return v }
	f := map[string]float64{"mm": 1, "cm": 10}[m[3]]
	if f == 0 {
		f = 25.4
	}
	lo, hi, wide := num(m[1])*f, num(m[1])*f, 1.33
	if m[2] != "" {
		hi, wide = num(m[2])*f, 1.17
	}
	if lo > hi {
		lo, hi = hi, lo
	}
	return &Range{Unit: "mm", Low: round(lo/wide, 0), High: round(hi*wide, 0)}
}

var shapeWords = []string{"round", "globe", "flat", "oval", "oblong", "long", "cylindrical", "pear-shaped", "bottle-shaped", "club-shaped", "top-shaped", "heart-shaped", "bell-shaped", "necked", "crookneck"}

// ratioFrom reads length ÷ width from shape words. Common practice, no source; wide on purpose.
func ratioFrom(t string) *Range {
	for _, s := range []struct {
		words  string
		lo, hi float64
	}{{`\b(flat|disc|flattened)`, 0.3, 0.85}, {`\b(round|globe|globular|ball)`, 0.75, 1.3}, {`\b(cylindrical|long|oblong)`, 1.5, 6}, {`\b(oval|pear|top-shaped|heart|bell)`, 1.05, 2.5}, {`\b(neck|crookneck|bottle|club)`, 1.4, 5}} {
		if regexp.MustCompile(s.words).MatchString(t) {
			return &Range{Low: round(s.lo, 2), High: round(s.hi, 2)}
		}
	}
	return nil
}

// colourFrom reads a colour word. The CIELAB values are invented middles of what the word covers.
func colourFrom(t string) (lab [3]float64, tolerance float64, ok bool) {
	best := math.MaxInt
	for _, c := range []struct {
		words string
		lab   [3]float64
		tol   float64
	}{
		{`\b(dark|deep) green`, [3]float64{35, -14, 18}, 18}, {`\b(light|pale) green`, [3]float64{70, -18, 32}, 18}, {`\bgrey[- ]green|\bblue[- ]green|\bgr[ae]y|\bblue`, [3]float64{58, -6, 6}, 18},
		{`\bgreen`, [3]float64{48, -18, 26}, 25}, {`\btan\b|\bbuff|\bbeige|\bsand`, [3]float64{70, 12, 36}, 15}, {`\bcream|\bivory|\bwhite`, [3]float64{86, 1, 18}, 15},
		{`\bdeep orange|\bred[- ]orange|\borange[- ]red|\bscarlet`, [3]float64{52, 46, 52}, 18}, {`\borange`, [3]float64{62, 34, 58}, 20}, {`\byellow|\bgold`, [3]float64{78, 8, 62}, 20},
		{`\bred\b|\bcrimson`, [3]float64{42, 48, 34}, 20}, {`\bbrown`, [3]float64{48, 16, 30}, 18}, {`\bpurple|\bviolet`, [3]float64{32, 20, -10}, 20}, {`\bpink|\bsalmon`, [3]float64{70, 26, 26}, 18}, {`\bblack`, [3]float64{22, -4, 6}, 15},
	} {
		if at := regexp.MustCompile(c.words).FindStringIndex(t); at != nil && at[0] < best {
			best, lab, tolerance, ok = at[0], c.lab, c.tol, true
		}
	}
	return lab, tolerance, ok
}

func patternFrom(t string) []string {
	for _, p := range []struct{ words, pattern string }{{`\bstrip`, "stripes"}, {`\bband`, "bands"}, {`\bmottl|\bmarbl`, "mottled"}, {`\bspeckl|\bspot|\bdot`, "dots"}, {`\bpatch`, "patches"}, {`\bplain|\bself[- ]colou?red|\buniform(ly)?[- ](in[- ])?(colou?r|skin)`, "none"}} {
		if regexp.MustCompile(p.words).MatchString(t) {
			return []string{p.pattern}
		}
	}
	return nil
}
