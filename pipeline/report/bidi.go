package report

import (
	"strings"
	"unicode"

	"golang.org/x/text/unicode/bidi"
)

// clean makes text fit for the PDF: control characters become spaces, and characters that the
// embedded font cannot hold (beyond the basic plane, such as pictographs) a white square.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\u00a0' || r == '\u202f':
			return ' '
		case unicode.IsControl(r) || r == unicode.ReplacementChar:
			return ' '
		case unicode.Is(unicode.Cf, r):
			return -1 // direction marks and joiners have no shape of their own
		case r > 0xffff:
			return '□'
		}
		return r
	}, s)
}

func rightToLeft(s string) bool {
	for _, r := range s {
		if r >= 0x590 && r <= 0x8ff || r >= 0xfb1d && r <= 0xfdff || r >= 0xfe70 && r <= 0xfefc {
			return true
		}
	}
	return false
}

// visual returns a line in the order in which it is drawn from left to right: runs that are
// written from right to left are turned (Unicode UAX 9), and Arabic letters take the form of their
// place in the word.
func visual(s string) string {
	s = clean(s)
	if !rightToLeft(s) {
		return s
	}
	s = joinArabic(s)
	var p bidi.Paragraph
	if _, err := p.SetString(s); err != nil {
		return s
	}
	o, err := p.Order()
	if err != nil {
		return s
	}
	var b strings.Builder
	for i := range o.NumRuns() {
		r := o.Run(i)
		if r.Direction() == bidi.RightToLeft {
			b.WriteString(bidi.ReverseString(r.String()))
		} else {
			b.WriteString(r.String())
		}
	}
	return b.String()
}

// arabicForms gives for a letter its isolated form in Unicode's Arabic Presentation Forms-B; final,
// initial and medial follow it. Letters with two forms do not join to the next one.
var arabicForms = map[rune]struct {
	first rune
	forms int
}{
	0x621: {0xfe80, 1}, 0x622: {0xfe81, 2}, 0x623: {0xfe83, 2}, 0x624: {0xfe85, 2}, 0x625: {0xfe87, 2}, 0x626: {0xfe89, 4},
	0x627: {0xfe8d, 2}, 0x628: {0xfe8f, 4}, 0x629: {0xfe93, 2}, 0x62a: {0xfe95, 4}, 0x62b: {0xfe99, 4}, 0x62c: {0xfe9d, 4},
	0x62d: {0xfea1, 4}, 0x62e: {0xfea5, 4}, 0x62f: {0xfea9, 2}, 0x630: {0xfeab, 2}, 0x631: {0xfead, 2}, 0x632: {0xfeaf, 2},
	0x633: {0xfeb1, 4}, 0x634: {0xfeb5, 4}, 0x635: {0xfeb9, 4}, 0x636: {0xfebd, 4}, 0x637: {0xfec1, 4}, 0x638: {0xfec5, 4},
	0x639: {0xfec9, 4}, 0x63a: {0xfecd, 4}, 0x641: {0xfed1, 4}, 0x642: {0xfed5, 4}, 0x643: {0xfed9, 4}, 0x644: {0xfedd, 4},
	0x645: {0xfee1, 4}, 0x646: {0xfee5, 4}, 0x647: {0xfee9, 4}, 0x648: {0xfeed, 2}, 0x649: {0xfeef, 2}, 0x64a: {0xfef1, 4},
	0x67e: {0xfb56, 4}, 0x686: {0xfb7a, 4}, 0x698: {0xfb8a, 2}, 0x6a9: {0xfb8e, 4}, 0x6af: {0xfb92, 4}, 0x6cc: {0xfbfc, 4},
}

// joinArabic puts the joined forms in place of the letters.
func joinArabic(s string) string {
	rs := []rune(s)
	out := make([]rune, 0, len(rs))
	for i, r := range rs {
		f, ok := arabicForms[r]
		if !ok {
			out = append(out, r)
			continue
		}
		before := joins(rs, i, -1) && f.forms > 1
		after := joins(rs, i, 1) && f.forms == 4
		k := rune(0)
		switch {
		case before && after:
			k = 3
		case after:
			k = 2
		case before:
			k = 1
		}
		out = append(out, f.first+k)
	}
	return string(out)
}

// joins reports whether the letter beside place i (marks skipped) joins to it.
func joins(rs []rune, i, step int) bool {
	for i += step; i >= 0 && i < len(rs); i += step {
		if unicode.Is(unicode.Mn, rs[i]) {
			continue
		}
		f, ok := arabicForms[rs[i]]
		if !ok {
			return false
		}
		return step > 0 && f.forms > 1 || step < 0 && f.forms == 4
	}
	return false
}
